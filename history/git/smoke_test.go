package git_test

import (
	"testing"

	"fettle/history/git"
	"fettle/history/git/gittest"
)

func TestMain(m *testing.M) {
	gittest.Isolate()
	m.Run()
}

func TestSmoke(t *testing.T) {
	g := gittest.New(t)
	g.Write("fettle.json", "{}\n")
	g.Write("sets/a.json", "1\n")
	h := g.Commit("one")
	r, err := git.Open(g.Path("sets"))
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	t.Logf("%+v", r)
	head, _, _, _, err := r.Head()
	if err != nil || head != h {
		t.Fatal(head, err)
	}
	g.Write("sets/b.json", "2\n")
	id, err := r.CommitPaths("two", []string{"sets/b.json"}, git.CommitOptions{})
	t.Log(id, err)
	log, err := r.Log(git.LogOptions{Changes: true})
	t.Logf("%+v %v", log, err)
	a, err := r.Commit("HEAD", "")
	if err != nil {
		t.Fatal(err)
	}
	w, err := r.WorkTree("")
	if err != nil {
		t.Fatal(err)
	}
	if c := git.Compare(a, w); len(c) != 0 {
		t.Fatal(c)
	}
}
