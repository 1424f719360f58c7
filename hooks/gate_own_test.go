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

// putTogether saves a recipe that is made of a step of jonas and one of iris, by reasons that follow what is in force, in commits that
// name neither.
func (s *shop) putTogether() {
	s.t.Helper()
	save := func() {
		s.Run("add", "-A")
		s.Run("commit", "-q", "--no-verify", "-m", "edit", "--author", "Shop <shop@northgate.example>")
	}
	reasonOf := func(person string) {
		side := s.disk()
		from, to := history.Compare(s.saved("HEAD").Lib, side.Lib)[0].Digests()
		reason := &schema.Reason{Common: s.common(schema.KindReason, person), Cause: schema.Of("trial-result"),
			Changes: schema.Of([]schema.Change{{ID: schema.Of(oxygen3), From: schema.Of(string(from)), To: schema.Of(string(to))}})}
		reason.Follows = schema.Of(side.Ledger.Judge(libraryName, "").Follow(schema.KindReason, []schema.Subject{history.RemovalSubject(mustID(s, oxygen3))}))
		s.add(s.record(reason, ""))
		save()
	}
	s.Run("checkout", "-q", "-b", "side")
	s.edit(oxygen3, "0.27 bar")
	reasonOf(jonas)
	s.Run("checkout", "-q", "main")
	s.replace(oxygen3, `"speed": "`, "3.5 m/min")
	reasonOf("iris.brandt@northgate.example")
	s.Run("restore", "--overlay", "--source", "side", "records")
	s.edit(oxygen3, "0.27 bar")
	save()
}

func mustID(s *shop, text string) schema.ID {
	s.t.Helper()
	id, err := schema.ParseID(text)
	if err != nil {
		s.t.Fatal(err)
	}
	return id
}

// TestGateKnowsWhoPutTogether: who gave one of the reasons gets past that neither by rejecting the recipe first and following their own
// rejection, nor by letting it in under a permit and approving it in a push of its own.
func TestGateKnowsWhoPutTogether(t *testing.T) {
	t.Parallel()
	t.Run("rejected first", func(t *testing.T) {
		t.Parallel()
		s := newShop(t)
		base := s.head()
		s.putTogether()
		side := s.disk()
		rejection := &schema.Decision{Common: s.common(schema.KindRejection, jonas), Subjects: schema.Of([]schema.Subject{history.ConditionSubject(side.Lib, side.Lib.Recipe(mustID(s, oxygen3)))})}
		rejection.Text = schema.Of("too fast")
		s.add(s.record(rejection, jonas))
		s.keep("reject")
		s.approve(oxygen3, jonas)
		s.keep("approve")
		if got := rules(s.judge(main, base, s.head())); got != "own-approval 3mm" {
			t.Errorf("got %q", got)
		}
	})
	t.Run("in two pushes", func(t *testing.T) {
		t.Parallel()
		for by, want := range map[string]string{jonas: "own-approval 3mm", mara: ""} {
			s := newShop(t)
			s.putTogether()
			base := s.head()
			s.approve(oxygen3, by)
			s.keep("approve")
			if got := rules(s.judge(main, base, s.head())); got != want {
				t.Errorf("approved by %s: got %q, want %q", by, got, want)
			}
		}
	})
}
