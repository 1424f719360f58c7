package hooks_test

import (
	"os"
	"strings"
	"testing"

	"fettle/hooks"
	"fettle/schema"
)

// What was found by the machine that was last approved is not what is found once another is: a verdict hangs on what is in force, too.
func TestSurveyByWhatIsInForce(t *testing.T) {
	s := newShop(t)
	const profile = "machines/bay-2.json"
	rate := func(from, to string) {
		t.Helper()
		data, err := os.ReadFile(s.Path(profile))
		if err != nil {
			t.Fatal(err)
		}
		text := strings.Replace(string(data), `"rated_power": "`+from+`"`, `"rated_power": "`+to+`"`, 1)
		if text == string(data) {
			t.Fatalf("%s has no rated power of %s", profile, from)
		}
		s.Write(profile, text)
	}
	save := func() {
		s.Run("add", "-A")
		s.Run("commit", "-q", "--no-verify", "-m", "another machine")
	}
	survey := func(forgetful bool) (byApproved int) {
		t.Helper()
		repo := s.open()
		before, now, err := repo.SavedAndWork("HEAD", "")
		if err != nil {
			t.Fatal(err)
		}
		got, err := (&hooks.Survey{Repo: repo, Before: before, Now: now, Head: strings.TrimSpace(s.Run("rev-parse", "HEAD")), At: s.now, Forgetful: forgetful}).Run()
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range got.Findings {
			if strings.Contains(f.Help, "last approved") {
				byApproved++
			}
		}
		return byApproved
	}
	check := func(when string, some bool) {
		t.Helper()
		want := survey(true)
		if want > 0 != some {
			t.Fatalf("%s: %d findings by what was last approved", when, want)
		}
		for range 2 {
			if got := survey(false); got != want {
				t.Errorf("%s: %d findings by what was last approved, of what is remembered %d", when, want, got)
			}
		}
	}
	check("as adopted", false)
	rate("6 kW", "3 kW")
	s.approveSubject(schema.SubjectMachine, "bay-2", jonas)
	save()
	check("less approved", false)
	rate("3 kW", "6 kW")
	save()
	check("more saved", true)
	s.approveSubject(schema.SubjectMachine, "bay-2", jonas)
	save()
	check("more approved", false)
}
