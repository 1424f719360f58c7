package git

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

// ShallowEdges are the commits at which a clone without its older history begins; none where nothing is left out. What such a
// commit holds may be older than it.
func (r *Repo) ShallowEdges() (map[string]bool, error) {
	edges := map[string]bool{}
	if !r.IsShallow() {
		return edges, nil
	}
	file := filepath.Join(r.CommonDir, "shallow")
	if own := variable(r.shared.env, "GIT_SHALLOW_FILE"); own != "" {
		file = own
	}
	data, err := os.ReadFile(file)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, &Error{Kind: ErrCorrupt, What: "where the older history was left out cannot be read", Help: "git fetch --unshallow", Paths: []string{file}, Err: err}
	}
	for line := range strings.Lines(string(data)) {
		edges[strings.TrimSpace(line)] = true
	}
	return edges, nil
}
