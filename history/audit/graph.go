package audit

import (
	"container/heap"
	"path"
	"slices"
	"strings"
	"time"

	"fettle/history/git"
)

// A commit is one commit on the way to the revision that is audited.
type commit struct {
	hash     string
	parents  []*commit
	children int               // that were not worked on yet
	entry    *git.LogEntry     // what it changed; nil where it touched nothing of the library
	said     *git.LogEntry     // what it says of itself; nil where that was not read yet, see [Trail.said]
	when     time.Time         // by the clock of the committer
	pos      int               // in the order of history: parents first
	edge     bool              // what came before is not in this clone
	state    *state            // its files, while a child still needs them
	edits    []edit            // what it made of the files of the first commit before
	others   map[string]string // path of what is no set → id of its content, likewise
	told     [2]int            // from where to where of the trail it is told
	kept     *kept             // what an earlier walk made of it, nil for nothing
}

// clock says what is odd about the time of a commit, or "".
func (c *commit) clock() string {
	for _, p := range c.parents {
		if c.when.Before(p.when) {
			return "its clock is behind that of the one before it"
		}
	}
	return ""
}

// readGraph reads all commits that lead to a revision, in the order of history. Of those that are kept only what came since is asked for. A few
// of them are told where few conditions are looked for: then what each says of itself is not read.
func readGraph(repo *git.Repo, head, root string, kept, few bool) (list []*commit, keep func(), err error) {
	keep = func() {}
	if kept {
		if list, err := recallCommits(repo, root).since(repo, head, root, few); list != nil || err != nil {
			return list, keep, err
		}
	}
	g := newGraph(nil)
	if !few || !g.lineage(repo, head, root) {
		if _, err := g.collect(repo, []string{head}, root); err != nil {
			return nil, keep, err
		}
	}
	list = g.inOrder(shallowEdges(repo))
	if kept {
		keep = keepCommits(repo, head, root, list)
	}
	return list, keep, nil
}

// lineage adds all commits that lead to one, as git itself need not be asked for them.
func (g *graph) lineage(repo *git.Repo, head, root string) bool {
	list, ok := repo.Lineage(head, partsBelow(root))
	if !ok {
		return false
	}
	g.commits, g.parents = make(map[string]*commit, len(list)), make(map[*commit][]string, len(list))
	for _, a := range list {
		c := &commit{hash: a.Hash, when: a.When}
		if a.Changes != nil {
			c.entry = &git.LogEntry{Hash: a.Hash, Changes: a.Changes}
		}
		parents := make([]string, len(a.Parents))
		for i, p := range a.Parents {
			parents[i] = p.Hash
		}
		g.commits[c.hash], g.parents[c] = c, parents
	}
	return true
}

// A graph is commits by their ids, and what the new ones among them build upon.
type graph struct {
	commits map[string]*commit
	parents map[*commit][]string
}

func newGraph(known []*commit) *graph {
	g := &graph{make(map[string]*commit, len(known)), map[*commit][]string{}}
	for _, c := range known {
		g.commits[c.hash] = c
	}
	return g
}

func (g *graph) add(e git.LogEntry) *commit {
	c := &commit{hash: e.Hash, when: e.Committer.When}
	g.commits[e.Hash], g.parents[c] = c, e.Parents
	return c
}

// collect adds the commits of a walk. It is false where one of them follows a commit that neither tells.
//
// To pick the commits that touch some paths git looks at each twice. Where the library is the whole repository, or nearly so, it is faster
// to be told of all.
func (g *graph) collect(repo *git.Repo, revs []string, root string) (whole bool, err error) {
	o := git.LogOptions{Revs: revs, Paths: partsBelow(root), Changes: true}
	if root == "" {
		o.Paths = nil
	}
	for e, err := range repo.Walk(o) {
		if err != nil {
			return false, err
		}
		e.Message, e.Subject = "", "" // not told, and large in a long history
		touches := root != ""
		for i, changes := range e.Changes {
			if root == "" {
				e.Changes[i] = slices.DeleteFunc(changes, func(c git.Change) bool { return !isPart(c.Path) })
			}
			touches = touches || len(e.Changes[i]) > 0
		}
		c := g.add(e)
		if c.said = &e; touches {
			c.entry = &e
		}
	}
	if !g.hasGaps() {
		return true, nil
	}
	for e, err := range repo.Walk(git.LogOptions{Revs: revs}) {
		if err != nil {
			return false, err
		}
		if g.commits[e.Hash] == nil {
			g.add(e)
		}
	}
	return !g.hasGaps(), nil
}

