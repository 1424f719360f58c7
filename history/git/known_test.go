package git

import (
	"fmt"
	"os"
	"path"
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/history/git/gittest"
)

// listed is what git ls-files -s says of ordinary files, by path.
func listed(g *gittest.Repo) map[string]string {
	out := map[string]string{}
	for line := range strings.SplitSeq(g.Run("ls-files", "-s", "-z"), "\x00") {
		fields, p, ok := strings.Cut(line, "\t")
		if parts := strings.Fields(fields); ok && parts[2] == "0" && strings.HasPrefix(parts[0], "100") {
			out[p] = parts[1]
		}
	}
	return out
}

// What is read of the index is what git reads of it, in every form of it that git writes; those that are not understood say nothing.
func TestIndexSaysWhatGitSays(t *testing.T) {
	for _, form := range []struct {
		name, format string
		setup        func(*gittest.Repo)
		none         bool
	}{
		{name: "version 2", setup: func(*gittest.Repo) {}},
		{name: "SHA-256", format: "--object-format=sha256", setup: func(*gittest.Repo) {}},
		{name: "version 4", setup: func(g *gittest.Repo) { g.Run("update-index", "--index-version=4") }},
		{name: "version 3", setup: func(g *gittest.Repo) { g.Write("later", "x"); g.Run("add", "-N", "later") }},
		{name: "split", setup: func(g *gittest.Repo) { g.Run("update-index", "--split-index") }, none: true},
	} {
		t.Run(form.name, func(t *testing.T) {
			var args []string
			if form.format != "" {
				args = append(args, form.format)
			}
			g := gittest.New(t, args...)
			for n := range 60 {
				g.Write(fmt.Sprintf("sets/bay-%d/%s%d.json", n%3, strings.Repeat("x", n%17), n), fmt.Sprint(n))
			}
			g.Write("fettle.json", "{}")
			g.Write("empty", "")
			g.Run("add", "-A")
			g.Run("commit", "-q", "-m", "all")
			form.setup(g)
			long := time.Now().Add(-time.Hour) // else all were written in the moment of the index
			for p := range listed(g) {
				if err := os.Chtimes(g.Path(p), long, long); err != nil {
					t.Fatal(err)
				}
			}
			g.Run("update-index", "-q", "--refresh")
			r, err := Open(g.Dir)
			if err != nil {
				t.Fatal(err)
			}
			defer r.Close()
			s := r.readStood(nil)
			if form.none {
				if s != nil {
					t.Fatal("an index that cannot be understood was used")
				}
				return
			}
			if s == nil {
				t.Fatal("nothing was read")
			}
			id := func(p string) string {
				info, err := os.Lstat(g.Path(p))
				if err != nil {
					t.Fatal(err)
				}
				stat, ok := statOf(info)
				if !ok {
					t.Skip("the system does not say what git notes of a file")
				}
				alone, together := s.unchanged(p, stat), s.allUnchanged("", []string{p}, []fileStat{stat})[0]
				if dir, name := path.Split(p); alone != together || alone != s.allUnchanged(dir, []string{"", name}, []fileStat{{}, stat})[1] {
					t.Errorf("%s: %q alone and %q among others", p, alone, together)
				}
				return alone
			}
			want := listed(g)
			delete(want, "later")
			for p, hash := range want {
				if got := id(p); got != hash {
					t.Errorf("%s: %q, git says %s", p, got, hash)
				}
			}
			tree := strings.TrimSpace(g.Run("rev-parse", "HEAD:sets"))
			entries, ok := s.tree("sets", tree)
			var lines []string
			for _, e := range entries {
				lines = append(lines, e.Mode+" blob "+e.Hash+"\t"+e.Path)
			}
			if tells := strings.Split(strings.TrimSpace(g.Run("ls-tree", "-r", "HEAD", "sets")), "\n"); !ok || !slices.Equal(lines, tells) {
				t.Errorf("the tree of sets is known: %v\n%q\ngit says\n%q", ok, lines, tells)
			}
			// touched in any way, or of another kind, it is not known
			g.Write("fettle.json", "[]")
			if err := os.Chtimes(g.Path("fettle.json"), long, long); err != nil {
				t.Fatal(err)
			}
			if got := id("fettle.json"); got != "" {
				t.Errorf("a file that was written over keeps its id %s", got)
			}
			g.Write("fettle.json", "{ }")
			g.Run("add", "fettle.json")
			if s = r.readStood(nil); s == nil {
				t.Fatal("nothing was read after git add")
			}
			if _, ok := s.tree("", strings.TrimSpace(g.Run("rev-parse", "HEAD^{tree}"))); ok {
				t.Error("the top is known as it was before git add")
			}
			g.Write("racy", "1")
			g.Run("add", "racy")
			index := r.IndexFile()
			info, err := os.Stat(g.Path("racy"))
			if err == nil {
				err = os.Chtimes(index, info.ModTime(), info.ModTime())
			}
			if err != nil {
				t.Fatal(err)
			}
			if s = r.readStood(nil); id("racy") != "" {
				t.Error("a file that was written in the moment of the index is taken as it was")
			}
			// cut off anywhere, it says nothing or less, and never something else
			data, err := os.ReadFile(index)
			if err != nil {
				t.Fatal(err)
			}
			for cut := 0; cut < len(data); cut += 7 {
				part := &stood{trees: map[string]string{}}
				if part.parse(data[:cut], r.shared.hashLen/2, nil) && r.whole(data[:cut]) {
					t.Fatalf("the first %d of %d bytes pass for an index", cut, len(data))
				}
			}
		})
	}
}

