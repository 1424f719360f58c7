package git_test

import (
	"fmt"
	"os"
	"strings"
	"testing"

	"fettle/history/git"
	"fettle/history/git/gittest"
)

// What the snapshot of the work tree says of a file is what `git add` then stores, for every mix of settings, attributes,
// content and content saved before.
func TestLineEndsAgainstGit(t *testing.T) {
	t.Parallel()
	contents := map[string]string{
		"lf":          "a\nb\n",
		"crlf":        "a\r\nb\r\n",
		"mixed":       "a\r\nb\nc\r\n",
		"lone-cr":     "a\r\nb\rc\r\n",
		"cr-at-end":   "a\r\nb\r",
		"nul":         "a\r\n\x00b\r\n",
		"control":     strings.Repeat("a\r\n", 40) + "\x01",
		"controls":    strings.Repeat("a\r\n", 40) + strings.Repeat("\x01\x7f", 40),
		"escapes":     "a\r\n" + strings.Repeat("\x1b\b\t\f", 40),
		"dos-end":     "a\r\nb\r\n\x1a",
		"dos-end-two": "a\r\nb\r\n\x1a\x1a",
		"utf-8":       "größe\r\nµ\r\n",
		"bom":         "\ufeffa\r\n",
	}
	attributes := map[string]string{
		"none": "", "text": "text", "no-text": "-text", "auto": "text=auto", "eol-lf": "eol=lf", "eol-crlf": "eol=crlf",
		"auto-crlf": "text=auto eol=crlf", "no-text-eol": "-text eol=lf", "binary": "binary", "old-crlf": "crlf", "old-no-crlf": "-crlf", "old-input": "crlf=input",
	}
	var rules strings.Builder
	for name, rule := range attributes {
		if rule != "" {
			fmt.Fprintf(&rules, "%s-* %s\n", name, rule)
		}
	}
	g := gittest.New(t)
	g.Run("config", "core.safecrlf", "false")
	before := map[string]string{"new": "", "was-lf": "x\ny\n", "was-crlf": "x\r\ny\r\n", "was-binary": "x\r\n\x00"}
	each := func(f func(file, content, old string)) {
		for a := range attributes {
			for c, content := range contents {
				for b, old := range before {
					f(fmt.Sprintf("sets/%s-%s-%s.json", a, c, b), content, old)
				}
			}
		}
	}
	each(func(file, _, old string) {
		if old != "" {
			g.Write(file, old)
		}
	})
	g.Commit("as it is")
	index := g.Read(".git/index")
	g.Write("sets/.gitattributes", rules.String())
	each(func(file, content, _ string) { g.Write(file, content) })
	for _, setting := range []string{"false", "true", "input"} {
		t.Run("core.autocrlf "+setting, func(t *testing.T) {
			// git trusts an index that is newer than a file; this one has to look into every file again.
			g.Write(".git/index", index)
			if err := os.Chtimes(g.Path(".git/index"), gittest.Start, gittest.Start.AddDate(-20, 0, 0)); err != nil {
				t.Fatal(err)
			}
			g.Run("config", "core.autocrlf", setting)
			repo := open(t, g.Dir)
			disk := must(repo.WorkTree(""))(t)
			ids := map[string]string{}
			for _, file := range disk.Files() {
				ids[file] = disk.Hash(file)
			}
			g.Run("add", "-A")
			converted := 0
			stored := lsEntries(g.Run("ls-files", "-s", "-z"))
			for _, e := range stored {
				if ids[e.Path] != e.Hash {
					t.Errorf("%s: git stores %s, the snapshot has %s", e.Path, e.Hash, ids[e.Path])
				}
			}
			if len(stored) != len(ids) || len(ids) != 1+len(attributes)*len(contents)*len(before) {
				t.Errorf("%d files stored, %d in the snapshot", len(stored), len(ids))
			}
			staged := must(repo.Index(""))(t)
			each(func(file, content, _ string) {
				if data := must(staged.Read(file))(t); string(data) != content {
					converted++
				}
			})
			if converted == 0 {
				t.Error("nothing was converted: the test tests nothing")
			}
		})
	}
}

// A library that was saved with CRLF and is read without any setting has no unsaved edit.
func TestSavedCRLF(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	g.Write("sets/a.json", "{}\r\n")
	g.Commit("one")
	repo := open(t, g.Dir)
	if changes := git.Compare(must(repo.Commit("HEAD", ""))(t), must(repo.WorkTree(""))(t)); len(changes) > 0 {
		t.Errorf("changes %v", changes)
	}
}
