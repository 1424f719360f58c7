package git_test

import (
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"fettle/history/git"
	"fettle/history/git/gittest"
)

// madeUp is a random history that is known without asking git: what every commit holds and where it comes from. It has
// merges of two and three lines of work, some of which take all from one side, some from another, some a mix, and some
// change what no side had; commits that change nothing; and lines of work that begin from nothing.
type madeUp struct {
	*gittest.Repo
	ids     []string
	parents [][]int
	trees   []map[string]string // path to content
}

var madeUpPaths = []string{"sets/bay-2/a.json", "sets/bay-2/b.json", "sets/bay-7/a.json", "records/2026/07/r.json", "records/2026/08/r.json", "other"}

func makeUp(t *testing.T, seed uint64, n int) *madeUp {
	random := rand.New(rand.NewPCG(seed, 5))
	h := &madeUp{Repo: gittest.New(t)}
	edit := func(tree map[string]string, times int) {
		for range times {
			p := madeUpPaths[random.IntN(len(madeUpPaths))]
			if content := random.IntN(4); content == 0 {
				delete(tree, p)
			} else {
				tree[p] = fmt.Sprint(content)
			}
		}
	}
	var stream strings.Builder
	for i := range n {
		var parents []int
		if i > 0 && random.IntN(30) > 0 {
			for range []int{1, 1, 1, 2, 2, 3}[random.IntN(6)] {
				if p := max(0, i-1-random.IntN(10)); !slices.Contains(parents, p) {
					parents = append(parents, p)
				}
			}
		}
		tree := map[string]string{}
		switch {
		case len(parents) == 0:
			edit(tree, 3)
		case len(parents) == 1:
			tree = maps.Clone(h.trees[parents[0]])
			edit(tree, random.IntN(3))
		default:
			tree = maps.Clone(h.trees[parents[random.IntN(len(parents))]])
			if random.IntN(2) == 0 {
				for _, p := range madeUpPaths {
					if content, ok := h.trees[parents[random.IntN(len(parents))]][p]; ok {
						tree[p] = content
					} else {
						delete(tree, p)
					}
				}
			}
			if random.IntN(4) == 0 {
				edit(tree, 1)
			}
		}
		h.parents, h.trees = append(h.parents, parents), append(h.trees, tree)
		fmt.Fprintf(&stream, "commit refs/heads/c%d\nmark :%d\ncommitter x <x@y> %d +0000\ndata 1\nx\n", i, i+1, 1786000000+60*i)
		for k, p := range parents {
			fmt.Fprintf(&stream, "%s :%d\n", []string{"from", "merge", "merge"}[k], p+1)
		}
		stream.WriteString("deleteall\n")
		for _, p := range slices.Sorted(maps.Keys(tree)) {
			fmt.Fprintf(&stream, "M 100644 inline %s\ndata %d\n%s\n", p, len(tree[p]), tree[p])
		}
	}
	h.Input(stream.String(), "fast-import", "--quiet")
	for i := range n {
		h.ids = append(h.ids, fmt.Sprintf("refs/heads/c%d", i))
	}
	h.ids = strings.Fields(h.Run(append([]string{"rev-parse"}, h.ids...)...))
	return h
}

// behind marks a commit and all that lead to it.
func (h *madeUp) behind(i int, seen map[int]bool) {
	if !seen[i] {
		seen[i] = true
		for _, p := range h.parents[i] {
			h.behind(p, seen)
		}
	}
}

// touched are the paths that differ between a commit and one of its parents; -1 is nothing at all.
func (h *madeUp) touched(i, parent int, under ...string) (all []string) {
	old := map[string]string{}
	if parent >= 0 {
		old = h.trees[parent]
	}
	for _, p := range madeUpPaths {
		in := len(under) == 0 || slices.ContainsFunc(under, func(u string) bool { return p == u || strings.HasPrefix(p, u+"/") })
		was, had := old[p]
		is, has := h.trees[i][p]
		if in && (was != is || had != has) {
			all = append(all, p)
		}
	}
	slices.Sort(all)
	return all
}

// lists are the touched paths of a commit, for each parent.
func (h *madeUp) lists(i int, under ...string) (lists [][]string) {
	if len(h.parents[i]) == 0 {
		return [][]string{h.touched(i, -1, under...)}
	}
	for _, p := range h.parents[i] {
		lists = append(lists, h.touched(i, p, under...))
	}
	return lists
}

// rawLog asks git for every commit and its changes against each parent, and reads the form for people: "ID (from PARENT)
// subject", then the changes. Parents without a change are left out.
func rawLog(g *gittest.Repo, args ...string) (order []string, changes map[string]map[string][]git.Change) {
	changes = map[string]map[string][]git.Change{}
	all := append([]string{"log", "-m", "--raw", "--root", "--no-abbrev", "--no-renames", "--format=oneline", "--full-history"}, args...)
	id, parent := "", ""
	for line := range strings.Lines(g.Run(all...)) {
		line = strings.TrimSuffix(line, "\n")
		if !strings.HasPrefix(line, ":") {
			words := strings.Fields(line)
			if id, parent = words[0], ""; words[1] == "(from" {
				parent = strings.TrimSuffix(words[2], ")")
			}
			if changes[id] == nil {
				order = append(order, id)
				changes[id] = map[string][]git.Change{}
			}
			continue
		}
		facts, path, _ := strings.Cut(line, "\t")
		changes[id][parent] = append(changes[id][parent], rawChanges(facts+"\x00"+path)...)
	}
	return order, changes
}

