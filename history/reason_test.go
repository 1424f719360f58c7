package history_test

import (
	"slices"
	"strings"
	"testing"

	"fettle/history"
	"fettle/schema"
)

// A walk is a shop whose recipes are called by letters.
type walk struct {
	*shop
	content map[string]schema.Digest
}

func newWalk(t *testing.T) *walk {
	w := &walk{newShop(t), map[string]schema.Digest{"": ""}}
	for i, letter := range []string{"a", "b", "c", "d"} {
		subject := w.name(w.cond([]string{"0.40 bar", "0.46 bar", "0.50 bar", "0.60 bar"}[i]), letter)
		w.content[letter] = schema.Digest(subject.Digest.V)
	}
	return w
}

// because writes one reason a step: "a b" leads from a to b, " b" is new, "a " is removed.
func (w *walk) because(steps ...string) []*schema.Record {
	w.t.Helper()
	var out []*schema.Record
	for _, step := range steps {
		from, to, _ := strings.Cut(step, " ")
		out = append(out, w.reason("Ove", id6, [][2]string{{from, to}}))
	}
	return out
}

func (w *walk) spell(path []history.Edge) string {
	if path == nil {
		return "no way"
	}
	var out []string
	for _, e := range path {
		out = append(out, w.names[e.From]+" "+w.names[e.To])
	}
	return strings.ReplaceAll(strings.Join(out, ", "), "removed", "-")
}

func TestWaysOfReasons(t *testing.T) {
	for _, c := range []struct {
		name      string
		reasons   []string
		from, end string
		want      string
	}{
		{"one step", []string{"a b"}, "a", "b", "a b"},
		{"several tweaks before they were saved", []string{"a b", "b c", "c d"}, "a", "d", "a b, b c, c d"},
		{"squashed: one step over all", []string{"a d"}, "a", "d", "a d"},
		{"rebased onto another recipe", []string{"a b", "d b"}, "d", "b", "d b"},
		{"rebased without a reason for it", []string{"a b"}, "d", "b", "no way"},
		{"from either of two", []string{"a b", "c d"}, "a,c", "d", "c d"},
		{"a step is missing", []string{"a b", "c d"}, "a", "d", "no way"},
		{"backwards does not count", []string{"b a"}, "a", "b", "no way"},
		{"not changed at all", []string{"a b"}, "a", "a", ""},
		{"new", []string{" b"}, "", "b", "- b"},
		{"new in two steps", []string{" b", "b c"}, "", "c", "- b, b c"},
		{"removed", []string{"a "}, "a", "", "a -"},
		{"removed and new again", []string{"a ", " b"}, "a", "b", "a -, - b"},
		{"two ways", []string{"a b", "b d", "a c", "c d"}, "a", "d", "a b, b d, a c, c d"},
		{"what leads elsewhere is left out", []string{"a b", "b c", "b d"}, "a", "d", "a b, b d"},
		{"what was tried and put back is left out", []string{"a b", "b a", "a c"}, "a", "c", "a c"},
		{"what came later is left out", []string{"a b", "b c"}, "a", "b", "a b"},
		{"a reason that leads nowhere", []string{"a a"}, "a", "b", "no way"},
	} {
		t.Run(c.name, func(t *testing.T) {
			w := newWalk(t)
			w.because(c.reasons...)
			var starts []schema.Digest
			for _, from := range strings.Split(c.from, ",") {
				starts = append(starts, w.content[from])
			}
			l := w.ledger()
			edges := l.Edges(schema.SubjectCondition, id6)
			if got := w.spell(history.Path(edges, starts, w.content[c.end])); got != c.want {
				t.Errorf("%s; want %s", got, c.want)
			}
			_, ok := l.Reasoned(schema.SubjectCondition, id6, starts, w.content[c.end], nil)
			if want := c.want != "no way"; ok != want {
				t.Errorf("reasoned: %v, want %v", ok, want)
			}
		})
	}
}

func TestEdgesBelongToTheirSubject(t *testing.T) {
	w := newWalk(t)
	w.because("a b")
	w.settings(1, "allow")
	w.settings(2, "allow")
	w.reason("Ove", schema.SubjectSettings, [][2]string{{"1 allow", "2 allow"}})
	w.reason("Ove", "bay-2/carbon-steel/oxygen/8mm", [][2]string{{"a", "c"}})
	l := w.ledger()
	if n := len(l.Edges(schema.SubjectCondition, id6)); n != 1 {
		t.Errorf("%d reasons of the condition", n)
	}
	if n := len(l.Edges(schema.SubjectSettings, schema.SubjectSettings)); n != 1 {
		t.Errorf("%d reasons of the settings", n)
	}
	if n := len(l.Edges(schema.SubjectCondition, schema.SubjectSettings)); n != 0 {
		t.Errorf("%d reasons of a condition called settings", n)
	}
}

// What was explained once, undone and done again needs a new reason.
func TestRedoneNeedsANewReason(t *testing.T) {
	w := newWalk(t)
	w.because("a b", "b a")
	before := w.ledger() // a is what was saved last
	starts, b := []schema.Digest{w.content["a"]}, w.content["b"]
	if path, ok := w.ledger().Reasoned(schema.SubjectCondition, id6, starts, b, before); ok || path == nil {
		t.Errorf("the old reason does for the new change: %s", w.spell(path))
	}
	w.because("d b")
	if _, ok := w.ledger().Reasoned(schema.SubjectCondition, id6, starts, b, before); ok {
		t.Error("a new reason that does not lead from here does for the change")
	}
	w.because("a b")
	if _, ok := w.ledger().Reasoned(schema.SubjectCondition, id6, starts, b, before); !ok {
		t.Error("the new reason does not count")
	}
}

func TestReasonSavedBeforeItsChange(t *testing.T) {
	w := newWalk(t)
	w.because("a b") // committed alone, the recipe follows in the next commit
	before := w.ledger()
	if _, ok := before.Reasoned(schema.SubjectCondition, id6, []schema.Digest{w.content["a"]}, w.content["b"], before); !ok {
		t.Error("the reason does not count")
	}
	if path, ok := before.Reasoned(schema.SubjectCondition, id6, []schema.Digest{w.content["b"]}, w.content["b"], before); !ok || len(path) != 0 {
		t.Error("no change needs no reason")
	}
}

func TestWithdrawnReason(t *testing.T) {
	w := newWalk(t)
	records := w.because("a b", "b c")
	w.withdraw("Ove", records[1], unsigned)
	if _, ok := w.ledger().Reasoned(schema.SubjectCondition, id6, []schema.Digest{w.content["a"]}, w.content["c"], nil); ok {
		t.Error("a reason that was taken back counts")
	}
	edges := w.ledger().Edges(schema.SubjectCondition, id6)
	if got := w.spell(edges); got != "a b" {
		t.Errorf("reasons %s", got)
	}
	edges[0].To = "" // what a caller does to its copy is its own affair
	slices.Reverse(edges)
	if got := w.spell(w.ledger().Edges(schema.SubjectCondition, id6)); got != "a b" {
		t.Errorf("reasons %s", got)
	}
}
