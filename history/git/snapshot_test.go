package git_test

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"fettle/history/git"
	"fettle/history/git/gittest"
)

// library writes one file of every part, and others that are none.
func library(g *gittest.Repo, root string) (want []string) {
	for _, file := range []string{"approvers", "fettle.json", "machines/bay-2.json", "people", "records/2026/07/r.json", "sets/bay-2/a.json", "trials/t.json"} {
		g.Write(root+file, "content of "+file+"\n")
		want = append(want, file)
	}
	for _, other := range []string{"README.md", "sets.json", "setsize/x.json", "fettle.json.orig", "Records/x.json"} {
		g.Write(root+other, "not part\n")
	}
	return want
}

func TestSnapshots(t *testing.T) {
	t.Parallel()
	for _, root := range []string{"", "plant 2/größe"} {
		t.Run("in "+root, func(t *testing.T) {
			g := gittest.New(t)
			dir := root
			if root != "" {
				dir += "/"
				library(g, "") // another library, which is not ours
			}
			want := library(g, dir)
			g.Commit("one")
			g.Write(dir+"sets/bay-2/a.json", "staged\n")
			g.Write(dir+"sets/bay-2/new.json", "new\n")
			g.Run("add", "-A")
			g.Write(dir+"sets/bay-2/a.json", "edited\n")
			g.Write(dir+"records/untracked.json", "untracked\n")
			g.Write(".gitignore", "*ignored*\n")
			g.Write(dir+"sets/ignored.json", "ignored\n")
			g.Remove(dir + "people")

			repo := open(t, g.Dir)
			saved := must(repo.Commit("HEAD", root))(t)
			staged := must(repo.Index(root))(t)
			disk := must(repo.WorkTree(root))(t)
			diff(t, saved.Files(), want)
			diff(t, staged.Files(), []string{"approvers", "fettle.json", "machines/bay-2.json", "people", "records/2026/07/r.json", "sets/bay-2/a.json", "sets/bay-2/new.json", "trials/t.json"})
			diff(t, disk.Files(), []string{"approvers", "fettle.json", "machines/bay-2.json", "records/2026/07/r.json", "records/untracked.json", "sets/bay-2/a.json", "sets/bay-2/new.json", "sets/ignored.json", "trials/t.json"})
			for i, snap := range []git.Snapshot{saved, staged, disk} {
				content := []string{"content of sets/bay-2/a.json\n", "staged\n", "edited\n"}[i]
				if data := must(snap.Read("sets/bay-2/a.json"))(t); string(data) != content {
					t.Errorf("%s: %q", snap.Name(), data)
				}
				// git gives to what was read the id that the snapshot gives.
				copies := gittest.At(t, gittest.Dir(t))
				var names, ids []string
				for i, file := range snap.Files() {
					names = append(names, copies.Path(fmt.Sprint(i)))
					ids = append(ids, snap.Hash(file))
					copies.Write(fmt.Sprint(i), string(must(snap.Read(file))(t)))
				}
				diff(t, ids, strings.Fields(g.Input(strings.Join(names, "\n"), "hash-object", "--no-filters", "--stdin-paths")))
				for _, other := range []string{"README.md", "sets", "", "../people", "nowhere"} {
					_, err := snap.Read(other)
					wantKind(t, err, git.ErrNoSuchFile)
					if snap.Hash(other) != "" {
						t.Errorf("%s has an id for %q", snap.Name(), other)
					}
				}
				// A caller that writes into what it got must not change what the next one gets.
				data := must(snap.Read("sets/bay-2/a.json"))(t)
				data[0] = 'X'
				if again := must(snap.Read("sets/bay-2/a.json"))(t); string(again) != content {
					t.Errorf("%s: changed by its reader: %q", snap.Name(), again)
				}
				var all []string
				if err := git.ReadAll(snap, snap.Files(), func(path string, data []byte) error {
					all = append(all, path)
					if one := must(snap.Read(path))(t); string(one) != string(data) {
						t.Errorf("%s: %s differs when all are read", snap.Name(), path)
					}
					return nil
				}); err != nil {
					t.Error(err)
				}
				diff(t, all, snap.Files())
				wantKind(t, git.ReadAll(snap, []string{"nowhere"}, func(string, []byte) error { return nil }), git.ErrNoSuchFile)
				enough := errors.New("enough")
				if err := git.ReadAll(snap, snap.Files(), func(string, []byte) error { return enough }); err != enough {
					t.Errorf("%s: %v", snap.Name(), err)
				}
			}

			paths := func(changes []git.Change) (all []string) {
				for _, c := range changes {
					mark := " "
					if c.OldHash == "" {
						mark = "+"
					} else if c.NewHash == "" {
						mark = "-"
					}
					all = append(all, mark+c.Path)
				}
				return all
			}
			diff(t, paths(git.Compare(saved, staged)), []string{" sets/bay-2/a.json", "+sets/bay-2/new.json"})
			diff(t, paths(git.Compare(staged, disk)), []string{"-people", "+records/untracked.json", " sets/bay-2/a.json", "+sets/ignored.json"})
			diff(t, paths(git.Compare(disk, disk)), []string(nil))
			diff(t, len(git.Compare(git.Empty(), saved)), len(want))
			diff(t, len(git.Compare(saved, git.Empty())), len(want))
		})
	}
}

