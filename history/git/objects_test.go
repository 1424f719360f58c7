package git_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"fettle/history/git"
	"fettle/history/git/gittest"
)

// many saves files of many sizes and gives their ids, as git computes them.
func many(g *gittest.Repo, n int) (ids []string, contents [][]byte) {
	random := rand.New(rand.NewPCG(3, 4))
	var stream strings.Builder
	stream.WriteString("commit refs/heads/main\ncommitter x <x@y> 1786000000 +0000\ndata 4\nmany\n")
	for i := range n {
		size := []int{0, 1, 100, 4095, 4096, 70_000}[i%6] + random.IntN(3)
		data := make([]byte, size)
		for j := range data {
			data[j] = byte(random.Uint32())
		}
		fmt.Fprintf(&stream, "M 100644 inline sets/%04d\ndata %d\n%s\n", i, len(data), data)
		contents = append(contents, data)
	}
	g.Input(stream.String(), "fast-import", "--quiet")
	for _, e := range lsEntries(g.Run("ls-tree", "-r", "-z", "HEAD")) {
		ids = append(ids, e.Hash)
	}
	return ids, contents
}

func TestBlobs(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	ids, contents := many(g, 400) // more names than one request holds
	repo := open(t, g.Dir)
	next := 0
	err := repo.Blobs(ids, func(i int, data []byte) error {
		if i != next || !bytes.Equal(data, contents[i]) {
			t.Errorf("answer %d, expected %d, differs", i, next)
		}
		next++
		// Asking again from within must not wait for itself.
		again, err := repo.Blob(ids[0])
		if err == nil && !bytes.Equal(again, contents[0]) {
			t.Error("a question within a question got the wrong answer")
		}
		return err
	})
	if err != nil || next != len(ids) {
		t.Fatalf("%d answers, %v", next, err)
	}
	stop := errors.New("enough")
	if err := repo.Blobs(ids, func(i int, _ []byte) error {
		if i == 150 {
			return stop
		}
		return nil
	}); err != stop {
		t.Errorf("got %v", err)
	}
	if data := must(repo.Blob(ids[5]))(t); !bytes.Equal(data, contents[5]) {
		t.Error("out of step after a loop that ended early")
	}
}

// TestPastHeads: of each the first bytes, and the next one after it all the same.
func TestPastHeads(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	ids, contents := many(g, 400)
	repo := open(t, g.Dir)
	for _, n := range []int{1, 100, 5000} {
		next := 0
		err := repo.PastHeads(ids, n, func(i int, head []byte) error {
			if i != next || !bytes.Equal(head, contents[i][:min(n, len(contents[i]))]) {
				t.Errorf("the first %d bytes of %d, expected of %d, differ", n, i, next)
			}
			next++
			return nil
		})
		if err != nil || next != len(ids) {
			t.Errorf("%d answers of %d: %v", next, len(ids), err)
		}
	}
}

// TestPastRows: every content of every row, those of one row in order, packed and not, and what is wrong as [git.Repo.PastBlobs] says it.
func TestPastRows(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	ids, contents := many(g, 400)
	for _, packed := range []bool{false, true} {
		if packed {
			g.Commit("kept")
			g.Run("repack", "-q", "-a", "-d")
		}
		repo := open(t, g.Dir)
		rows := slices.Collect(slices.Chunk(ids, 7))
		next := make([]int, len(rows))
		if err := repo.PastRows(rows, func(row, i int, data []byte) error {
			if i != next[row] || !bytes.Equal(data, contents[7*row+i]) {
				t.Errorf("%d of row %d, expected %d, or another content", i, row, next[row])
			}
			next[row]++
			return nil
		}); err != nil {
			t.Fatal(err)
		}
		for row, n := range next {
			if n != len(rows[row]) {
				t.Errorf("%d of row %d", n, row)
			}
		}
		stop := errors.New("enough")
		if err := repo.PastRows(rows, func(row, i int, _ []byte) error {
			if row == 5 && i == 3 {
				return stop
			}
			return nil
		}); err != stop {
			t.Errorf("got %v", err)
		}
		err := repo.PastRows([][]string{ids[:2], {ids[3], strings.Repeat("1", 40)}}, func(int, int, []byte) error { return nil })
		wantKind(t, err, git.ErrMissing)
	}
}

func TestBlobsAtOnce(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	ids, contents := many(g, 60)
	repo := open(t, g.Dir)
	var wg sync.WaitGroup
	for worker := range 8 {
		wg.Go(func() {
			for round := range 50 {
				i := (worker*7 + round) % len(ids)
				data, err := repo.Blob(ids[i])
				if err != nil || !bytes.Equal(data, contents[i]) {
					t.Errorf("blob %d: %v", i, err)
				}
				if _, err := repo.Resolve("HEAD"); err != nil {
					t.Error(err)
				}
			}
		})
	}
	wg.Wait()
}

func TestBlobRefusals(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	g.Write("sets/a.json", "a\n")
	head := g.Commit("one")
	repo := open(t, g.Dir)
	for _, id := range []string{"", "HEAD", strings.Repeat("1", 40), strings.Repeat("g", 40), head, g.Run("rev-parse", "HEAD:sets"), head[:10], head + "\n" + head} {
		_, err := repo.Blob(id)
		wantKind(t, err, git.ErrMissing)
		wantKind(t, repo.Blobs([]string{id}, func(int, []byte) error { return nil }), git.ErrMissing)
	}
	repo.Close()
	_, err := repo.Blob(g.Run("rev-parse", "HEAD:sets/a.json"))
	wantKind(t, err, git.ErrClosed)
}

