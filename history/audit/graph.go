package audit

import (
	"container/heap"
	"path"
	"slices"
	"time"

	"fettle/history/git"
)

// A commit is one commit on the way to the revision that is audited.
type commit struct {
	hash     string
	parents  []*commit
	children int               // that were not worked on yet
	entry    *git.LogEntry     // nil where it touched nothing of the library
	when     time.Time         // by the clock of the committer
	seen     int               // in the walk of git, newest first
	pos      int               // in the order of history: parents first
	edge     bool              // what came before is not in this clone
	state    *state            // its files, while a child still needs them
	others   map[string]string // path of what is no set → id of its content, likewise
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

// readGraph reads all commits that lead to a revision, in the order of history.
func readGraph(repo *git.Repo, rev, root string) ([]*commit, error) {
	graph := map[string]*commit{}
	add := func(e git.LogEntry) *commit {
		c := &commit{hash: e.Hash, when: e.Committer.When, seen: len(graph)}
		graph[e.Hash] = c
		return c
	}
	parents := map[*commit][]string{}
	var revs []string
	if rev != "" {
		revs = []string{rev}
	}
	for e, err := range repo.Walk(git.LogOptions{Revs: revs, Paths: partsBelow(root), Changes: true}) {
		if err != nil {
			return nil, err
		}
		c := add(e)
		e.Message, e.Subject = "", "" // not told, and large in a long history
		c.entry = &e
		parents[c] = e.Parents
	}
	if hasGaps(graph, parents) {
		n := 0
		for e, err := range repo.Walk(git.LogOptions{Revs: revs}) {
			if err != nil {
				return nil, err
			}
			c := graph[e.Hash]
			if c == nil {
				c = add(e)
				parents[c] = e.Parents
			}
			c.seen = n
			n++
		}
	}
	edges := shallowEdges(repo)
	for c, hashes := range parents {
		for _, h := range hashes {
			if p := graph[h]; p != nil {
				c.parents = append(c.parents, p)
				p.children++
			}
		}
		c.edge = len(c.parents) == 0 && edges[c.hash]
	}
	return inOrder(graph), nil
}

// hasGaps reports whether a commit follows one that the walk left out, because it touched nothing of the library.
func hasGaps(graph map[string]*commit, parents map[*commit][]string) bool {
	for _, hashes := range parents {
		for _, h := range hashes {
			if graph[h] == nil {
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

// inOrder sorts commits so that each comes after those it builds upon; among those that could come next the clock decides.
func inOrder(graph map[string]*commit) []*commit {
	waiting := make(map[*commit]int, len(graph))
	children := make(map[*commit][]*commit, len(graph))
	ready := &queue{less: func(a, b *commit) bool {
		if !a.when.Equal(b.when) {
			return a.when.Before(b.when)
		}
		return a.seen > b.seen
	}}
	for _, c := range graph {
		waiting[c] = len(c.parents)
		for _, p := range c.parents {
			children[p] = append(children[p], c)
		}
		if len(c.parents) == 0 {
			ready.list = append(ready.list, c)
		}
	}
	heap.Init(ready)
	out := make([]*commit, 0, len(graph))
	for ready.Len() > 0 {
		c := heap.Pop(ready).(*commit)
		c.pos = len(out)
		out = append(out, c)
		for _, child := range children[c] {
			if waiting[child]--; waiting[child] == 0 {
				heap.Push(ready, child)
			}
		}
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