// An audit asks for the commits that changed some files, merges too: against `git log -m`, and against what is known of
// the history without git.
func TestWalkOverMerges(t *testing.T) {
	t.Parallel()
	for seed := range uint64(3) {
		const n = 120
		h := makeUp(t, seed, n)
		repo := open(t, h.Dir)
		number := map[string]int{}
		for i, id := range h.ids {
			number[id] = i
		}
		head := h.ids[n-1]
		for _, c := range []struct {
			options git.LogOptions
			args    []string
		}{
			{git.LogOptions{Revs: []string{head}}, []string{head}},
			{git.LogOptions{All: true}, []string{"--branches"}},
			{git.LogOptions{Revs: []string{head}, Paths: []string{"sets"}}, []string{head, "--", "sets"}},
			{git.LogOptions{Revs: []string{head}, Paths: []string{"sets/bay-7/a.json"}}, []string{head, "--", "sets/bay-7/a.json"}},
			{git.LogOptions{Revs: []string{head}, Paths: []string{"records/2026/07", "other"}, Reverse: true}, []string{"--reverse", head, "--", "records/2026/07", "other"}},
			{git.LogOptions{All: true, Paths: []string{"records"}}, []string{"--branches", "--", "records"}},
			{git.LogOptions{Revs: []string{head, "^" + h.ids[n/2]}, Paths: []string{"sets"}}, []string{head, "^" + h.ids[n/2], "--", "sets"}},
			{git.LogOptions{Revs: []string{h.ids[n/3] + ".." + head}}, []string{h.ids[n/3] + ".." + head}},
		} {
			c.options.Changes = true
			t.Run(fmt.Sprint(seed, " ", c.args[1:]), func(t *testing.T) {
				order, changes := rawLog(h.Repo, c.args...)
				log := must(repo.Log(c.options))(t)
				var got []string
				merges := 0
				for _, e := range log {
					got = append(got, e.Hash)
					if len(e.Parents) > 1 {
						merges++
					}
					i := number[e.Hash]
					lists := h.lists(i, c.options.Paths...)
					if len(e.Changes) != len(lists) {
						t.Fatalf("%d lists of changes for %d", len(e.Changes), len(lists))
					}
					for k, list := range e.Changes {
						parent := ""
						if len(e.Parents) > 1 {
							parent = e.Parents[k]
						}
						if slices.Contains(order, e.Hash) {
							diff(t, list, changes[e.Hash][parent])
						}
						var paths []string
						for _, change := range list {
							paths = append(paths, change.Path)
						}
						diff(t, paths, lists[k])
					}
				}
				if excluded := c.options.Paths != nil && len(c.options.Revs) > 1; !excluded {
					diff(t, got, order)
				} else {
					// git leaves merges out here; what it tells is told, in the same order.
					diff(t, slices.DeleteFunc(slices.Clone(got), func(id string) bool { return !slices.Contains(order, id) }), order)
					for count := range 3 {
						few := c.options
						few.MaxCount, few.Changes = count+1, false
						for _, few.Reverse = range []bool{false, true} {
							want := slices.Clone(got[:few.MaxCount])
							if few.Reverse {
								slices.Reverse(want)
							}
							var ids []string
							for _, e := range must(repo.Log(few))(t) {
								ids = append(ids, e.Hash)
								if e.Changes != nil {
									t.Error("changes that nobody asked for")
								}
							}
							diff(t, ids, want)
						}
					}
				}
				if merges == 0 {
					t.Error("no merge: the test tests nothing")
				}

				// No commit that changed something against a parent is left out.
				want := map[int]bool{}
				if c.options.All {
					for i := range n {
						want[i] = true
					}
				} else {
					h.behind(n-1, want)
				}
				left := map[int]bool{}
				if strings.Contains(c.args[0], "..") {
					h.behind(n/3, left)
				} else if len(c.args) > 1 && strings.HasPrefix(c.args[1], "^") {
					h.behind(n/2, left)
				}
				for i := range want {
					changed := slices.ContainsFunc(h.lists(i, c.options.Paths...), func(list []string) bool { return len(list) > 0 })
					told := slices.Contains(got, h.ids[i])
					if should := !left[i] && (changed || len(c.options.Paths) == 0); should != told {
						t.Errorf("commit %d with parents %v and changes %v: told %v", i, h.parents[i], h.lists(i, c.options.Paths...), told)
					}
				}
			})
		}
	}
}
