package git

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"fettle/history/git/gittest"
)

// TestReadRef holds what is read from files to what git itself says of the same names.
func TestReadRef(t *testing.T) {
	t.Parallel()
	for _, format := range []string{"sha1", "sha256"} {
		g := gittest.New(t, "--object-format="+format)
		first, second := g.Commit("one"), g.Commit("two")
		g.Run("tag", "-a", "-m", "x", "noted")
		g.Run("branch", "packed", first)
		g.Run("branch", "packed-over", first)
		g.Run("branch", "deep/er", first)
		g.Run("branch", "gone/by", first)
		g.Run("symbolic-ref", "refs/heads/other", "refs/heads/packed")
		g.Run("symbolic-ref", "refs/heads/twice", "refs/heads/other")
		g.Run("symbolic-ref", "refs/heads/dangling", "refs/heads/nowhere")
		g.Run("pack-refs", "--all")
		g.Run("branch", "-f", "packed-over", second)
		g.Run("branch", "loose", first)
		g.Run("branch", "-D", "-q", "gone/by")
		g.Run("update-ref", "refs/worktree/own", first)
		if err := os.MkdirAll(g.Path(".git/refs/heads/packed"), 0o777); err != nil { // git leaves these
			t.Fatal(err)
		}
		g.Write(".git/refs/heads/spaced", first+" \n\n")
		g.Write(".git/refs/heads/longer", first+"0\n")
		g.Write(".git/refs/heads/short", first[:20]+"\n")
		g.Write(".git/refs/heads/zeros", strings.Repeat("0", len(first))+"\n")
		g.Write(".git/refs/heads/capitals", strings.ToUpper(first)+"\n")
		g.Write(".git/refs/heads/loose.lock", first+"\n")
		g.Write(".git/out", second+"\n")
		g.Write(".git/refs/heads/away", "ref: ../out\n")
		g.Run("worktree", "add", "-q", "-b", "linked", filepath.Join(g.Dir, "tree"), first)

		known := 0
		for _, dir := range []string{g.Dir, filepath.Join(g.Dir, "tree")} {
			r, err := Open(dir)
			if err != nil {
				t.Fatal(err)
			}
			defer r.Close()
			at := gittest.At(t, dir)
			for name, inFiles := range map[string]bool{
				"HEAD": true, "refs/heads/main": true, "refs/heads/packed": true, "refs/heads/packed-over": true, "refs/heads/deep/er": true, "refs/heads/loose": true,
				"refs/heads/other": true, "refs/tags/noted": true, "refs/heads/spaced": true, "refs/heads/linked": true,
				"refs/heads/twice": false, "refs/heads/dangling": false, "refs/heads/gone/by": false, "refs/heads/none": false, "refs/heads": false, "refs/heads/": false,
				"refs/heads/longer": false, "refs/heads/short": false, "refs/heads/zeros": false, "refs/heads/capitals": false, "refs/heads/loose.lock": false,
				"refs/heads/away": false, "refs/../out": false, "out": false, "main": false, "": false, "refs/worktree/own": false, "refs/heads/main\n": false, "eads/main": false,
				"refs/heads/.invalid": false, "refs//heads/main": false, "refs/heads/main^{}": false, "refs/heads/packe": false, "s/noted": false, "refs/heads/ma*": false,
			} {
				hash, ok := r.readRef(name)
				if ok != inFiles {
					t.Errorf("%s: %q: %v", format, name, ok)
				}
				if !ok {
					continue
				}
				known++
				if want := at.Run("rev-parse", "--verify", name); hash != want {
					t.Errorf("%s: %q is %s, in git %s", format, name, hash, want)
				}
			}
		}
		if known != 20 {
			t.Errorf("%d names were known", known)
		}
		r, err := Open(g.Dir)
		if err != nil {
			t.Fatal(err)
		}
		defer r.Close()
		g.Run("checkout", "-q", "--detach", first)
		if hash, ok := r.readRef("HEAD"); !ok || hash != first {
			t.Errorf("%s: a detached HEAD is %q", format, hash)
		}
		g.Run("checkout", "-q", "--orphan", "new")
		if hash, ok := r.readRef("HEAD"); ok {
			t.Errorf("%s: nothing was saved, and HEAD is %q", format, hash)
		}
		g.Write(".git/HEAD", "ref: refs/heads/.invalid\n") // what another store of references leaves there
		if hash, ok := r.readRef("HEAD"); ok {
			t.Errorf("%s: another store of references, and HEAD is %q", format, hash)
		}
	}
}