func TestLargeBlob(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	g.Run("config", "core.compression", "0")
	g.Write("sets/a.json", "a\n")
	if err := os.Truncate(g.Path("sets/a.json"), git.MaxBlob); err != nil {
		t.Fatal(err)
	}
	g.Write("sets/b.json", "b\n")
	if err := os.Truncate(g.Path("sets/b.json"), git.MaxBlob+1); err != nil {
		t.Fatal(err)
	}
	g.Write("sets/c.json", "c\n")
	g.Commit("large")
	repo := open(t, g.Dir)
	for _, snap := range []git.Snapshot{must(repo.Commit("HEAD", ""))(t), must(repo.WorkTree(""))(t)} {
		if data := must(snap.Read("sets/a.json"))(t); len(data) != git.MaxBlob {
			t.Errorf("%s: got %d bytes", snap.Name(), len(data))
		}
		_, err := snap.Read("sets/b.json")
		wantKind(t, err, git.ErrTooLarge)
		if !strings.Contains(err.Error(), "sets/b.json") {
			t.Errorf("%v does not name the file", err)
		}
		if data := must(snap.Read("sets/c.json"))(t); string(data) != "c\n" {
			t.Errorf("%s: out of step after a large file: %q", snap.Name(), data)
		}
	}
}

func TestDamagedObject(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	g.Write("sets/a.json", strings.Repeat("a\n", 100))
	g.Write("sets/b.json", "b\n")
	g.Commit("one")
	id := g.Run("rev-parse", "HEAD:sets/a.json")
	file := ".git/objects/" + id[:2] + "/" + id[2:]
	if err := os.Chmod(g.Path(file), 0o666); err != nil {
		t.Fatal(err)
	}
	good := g.Read(file)
	repo := open(t, g.Dir)
	snap := must(repo.Commit("HEAD", ""))(t)
	for name, bad := range map[string]string{"flipped": good[:len(good)-8] + "\x00\x00\x00\x00" + good[len(good)-4:], "cut": good[:10], "garbage": "no object"} {
		g.Write(file, bad)
		if data, err := snap.Read("sets/a.json"); err == nil {
			t.Errorf("%s: read %q", name, data)
		} else if !strings.Contains(err.Error(), "sets/a.json") {
			t.Errorf("%s: %v does not name the file", name, err)
		}
		if data, err := snap.Read("sets/b.json"); err != nil || string(data) != "b\n" {
			t.Errorf("%s: the next file gives %q, %v", name, data, err)
		}
	}
	g.Remove(file)
	_, err := snap.Read("sets/a.json")
	wantKind(t, err, git.ErrMissing)
	g.Write(file, good)
	if _, err := snap.Read("sets/a.json"); err != nil {
		t.Errorf("after repair: %v", err)
	}
}

// children lists the children of this process, where the system tells.
func children(t *testing.T) []string {
	t.Helper()
	if runtime.GOOS != "linux" {
		t.Skip("needs /proc")
	}
	lists, err := filepath.Glob("/proc/self/task/*/children")
	if err != nil || len(lists) == 0 {
		t.Skip("this kernel does not list children")
	}
	var all []string
	for _, list := range lists {
		data, err := os.ReadFile(list)
		if err == nil {
			all = append(all, strings.Fields(string(data))...)
		}
	}
	return all
}

// What no file of git says plainly, such as the name HEAD~0, is asked from a child.
func TestChildDies(t *testing.T) {
	g := gittest.New(t)
	g.Write("sets/a.json", "a\n")
	g.Commit("one")
	repo := open(t, g.Dir)
	before := children(t)
	if _, err := repo.Resolve("HEAD~0"); err != nil {
		t.Fatal(err)
	}
	killed := 0
	for _, pid := range children(t) {
		if !strings.Contains(strings.Join(before, " ")+" ", pid+" ") {
			if err := exec.Command("kill", "-9", pid).Run(); err != nil {
				t.Fatal(err)
			}
			killed++
		}
	}
	if killed != 1 {
		t.Fatalf("%d children to end", killed)
	}
	for range 3 {
		if _, err := repo.Resolve("HEAD~0"); err != nil {
			t.Fatalf("after the child died: %v", err)
		}
	}
	repo.Close()
	if after := children(t); len(after) > len(before) {
		t.Errorf("children left behind: %v, before %v", after, before)
	}
}

// slowGit is a git that takes its time, ahead of the real one on PATH.
func slowGit(t *testing.T) {
	t.Helper()
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "git"), []byte("#!/bin/sh\nexec sleep 60\n"), 0o777); err != nil {
		t.Fatal(err)
	}
	t.Setenv("PATH", dir+string(os.PathListSeparator)+os.Getenv("PATH"))
}

func TestCancel(t *testing.T) {
	g := gittest.New(t)
	g.Write("sets/a.json", "a\n")
	g.Commit("one")
	repo := open(t, g.Dir)
	slowGit(t)
	ctx, cancel := context.WithTimeout(context.Background(), 50*time.Millisecond)
	defer cancel()
	view := repo.WithContext(ctx)
	for name, call := range map[string]func() error{
		"objects": func() error { _, err := view.Resolve("HEAD~0"); return err },
		"index":   func() error { _, err := view.IndexFiles(); return err },
		"log":     func() error { _, err := view.Log(git.LogOptions{Revs: []string{"main"}}); return err },
		"config":  func() error { _, _, err := view.Config("a.b"); return err },
	} {
		done := make(chan error, 1)
		go func() { done <- call() }()
		select {
		case err := <-done:
			if !errors.Is(err, context.DeadlineExceeded) {
				t.Errorf("%s: %v", name, err)
			}
		case <-time.After(20 * time.Second):
			t.Fatalf("%s: did not end with its context", name)
		}
	}
}
