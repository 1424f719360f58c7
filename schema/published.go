package schema

import (
	"embed"
	"slices"
	"strings"
)

// The published schemas say the format once more, in the language that editors and other programs read: one JSON Schema
// 2020-12 for each kind of file. They are generated from the same struct tags that [Bind] reads by, by
//
//	go test fettle/schema -run Published -update
//
// and tests hold them equal to the tags, and their verdicts equal to those of [ReadFile].
//
//go:embed published/*.json
var published embed.FS

// Published returns the JSON Schema of a kind of file: "library", "machine", "condition-set" or a kind of record.
func Published(kind string) ([]byte, bool) {
	if _, ok := structOf(kind); !ok {
		return nil, false
	}
	data, err := published.ReadFile("published/" + kind + ".json")
	return data, err == nil
}

// PublishedKinds returns the kinds of files that have a schema: the three that are edited by hand first, then records by name.
func PublishedKinds() []string {
	edited := []string{"library", "machine", "condition-set"}
	kinds := slices.Clone(edited)
	entries, _ := published.ReadDir("published") // embedded, sorted by name
	for _, entry := range entries {
		if kind := strings.TrimSuffix(entry.Name(), ".json"); !slices.Contains(edited, kind) {
			kinds = append(kinds, kind)
		}
	}
	return kinds
}
