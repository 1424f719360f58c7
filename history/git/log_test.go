package git_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"fettle/history/git"
	"fettle/history/git/gittest"
)

// tangled is a history with merges, one of which threw a side away, an empty commit, and messages and names that are hard
// to read back.
func tangled(t *testing.T) *gittest.Repo {
	g := gittest.New(t)
	g.Write("sets/a.json", "1\n")
	g.Write("other", "1\n")
	g.Commit("one\n\nbody\n\nwith lines\n\nCo-authored-by: Jonas Falk <jonas@northgate.example>\nco-authored-by: Åsa\n Berg <asa@northgate.example>\nSigned-off-by: x <y>\n")
	g.Commit("empty: \"quotes\", \ttab, größe, 100 % \x1b[31m")
	g.Run("checkout", "-q", "-b", "side")
	for _, name := range awkward {
		g.Write(name, "side\n")
	}
	g.Commit("two lines of\nsubject")
	g.Run("checkout", "-q", "main")
	g.Write("sets/a.json", "2\n")
	g.Run("mv", "other", "renamed")
	g.Commit("on main")
	g.Run("merge", "-q", "--no-edit", "side")
	g.Tick(time.Minute)
	g.Run("checkout", "-q", "-b", "lost", "HEAD^")
	g.Write("sets/a.json", "lost\n")
	g.Commit("thrown away by a merge")
	g.Run("checkout", "-q", "main")
	g.Run("merge", "-q", "-s", "ours", "--no-edit", "lost")
	g.Tick(time.Minute)
	g.Write("sets/a.json", "3\n")
	g.Run("commit", "-q", "-a", "-m", "by another", "--author=Jonas \"J\" Falk <jonas@northgate.example>", "--date=2026-07-01T06:00:00-07:30")
	return g
}

// plainLog asks git for one field of every commit, in a form without any cleverness.
func plainLog(g *gittest.Repo, format string, args ...string) []string {
	out := g.Run(append([]string{"log", "--no-color", "--format=" + format + "%x00"}, args...)...)
	var all []string
	for _, item := range strings.Split(strings.TrimSuffix(out, "\x00"), "\x00\n") {
		all = append(all, strings.TrimSuffix(item, "\x00"))
	}
	return all
}

func TestLogAgainstGit(t *testing.T) {
	t.Parallel()
	g := tangled(t)
	// Settings that change what git log prints to a person must change nothing here.
	for _, s := range []string{"log.showSignature=true", "log.decorate=full", "log.follow=true", "log.date=relative", "log.showRoot=false", "log.diffMerges=combined",
		"diff.renames=copies", "diff.noprefix=true", "color.ui=always", "format.pretty=oneline", "core.abbrev=4", "i18n.logOutputEncoding=ISO-8859-1", "diff.relative=true", "log.abbrevCommit=true"} {
		key, value := cut(s)
		g.Run("config", key, value)
	}
	plain := gittest.At(t, g.Clone().Dir)
	plain.Run("fetch", "-q", "origin", "+refs/heads/*:refs/heads/*", "--update-head-ok")
	repo := open(t, g.Dir)
	for name, c := range map[string]struct {
		options git.LogOptions
		args    []string
	}{
		"all":          {git.LogOptions{}, nil},
		"changes":      {git.LogOptions{Changes: true}, nil},
		"reverse":      {git.LogOptions{Changes: true, Reverse: true}, []string{"--reverse"}},
		"three":        {git.LogOptions{MaxCount: 3}, []string{"-n3"}},
		"first parent": {git.LogOptions{Changes: true, FirstParent: true}, []string{"--first-parent"}},
		"range":        {git.LogOptions{Revs: []string{"side..main"}}, []string{"side..main"}},
		"exclusion":    {git.LogOptions{Revs: []string{"main", "lost", "^side"}, Changes: true}, []string{"main", "lost", "^side"}},
		"paths":        {git.LogOptions{Paths: []string{"sets/a.json", "sets/*.json"}, Changes: true}, []string{"--full-history", "--", "sets/a.json", ":(literal)sets/*.json"}},
		"simplified":   {git.LogOptions{Paths: []string{"sets/a.json"}, Simplify: true}, []string{"--", "sets/a.json"}},
		"directory":    {git.LogOptions{Paths: []string{"sets/bay-2"}, Changes: true}, []string{"--full-history", "--", "sets/bay-2"}},
		"everything":   {git.LogOptions{All: true}, []string{"--branches"}},
	} {
		t.Run(name, func(t *testing.T) {
			log := must(repo.Log(c.options))(t)
			for _, f := range []struct {
				format string
				get    func(e git.LogEntry) string
			}{
				{"%H", func(e git.LogEntry) string { return e.Hash }},
				{"%P", func(e git.LogEntry) string { return strings.Join(e.Parents, " ") }},
				{"%an <%ae>", func(e git.LogEntry) string { return e.Author.Name + " <" + e.Author.Email + ">" }},
				{"%cn <%ce>", func(e git.LogEntry) string { return e.Committer.Name + " <" + e.Committer.Email + ">" }},
				{"%at", func(e git.LogEntry) string { return fmt.Sprint(e.Author.When.Unix()) }},
				{"%ai", func(e git.LogEntry) string { return e.Author.When.Format("2006-01-02 15:04:05 -0700") }},
				{"%ct", func(e git.LogEntry) string { return fmt.Sprint(e.Committer.When.Unix()) }},
				{"%s", func(e git.LogEntry) string { return e.Subject }},
				{"%B", func(e git.LogEntry) string { return e.Message }},
			} {
				var got []string
				for _, e := range log {
					got = append(got, f.get(e))
				}
				diff(t, got, plainLog(plain, f.format, c.args...))
			}
			for _, e := range log {
				if !c.options.Changes {
					if e.Changes != nil {
						t.Errorf("%s has changes that nobody asked for", e.Subject)
					}
					continue
				}
				parents := e.Parents
				if len(parents) == 0 {
					parents = []string{emptyTree}
				}
				if len(e.Changes) != len(parents) {
					t.Fatalf("%s: %d lists of changes for %d parents", e.Subject, len(e.Changes), len(parents))
				}
				for i, parent := range parents {
					diff(t, e.Changes[i], diffTree(plain, parent, e.Hash, c.options.Paths...))
				}
			}
		})
	}
	first := must(repo.Log(git.LogOptions{Reverse: true}))(t)[0]
	diff(t, first.CoAuthors, []string{"Jonas Falk <jonas@northgate.example>", "Åsa Berg <asa@northgate.example>"})
}

