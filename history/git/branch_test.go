package git_test

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"fettle/history/git"
	"fettle/history/git/gittest"
)

// untouched is all that a commit on another branch must leave alone.
func untouched(r *gittest.Repo) string {
	index, err := os.ReadFile(filepath.Join(r.Dir, ".git", "index"))
	if err != nil {
		panic(err)
	}
	return r.Run("symbolic-ref", "HEAD") + r.Run("rev-parse", "HEAD") + r.Run("status", "--porcelain") + string(index)
}

func TestCommitOn(t *testing.T) {
	temp := t.TempDir()
	t.Setenv("TMPDIR", temp) // where it is looked at what is left behind
	for _, format := range []string{"sha1", "sha256"} {
		r := gittest.New(t, "--object-format="+format)
		r.Write("a.txt", "one\n")
		r.Write("records/1.json", "{}\n")
		base := r.Commit("base")
		r.Run("branch", "waiting/mara")
		r.Write("a.txt", "edited\n")
		r.Write("staged.txt", "x\n")
		r.Run("add", "staged.txt")
		repo := open(t, r.Dir)
		before := untouched(r)

		hash, err := repo.CommitOn("waiting/mara", base, base, "Approve it\n\n# not a comment\n", map[string][]byte{"records/2.json": []byte("{\"a\": 1}\r\n")},
			git.CommitOptions{Author: "Jonas Falk <jonas@northgate.example>"})
		if err != nil {
			t.Fatal(err)
		}
		if now := untouched(r); now != before {
			t.Errorf("index, HEAD or files changed:\n%s\nwas\n%s", now, before)
		}
		// git itself says what is there.
		if got := r.Run("rev-parse", "waiting/mara", "waiting/mara^"); got != hash+"\n"+base {
			t.Errorf("the branch stands at %q", got)
		}
		if got := r.Run("diff", "--name-status", base, hash); got != "A\trecords/2.json" {
			t.Errorf("it changes %q", got)
		}
		if got := r.Run("show", hash+":records/2.json"); got != "{\"a\": 1}\r" { // the last line feed is taken off by Run
			t.Errorf("it holds %q", got)
		}
		if got := r.Run("log", "-1", "--format=%an <%ae>, %cn|%B", hash); !strings.HasPrefix(got, "Jonas Falk <jonas@northgate.example>, Mara Lind|Approve it\n\n# not a comment") {
			t.Errorf("by %q", got)
		}
		r.Run("fsck", "--strict")

		// Where it moved meanwhile nothing is written to it.
		_, err = repo.CommitOn("waiting/mara", base, base, "Again", map[string][]byte{"records/3.json": []byte("{}\n")}, git.CommitOptions{})
		if !errors.Is(err, git.ErrMoved) {
			t.Errorf("moved: %v", err)
		}
		// Nor where the file is there already, or the branch that was to be made.
		_, err = repo.CommitOn("waiting/mara", hash, hash, "Again", map[string][]byte{"records/2.json": []byte("{}\n")}, git.CommitOptions{})
		if !errors.Is(err, git.ErrIrregular) {
			t.Errorf("there already: %v", err)
		}
		_, err = repo.CommitOn("waiting/mara", base, "", "Again", map[string][]byte{"records/3.json": []byte("{}\n")}, git.CommitOptions{})
		if !errors.Is(err, git.ErrMoved) {
			t.Errorf("made twice: %v", err)
		}
		if got := r.Run("rev-parse", "waiting/mara"); got != hash {
			t.Errorf("the branch stands at %s after failures", got)
		}
		// A new one.
		made, err := repo.CommitOn("waiting/new", base, "", "Again", map[string][]byte{"records/3.json": []byte("{}\n")}, git.CommitOptions{})
		if err != nil || r.Run("rev-parse", "waiting/new") != made {
			t.Errorf("new: %v", err)
		}
		if refs, err := repo.Containing(hash, "refs/heads/"); err != nil || strings.Join(refs, " ") != "refs/heads/waiting/mara" {
			t.Errorf("contained in %v, %v", refs, err)
		}
		if refs, err := repo.Beyond(hash, "refs/heads/"); err != nil || strings.Join(refs, " ") != "refs/heads/waiting/new" {
			t.Errorf("beyond it are %v, %v", refs, err)
		}
		if err := repo.MoveBranch("waiting/new", "", base); !errors.Is(err, git.ErrMoved) {
			t.Errorf("removed: %v", err)
		}
		if err := repo.MoveBranch("waiting/new", "", made); err != nil || r.Run("for-each-ref", "refs/heads/waiting/new") != "" {
			t.Errorf("not removed: %v", err)
		}
		if left, _ := filepath.Glob(filepath.Join(temp, "*")); len(left) > 0 {
			t.Errorf("left behind: %v", left)
		}
		if now := untouched(r); now != before {
			t.Errorf("index, HEAD or files changed:\n%s\nwas\n%s", now, before)
		}
	}
}

