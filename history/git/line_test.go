package git_test

import (
	"os"
	"strings"
	"testing"

	"fettle/history/git"
	"fettle/history/git/gittest"
)

// A few commits in a line are told without git, and as git tells them; it tells the others. Named twice, what is left out makes fettle ask git.
func TestFewCommitsAgainstGit(t *testing.T) {
	g := gittest.New(t)
	g.Write("sets/a.json", "1\n")
	base := g.Commit("base")
	step := func(name, message string, args ...string) string {
		g.Write(name, message)
		g.Run("add", "-A")
		g.Run(append([]string{"commit", "-q", "--cleanup=verbatim", "-m", message}, args...)...)
		return g.Run("rev-parse", "HEAD")
	}
	step("sets/a.json", "edit")
	step("sets/b/c.json", "edit: größe, 100 % \x1b[31m\n\nbody\n\n  more\n")
	step("records/2026/07/r.json", "no end")
	g.Run("rm", "-q", "sets/b/c.json")
	plainTip := step("a.b/c", "files\n", "--author=Jonas Falk-Ö <jonas@northgate.example>", "--date=2026-07-01T06:00:00-07:30")
	odd := map[string]string{ // each upon the one before
		"two lines":   step("x", "two lines\nof subject"),
		"begins late": step("x", "\n\nsubject"),
		"co-author":   step("x", "s\n\nCo-authored-by: Åsa Berg <asa@northgate.example>\n"),
		"blanks":      step("x", "  s  \n \nt\n"),
		"encoding":    step("x", "gr\xf6\xdfe", "--allow-empty"),
	}
	g.Run("config", "i18n.commitEncoding", "ISO-8859-1")
	odd["encoded"] = step("x", "gr\xf6\xdfer")
	g.Run("config", "--unset", "i18n.commitEncoding")
	g.Run("checkout", "-q", "-b", "side", "HEAD~1")
	step("side", "side")
	g.Run("checkout", "-q", "main")
	g.Run("merge", "-q", "--no-edit", "side")
	odd["merge"] = g.Run("rev-parse", "HEAD")
	stranger := g.Run("commit-tree", "-m", "from nothing", "HEAD^{tree}")
	odd["another root"] = stranger
	last := odd["merge"]
	for i := range 70 {
		last = g.Run("commit-tree", "-p", last, "-m", "line", []string{"HEAD^{tree}", "HEAD~3^{tree}"}[i%2])
	}
	odd["many"] = last

	calls := counted(t)
	check := func(name, tip, from string, plain bool) {
		t.Helper()
		for _, o := range []git.LogOptions{{}, {Changes: true}, {Changes: true, Reverse: true}, {Changes: true, Paths: []string{"sets", "records"}}, {Paths: []string{"sets/a.json"}},
			{Reverse: true, MaxCount: 2}} {
			repo := must(git.Open(g.Dir))(t)
			defer repo.Close()
			if err := os.WriteFile(calls, nil, 0o666); err != nil {
				t.Fatal(err)
			}
			o.Revs = []string{tip, "^" + from}
			got := must(repo.Log(o))(t)
			if asked, _ := os.ReadFile(calls); plain == strings.Contains(string(asked), " log ") {
				t.Errorf("%s: git was asked %q", name, asked)
			}
			o.Revs = append(o.Revs, "^"+from)
			want := must(repo.Log(o))(t)
			if t.Failed() {
				return
			}
			diff(t, got, want)
		}
	}
	check("plain", plainTip, base, true)
	check("none", base, base, true)
	was := plainTip
	for _, name := range []string{"two lines", "begins late", "co-author", "blanks", "encoding"} {
		plain := name == "encoding" || name == "begins late" // git tells these as they stand there
		check(name, odd[name], was, plain)
		was = odd[name]
	}
	check("encoded", odd["encoded"], was, false)
	check("merge", odd["merge"], odd["encoded"], false)
	check("another root", stranger, base, false)
	check("many", odd["many"], odd["merge"], false)
	check("backwards", base, plainTip, false)
}
