package schema

import (
	"strconv"
	"testing"

	"github.com/go-json-experiment/json/jsontext"
	"pgregory.net/rapid"
)

// The canonical form is written in order at once. The reference is the RFC 8785 implementation of jsontext, which sorts afterwards.
func TestCanonicalNodeAgainstJSONText(t *testing.T) {
	name := rapid.OneOf(rapid.StringMatching(`[a-z_0-9]{0,6}`), rapid.SampledFrom([]string{"€", "\r", "דּ", "1", "😀", "\u0080", "ö", "\ufb33", "\U00010000", "\uffff"}))
	var tree func(depth int) *rapid.Generator[*Node]
	tree = func(depth int) *rapid.Generator[*Node] {
		return rapid.Custom(func(t *rapid.T) *Node {
			kind := rapid.IntRange(0, 4).Draw(t, "kind")
			if depth == 0 {
				kind = rapid.IntRange(2, 4).Draw(t, "leaf")
			}
			switch kind {
			case 0:
				n := &Node{Kind: Object}
				for key := range rapid.MapOfN(name, rapid.Just(0), 0, 5).Draw(t, "keys") {
					n.Kids = append(n.Kids, withKey(key, tree(depth-1).Draw(t, "kid")))
				}
				return n
			case 1:
				return &Node{Kind: Array, Kids: rapid.SliceOfN(tree(depth-1), 0, 4).Draw(t, "items")}
			case 2:
				return Text(rapid.String().Draw(t, "text"))
			case 3:
				return &Node{Kind: Digits, Text: strconv.FormatFloat(rapid.Float64Range(-1e21, 1e21).Draw(t, "float"), 'g', -1, 64)}
			}
			return &Node{Kind: Digits, Text: strconv.FormatInt(rapid.Int64().Draw(t, "int"), 10)}
		})
	}
	rapid.Check(t, func(t *rapid.T) {
		n := tree(3).Draw(t, "tree")
		want := jsontext.Value(appendNode(nil, n))
		if err := want.Canonicalize(); err != nil {
			t.Skip(err)
		}
		if got := canonicalNode(n); string(got) != string(want) {
			t.Fatalf("got  %s\nwant %s", got, want)
		}
	})
}