// hasGaps reports whether a commit follows one that the walk left out, because it touched nothing of the library.
func (g *graph) hasGaps() bool {
	for _, hashes := range g.parents {
		for _, h := range hashes {
			if g.commits[h] == nil {
				return true
			}
		}
	}
	return false
}

// partsBelow are the files and directories of the library, from the top of the tree.
func partsBelow(root string) []string {
	var out []string
	for _, part := range git.Parts {
		out = append(out, path.Join(root, part))
	}
	return out
}

// isPart reports whether a file of a library is one of its parts.
func isPart(file string) bool {
	part, _, _ := strings.Cut(file, "/")
	return slices.Contains(git.Parts, part)
}

// inOrder ties the commits together and sorts them so that each comes after those it builds upon; among those that could come next the clock
// decides.
func (g *graph) inOrder(edges map[string]bool) []*commit {
	for c, hashes := range g.parents {
		for _, h := range hashes {
			if p := g.commits[h]; p != nil {
				c.parents = append(c.parents, p)
				p.children++
			}
		}
		c.edge = len(c.parents) == 0 && edges[c.hash]
	}
	ready := &queue{less: func(a, b *commit) bool {
		if !a.when.Equal(b.when) {
			return a.when.Before(b.when)
		}
		return a.hash < b.hash
	}}
	type edge struct {
		to   *commit
		next int
	}
	ways, first := []edge{{}}, make([]int, len(g.commits)) // from each commit to those that build upon it
	waiting := make([]int, len(g.commits))
	n := 0
	for _, c := range g.commits {
		c.pos = n
		n++
	}
	for _, c := range g.commits {
		waiting[c.pos] = len(c.parents)
		for _, p := range c.parents {
			ways = append(ways, edge{c, first[p.pos]})
			first[p.pos] = len(ways) - 1
		}
		if len(c.parents) == 0 {
			ready.list = append(ready.list, c)
		}
	}
	heap.Init(ready)
	out := make([]*commit, 0, len(g.commits))
	for ready.Len() > 0 {
		c := heap.Pop(ready).(*commit)
		out = append(out, c)
		for way := first[c.pos]; way > 0; way = ways[way].next {
			child := ways[way].to
			if waiting[child.pos]--; waiting[child.pos] == 0 {
				heap.Push(ready, child)
			}
		}
	}
	for i, c := range out {
		c.pos = i
	}
	return out
}

// only returns the commits that lead to one commit and to none of the others, in the order of history. It looks no further back
// than it has to: an ancestor always stands before its descendants in that order, so the newest one open is settled.
func only(of *commit, others []*commit) []*commit {
	const here, there = 1, 2
	side := map[*commit]int{of: here}
	open := &queue{less: func(a, b *commit) bool { return a.pos > b.pos }}
	open.list = append(open.list, of)
	unsettled := 1 // open ones that lead to the commit alone, as far as known
	for _, o := range others {
		if side[o] == 0 {
			open.list = append(open.list, o)
		} else if side[o] == here {
			unsettled--
		}
		side[o] |= there
	}
	heap.Init(open)
	var out []*commit
	for unsettled > 0 {
		c := heap.Pop(open).(*commit)
		if side[c] == here {
			unsettled--
			out = append(out, c)
		}
		for _, p := range c.parents {
			before := side[p]
			side[p] |= side[c]
			switch {
			case before == 0:
				heap.Push(open, p)
				if side[p] == here {
					unsettled++
				}
			case before == here && side[p] != here:
				unsettled--
			}
		}
	}
	slices.Reverse(out)
	return out
}

// queue is a heap of commits.
type queue struct {
	list []*commit
	less func(a, b *commit) bool
}

func (q *queue) Len() int           { return len(q.list) }
func (q *queue) Less(i, j int) bool { return q.less(q.list[i], q.list[j]) }
func (q *queue) Swap(i, j int)      { q.list[i], q.list[j] = q.list[j], q.list[i] }
func (q *queue) Push(c any)         { q.list = append(q.list, c.(*commit)) }
func (q *queue) Pop() any {
	last := q.list[len(q.list)-1]
	q.list = q.list[:len(q.list)-1]
	return last
}