func TestWalkEnds(t *testing.T) {
	t.Parallel()
	repo := open(t, tangled(t).Dir)
	t.Run("early", func(t *testing.T) { endEarly(t, repo) })
	t.Run("at once", func(t *testing.T) { refuse(t, repo) })
}

func endEarly(t *testing.T, repo *git.Repo) {
	n := 0
	for entry, err := range repo.Walk(git.LogOptions{Changes: true}) {
		if err != nil {
			t.Fatal(err)
		}
		// A question to the same repository in the middle of the walk.
		if _, err := repo.TreeFiles(entry.Hash); err != nil {
			t.Fatal(err)
		}
		if n++; n == 2 {
			break
		}
	}
	if n != 2 {
		t.Errorf("%d entries", n)
	}
}

func refuse(t *testing.T, repo *git.Repo) {
	for _, rev := range []string{"--all", "-n1", "", "^-x", ":/one", "--output=/tmp/x"} {
		_, err := repo.Log(git.LogOptions{Revs: []string{rev}})
		wantKind(t, err, git.ErrUnknownRevision)
	}
	if _, err := repo.Log(git.LogOptions{Revs: []string{"nowhere"}}); err == nil || !strings.Contains(err.Error(), "nowhere") {
		t.Errorf("got %v", err)
	}
}

func TestDamagedHistory(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	var ids []string
	for i := range 4 {
		g.Write("a", fmt.Sprint(i))
		ids = append(ids, g.Commit(fmt.Sprint(i)))
	}
	g.Remove(".git/objects/" + ids[1][:2] + "/" + ids[1][2:])
	repo := open(t, g.Dir)
	if log, err := repo.Log(git.LogOptions{}); err == nil {
		t.Errorf("read %d commits of a history with a hole", len(log))
	}
	if log, err := repo.Log(git.LogOptions{MaxCount: 1}); err != nil || len(log) != 1 {
		t.Errorf("what is in front of the hole: %d, %v", len(log), err)
	}
}

func TestUnshared(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	g.Commit("one")
	clone := g.Clone()
	repo := open(t, clone.Dir)
	subjects := func() (all []string) {
		for _, e := range must(repo.Log(git.LogOptions{Unshared: true}))(t) {
			all = append(all, e.Subject)
		}
		return all
	}
	diff(t, subjects(), []string(nil))
	clone.Commit("two")
	clone.Commit("three")
	diff(t, subjects(), []string{"three", "two"})
	clone.Run("push", "-q", "origin", "main~1:refs/heads/other")
	diff(t, subjects(), []string{"three"})
}

// TestOddClocks reads commits of computers whose clock stands where no calendar of git goes, from the objects and as git lists them, against what
// was written.
func TestOddClocks(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	g.Write("sets/a.json", "1\n")
	head := g.Commit("one")
	for _, c := range []struct{ date, want string }{
		{"43 -1200", "1969-12-31T12:00:43-12:00"}, // git log says no more than "Timestamp before Unix epoch"
		{"0 +0000", "1970-01-01T00:00:00Z"},
		{"7 +1400", "1970-01-01T14:00:07+14:00"},
		{"17179869184 +0530", "2514-05-30T07:23:04+05:30"},
		{"253402300799 +0000", "9999-12-31T23:59:59Z"},
		{"253402300800 +0000", "0001-01-01T00:00:00Z"}, // a year of five digits
		{"1786000000 +9959", "0001-01-01T00:00:00Z"},
		{"1786000000 -0030", "2026-08-06T06:36:40-00:30"},
	} {
		head = written(g, head, "", "committer x <x@y> "+c.date)
		g.Run("update-ref", "HEAD", head)
		repo := open(t, g.Dir)
		for name, o := range map[string]git.LogOptions{"line": {MaxCount: 1}, "git": {MaxCount: 1, All: true}} {
			if got := must(repo.Log(o))(t)[0].Committer.When.Format(time.RFC3339); got != c.want {
				t.Errorf("%s, %s: %s, want %s", name, c.date, got, c.want)
			}
		}
	}
}