// What is no ordinary file is refused by name, in each view, and never skipped: skipped would be a pass.
func TestIrregularFiles(t *testing.T) {
	t.Parallel()
	link := func(target, at string) func(t *testing.T, g *gittest.Repo) {
		return func(t *testing.T, g *gittest.Repo) {
			if err := os.Symlink(target, g.Path(at)); err != nil {
				t.Skip(err)
			}
		}
	}
	for _, c := range []struct {
		name, path string
		make       func(t *testing.T, g *gittest.Repo)
	}{
		{"link to a file", "sets/x.json", link("a.json", "sets/x.json")},
		{"link out", "sets/passwd", link("/etc/passwd", "sets/passwd")},
		{"link in place of a directory", "trials", link("sets", "trials")},
		{"link in place of the roster", "approvers", link("people", "approvers")},
		{"another repository", "sets/nested", func(t *testing.T, g *gittest.Repo) {
			g.Run("init", "-q", "-b", "main", "sets/nested")
			gittest.At(t, g.Path("sets/nested")).Run("-c", "user.name=a", "-c", "user.email=b", "commit", "-q", "--allow-empty", "-m", "x")
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			g := gittest.New(t)
			g.Write("sets/a.json", "a\n")
			g.Write("people", "p\n")
			c.make(t, g)
			repo := open(t, g.Dir)
			g.Run("-c", "advice.addEmbeddedRepo=false", "add", "-A")
			check := func(_ git.Snapshot, err error) {
				t.Helper()
				e := wantKind(t, err, git.ErrIrregular)
				if len(e.Paths) != 1 || !strings.HasPrefix(e.Paths[0], c.path) || !strings.Contains(e.Error(), c.path) {
					t.Errorf("%v: paths %v", e, e.Paths)
				}
			}
			check(repo.WorkTree(""))
			check(repo.Index(""))
			g.Run("commit", "-q", "-m", "one")
			check(repo.Commit("HEAD", ""))
		})
	}
}

func TestWorkTreeRefusals(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	g.Write("sets/a.json", "a\n")
	repo := open(t, g.Dir)
	_, err := repo.WorkTree("nowhere")
	wantKind(t, err, git.ErrNoSuchFile)
	outside := gittest.Dir(t)
	if err := os.Symlink(outside, g.Path("out")); err != nil {
		t.Skip(err)
	}
	if err := os.WriteFile(filepath.Join(outside, "people"), []byte("not ours"), 0o666); err != nil {
		t.Fatal(err)
	}
	// The directory of the library is checked as its parts are.
	_, err = repo.WorkTree("out")
	wantKind(t, err, git.ErrIrregular)

	snap := must(repo.WorkTree(""))(t)
	if err := os.Remove(g.Path("sets/a.json")); err != nil {
		t.Fatal(err)
	}
	if _, err := snap.Read("sets/a.json"); err == nil || !strings.Contains(err.Error(), "sets/a.json") {
		t.Errorf("a file that went away: %v", err)
	}
	if changes := git.Compare(git.Empty(), snap); len(changes) != 1 {
		t.Errorf("a file that cannot be read is a change: %v", changes)
	}
}