// A snapshot of the disk and the saved one, listed together, are what they are apart.
func TestSavedAndWork(t *testing.T) {
	g := gittest.New(t)
	for n := range 20 {
		g.Write(fmt.Sprintf("lib/sets/bay-%d/%d.json", n%3, n), fmt.Sprint(n))
	}
	g.Write("lib/fettle.json", "{}")
	g.Commit("all", ".")
	g.Write("lib/sets/bay-1/1.json", "other")
	g.Write("lib/sets/bay-1/new.json", "new")
	g.Remove("lib/sets/bay-2/2.json")
	for _, staged := range []bool{false, true} {
		if staged {
			g.Run("add", "-A")
		}
		r, err := Open(g.Dir)
		if err != nil {
			t.Fatal(err)
		}
		saved, work, err := r.SavedAndWork("HEAD", "lib")
		if err != nil {
			t.Fatal(err)
		}
		alone, err := r.Commit("HEAD", "lib")
		if err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(saved.Files(), alone.Files()) {
			t.Errorf("%q, alone %q", saved.Files(), alone.Files())
		}
		for _, p := range alone.Files() {
			if saved.Hash(p) != alone.Hash(p) {
				t.Errorf("%s: %s, alone %s", p, saved.Hash(p), alone.Hash(p))
			}
		}
		for _, p := range work.Files() {
			data, err := os.ReadFile(g.Path("lib/" + p))
			if err != nil {
				t.Fatal(err)
			}
			if work.Hash(p) != r.BlobID(data) {
				t.Errorf("%s on disk has the id %s, and its content %s", p, work.Hash(p), r.BlobID(data))
			}
		}
		r.Close()
	}
}

// A file that is written after it was listed is not taken for what git noted of it: its new content would go by the id of the saved one.
func TestWrittenWhileRead(t *testing.T) {
	for _, now := range []string{"{}", "[]", "{ }"} {
		for _, once := range []bool{false, true} {
			g := gittest.New(t)
			g.Write("fettle.json", "{}")
			long := time.Now().Add(-time.Hour) // else it was written in the moment of the index
			if err := os.Chtimes(g.Path("fettle.json"), long, long); err != nil {
				t.Fatal(err)
			}
			g.Commit("all", ".")
			r, err := Open(g.Dir)
			if err != nil {
				t.Fatal(err)
			}
			defer r.Close()
			work, err := r.WorkTree("")
			if err != nil {
				t.Fatal(err)
			}
			if id, saved := work.Hash("fettle.json"), strings.TrimSpace(g.Run("rev-parse", "HEAD:fettle.json")); id != saved {
				t.Fatalf("the id is %s, saved %s", id, saved)
			}
			g.Write("fettle.json", now)
			read := work.Read
			if once {
				read = work.(*disk).ReadOnce
			}
			data, err := read("fettle.json")
			switch {
			case now == "{}" && (err != nil || string(data) != now):
				t.Errorf("written again as it was: %q, %v", data, err)
			case now != "{}" && (err == nil || !strings.Contains(err.Error(), "fettle.json was written while it was read")):
				t.Errorf("once %v: %q was read under the id of %q: %v", once, data, "{}", err)
			}
		}
	}
}

// IndexTree is the tree that git noted in the index, "" where it has to be asked.
func IndexTree(r *Repo) string { return r.indexTree() }

// A file whose system counts in whole seconds may be written twice in one, while the index lies where nanoseconds count.
func TestWholeSecondsMayHideAnEdit(t *testing.T) {
	when := time.Date(2026, 7, 14, 6, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		modified, written time.Duration // after that
		known             bool
	}{
		{0, 300 * time.Millisecond, false},
		{0, 1900 * time.Millisecond, false},
		{0, 3 * time.Second, true},
		{time.Nanosecond, 300 * time.Millisecond, true},
		{300 * time.Millisecond, 300 * time.Millisecond, false},
	} {
		modified := when.Add(c.modified)
		stat := fileStat{modified: [2]uint32{uint32(modified.Unix()), uint32(modified.Nanosecond())}, size: 3}
		s := &stood{written: when.Add(c.written), entries: []Entry{{Path: "sets/a.json", Hash: "id"}}, noted: []noted{{stat, true}}}
		if known := s.unchanged("sets/a.json", stat) != ""; known != c.known {
			t.Errorf("modified %s and noted %s after the second: taken for untouched: %t", c.modified, c.written, known)
		}
	}
}