func TestBranches(t *testing.T) {
	t.Parallel()
	r := gittest.New(t)
	r.Write("a.txt", "one\n")
	head := r.Commit("base")
	r.Run("branch", "waiting/mara")
	for _, remote := range []string{"origin", "team/plate"} {
		r.Run("remote", "add", remote, "/nowhere")
		r.Run("update-ref", "refs/remotes/"+remote+"/waiting/jonas", head)
	}
	r.Run("symbolic-ref", "refs/remotes/origin/HEAD", "refs/remotes/origin/waiting/jonas")
	branches, err := open(t, r.Dir).Branches()
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, b := range branches {
		got = append(got, b.Remote+":"+b.Name+":"+filepath.Base(b.Worktree))
		if b.Hash != head {
			t.Errorf("%s stands at %s", b.Ref, b.Hash)
		}
	}
	want := ":main:" + filepath.Base(r.Dir) + " :waiting/mara:. origin:waiting/jonas:. team/plate:waiting/jonas:."
	if strings.Join(got, " ") != want {
		t.Errorf("got  %s\nwant %s", strings.Join(got, " "), want)
	}
}

// Of a partial clone only what is looked at is here. Nothing more is fetched for a record on a branch.
func TestCommitOnInPartialClone(t *testing.T) {
	t.Parallel()
	server := gittest.New(t)
	server.Run("config", "uploadpack.allowFilter", "true")
	server.Write("sets/a.json", "one\n")
	server.Write("notes.txt", "long\n")
	base := server.Commit("base")
	server.Run("branch", "waiting/mara")
	dir := filepath.Join(gittest.Dir(t), "clone")
	server.Run("clone", "-q", "--filter=blob:none", "--no-checkout", "file://"+server.Dir, dir)
	r := gittest.At(t, dir)
	r.Run("remote", "set-url", "origin", filepath.Join(dir, "gone"))
	r.Run("config", "user.name", gittest.Author)
	r.Run("config", "user.email", gittest.Email)
	hash, err := open(t, dir).CommitOn("waiting/mara", base, "", "Approve it", map[string][]byte{"records/2.json": []byte("{}\n")}, git.CommitOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if got := r.Run("-c", "diff.renames=false", "diff-tree", "-r", "--name-status", base, hash); got != "A\trecords/2.json" {
		t.Errorf("it changes %q", got)
	}
}

func TestPush(t *testing.T) {
	t.Parallel()
	r := gittest.New(t)
	r.Write("a.txt", "one\n")
	first := r.Commit("base")
	server := gittest.New(t, "--bare")
	r.Run("remote", "add", "origin", server.Dir)
	repo := open(t, r.Dir)
	if hash, err := repo.RemoteBranch("origin", "waiting/mara"); hash != "" || err != nil {
		t.Errorf("nothing there: %q %v", hash, err)
	}
	if err := repo.Push("origin", first, "waiting/mara", nil); err != nil {
		t.Fatal(err)
	}
	r.Write("a.txt", "two\n")
	second := r.Commit("second")
	if err := repo.Push("origin", second, "waiting/mara", nil); err != nil {
		t.Fatal(err)
	}
	if hash, err := repo.RemoteBranch("origin", "waiting/mara"); hash != second || err != nil {
		t.Errorf("there: %q %v", hash, err)
	}
	// A branch never goes back, nor aside.
	if err := repo.Push("origin", first, "waiting/mara", nil); !errors.Is(err, git.ErrBehind) {
		t.Errorf("back: %v", err)
	}
	server.Hook("pre-receive", "echo 'closed on Sundays' >&2; exit 1")
	var said strings.Builder
	if err := repo.Push("origin", second, "waiting/jonas", &said); !errors.Is(err, git.ErrNotTaken) || !strings.Contains(err.Error(), "pre-receive hook declined") {
		t.Errorf("refused: %v", err)
	}
	if !strings.Contains(said.String(), "closed on Sundays") {
		t.Errorf("the server was not heard: %s", said.String())
	}
	if got := server.Run("for-each-ref", "--format=%(refname) %(objectname)"); got != "refs/heads/waiting/mara "+second {
		t.Errorf("the server holds %s", got)
	}
	r.Run("remote", "set-url", "origin", filepath.Join(server.Dir, "gone"))
	if err := open(t, r.Dir).Push("origin", second, "waiting/x", nil); !errors.Is(err, git.ErrUnreached) {
		t.Errorf("gone: %v", err)
	}
	if _, err := open(t, r.Dir).RemoteBranch("origin", "x"); !errors.Is(err, git.ErrUnreached) {
		t.Errorf("gone: %v", err)
	}
}
