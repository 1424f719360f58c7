package hooks_test

import (
	"strings"
	"testing"

	"fettle/history"
	"fettle/schema"
)

// reasonBy is a reason in somebody's name, as anybody can type it.
func (s *shop) reasonBy(person string) {
	s.t.Helper()
	before := s.saved("HEAD")
	var changes []schema.Change
	for _, d := range history.Compare(before.Lib, s.disk().Lib) {
		from, to := d.Digests()
		changes = append(changes, schema.Change{ID: schema.Of(d.ID.String()), From: schema.Of(string(from)), To: schema.Of(string(to))})
	}
	s.add(s.record(&schema.Reason{Common: s.common(schema.KindReason, person), Changes: schema.Of(changes), Cause: schema.Of("trial-result")}, ""))
}

// TestGateKnowsWhoSaved: a reason names whom somebody typed, a commit who made it. Neither its authors nor its co-authors approve what
// they wrote, whatever the reason says; who came after that may.
func TestGateKnowsWhoSaved(t *testing.T) {
	t.Parallel()
	const iris = "iris.brandt@northgate.example"
	for _, test := range []struct {
		name   string
		change func(s *shop)
		by     string // who approves
		want   string
	}{
		{"by somebody else", func(s *shop) { s.edit(oxygen3, "0.27 bar"); s.reasonBy(iris); s.keep("edit") }, jonas, ""},
		{"by who saved it", func(s *shop) { s.edit(oxygen3, "0.27 bar"); s.reasonBy(iris); s.keep("edit") }, mara, "own-approval 3mm"},
		{"by a co-author", func(s *shop) {
			s.edit(oxygen3, "0.27 bar")
			s.reasonBy(iris)
			s.keep("edit\n\nCo-authored-by: Jonas Falk <" + strings.ToUpper(jonas) + ">")
		}, jonas, "own-approval 3mm"},
		{"by who saved an earlier part of it", func(s *shop) {
			s.edit(oxygen3, "0.26 bar")
			s.reasonBy(iris)
			s.keep("first")
			s.edit(oxygen3, "0.27 bar")
			s.reasonBy(iris)
			s.Run("add", "-A")
			s.Run("commit", "-q", "--no-verify", "-m", "second", "--author", "Iris Brandt <"+iris+">")
		}, mara, "own-approval 3mm"},
		{"by who saved what was decided on before", func(s *shop) {
			s.edit(oxygen3, "0.26 bar")
			s.reasonBy(iris)
			s.keep("first")
			s.approve(oxygen3, jonas)
			s.keep("approved")
			s.edit(oxygen3, "0.27 bar")
			s.reasonBy(iris)
			s.Run("add", "-A")
			s.Run("commit", "-q", "--no-verify", "-m", "second", "--author", "Iris Brandt <"+iris+">")
		}, mara, ""},
		{"by who gave the reason of a step that a rebase made again", func(s *shop) {
			s.Run("checkout", "-q", "-b", "side")
			s.edit(oxygen3, "0.27 bar")
			s.reasonBy(jonas)
			s.Run("add", "-A")
			s.Run("commit", "-q", "--no-verify", "-m", "edit", "--author", "Shop <shop@northgate.example>")
			s.Run("checkout", "-q", "main")
			s.replace(oxygen3, `"speed": "`, "3.5 m/min")
			s.reasonBy(iris)
			s.keep("faster")
			s.Run("restore", "--overlay", "--source", "side", "records")
			s.edit(oxygen3, "0.27 bar")
			s.Run("add", "-A")
			s.Run("commit", "-q", "--no-verify", "-m", "edit", "--author", "Shop <shop@northgate.example>")
		}, jonas, "own-approval 3mm"},
		{"by who merged", func(s *shop) {
			s.Run("checkout", "-q", "-b", "side")
			s.edit(oxygen3, "0.27 bar")
			s.reasonBy(iris)
			s.Run("add", "-A")
			s.Run("commit", "-q", "--no-verify", "-m", "edit", "--author", "Iris Brandt <"+iris+">")
			s.Run("checkout", "-q", "main")
			s.Run("merge", "-q", "--no-ff", "--no-edit", "--no-verify", "side")
		}, mara, ""},
	} {
		t.Run(test.name, func(t *testing.T) {
			t.Parallel()
			s := newShop(t)
			base := s.head()
			test.change(s)
			s.approve(oxygen3, test.by)
			s.keep("approve")
			if got := rules(s.judge(main, base, s.head())); got != test.want {
				t.Errorf("got %q, want %q", got, test.want)
			}
		})
	}
}
