package audit

import (
	"slices"
	"time"

	"fettle/history"
	"fettle/history/git"
)

// A past is the commits that lead to one, as they were kept. What a commit says never changes, so they stay true as long as that one leads to
// the one that is asked for; what came since is added, and where the history was rewritten they are read anew.
type past struct {
	head    string
	commits []*commit // in the order of history
}

const (
	commitsFile = "commits"
	mostKept    = 64 << 20 // bytes of a file
	fewCommits  = 32       // that came since a file was written, before it is written anew
)

// Prepare reads the history of a library once, so that the first question about it does not have to: which commits there are, what each
// changed and of which sets. What is read is kept below the directory of git, as [Options.Kept] has it used.
func Prepare(repo *git.Repo, root string) error {
	repo = repo.AsWritten()
	head, err := repo.Resolve("HEAD")
	if err != nil || repo.IsShallow() {
		return err
	}
	list, keep, err := readGraph(repo, head, root, true, false)
	if err != nil {
		return err
	}
	keep()
	known := &families{repo: repo, of: map[string]family{}}
	known.recall()
	if err := known.read(setsOf(list, root)); err != nil {
		return err
	}
	known.keep()
	return nil
}

// since returns the commits that lead to a revision, nil where those kept are of no help: as where all are told, and of some it is not kept
// what they say of themselves.
func (p *past) since(repo *git.Repo, head, root string, few bool) ([]*commit, error) {
	if p == nil || !few && slices.ContainsFunc(p.commits, func(c *commit) bool { return c.entry != nil && c.said == nil }) {
		return nil, nil
	}
	if p.head == head {
		return p.commits, nil
	}
	leads, err := repo.IsAncestor(p.head, head)
	if err != nil {
		return nil, nil // the history was rewritten, and the old one may be gone
	}
	g := newGraph(p.commits)
	whole, err := g.collect(repo, []string{head, "^" + p.head}, root)
	if !whole || err != nil {
		return nil, err
	}
	list := g.inOrder(nil)
	if !leads {
		list = leading(list, head)
	}
	if len(g.commits) > len(p.commits)+fewCommits {
		keepCommits(repo, head, root, list)()
	}
	return list, nil
}

// leading are those of some commits that lead to one, in the same order.
func leading(list []*commit, head string) []*commit {
	leads := make([]bool, len(list))
	for i, c := range slices.Backward(list) {
		if leads[i] = leads[i] || c.hash == head; leads[i] {
			for _, p := range c.parents {
				leads[p.pos] = true
			}
		}
	}
	out := make([]*commit, 0, len(list))
	for i, c := range list {
		if leads[i] {
			out = append(out, c)
			continue
		}
		for _, p := range c.parents {
			p.children--
		}
	}
	for i, c := range out {
		c.pos = i
	}
	return out
}

// keepCommits gives what writes commits down, as much as is known of them now. What cannot be written costs time and nothing else.
func keepCommits(repo *git.Repo, head, root string, list []*commit) func() {
	said := make([]*git.LogEntry, len(list))
	for i, c := range list {
		said[i] = c.said
	}
	return func() { writeCommits(repo, head, root, list, said) }
}

func writeCommits(repo *git.Repo, head, root string, list []*commit, said []*git.LogEntry) {
	words, ids, body := &numbered{}, &numbered{}, &history.Encoder{}
	ids.number("")
	for _, c := range list { // the first numbers are theirs
		ids.number(c.hash)
	}
	person := func(s git.Signature) {
		body.Number(words.number(s.Name))
		body.Number(words.number(s.Email))
		encodeTime(body, s.When)
	}
	var sizes [3]int // of all parents, lists of changes and changes
	for i, c := range list {
		sizes[0] += len(c.parents)
		body.Number(len(c.parents))
		for _, p := range c.parents {
			body.Number(c.pos - p.pos)
		}
		if c.entry == nil {
			body.Number(0)
			encodeTime(body, c.when)
			continue
		}
		body.Number(1 + len(c.entry.Changes))
		if e := said[i]; e == nil {
			body.Number(0)
			encodeTime(body, c.when)
		} else {
			body.Number(1)
			person(e.Author)
			person(e.Committer)
			body.Texts(e.CoAuthors)
		}
		sizes[1] += len(c.entry.Changes)
		for _, changes := range c.entry.Changes {
			sizes[2] += len(changes)
			body.Number(len(changes))
			for _, change := range changes {
				body.Number(words.number(change.Path))
				body.Number(words.number(change.OldMode))
				body.Number(words.number(change.NewMode))
				body.Number(ids.number(change.OldHash))
				body.Number(ids.number(change.NewHash))
			}
		}
	}
	out := &history.Encoder{}
	out.Text(root)
	out.Text(head)
	out.Texts(words.list)
	ids.encodeIDs(out)
	out.Number(len(list))
	for _, n := range sizes {
		out.Number(n)
	}
	if out.Data = append(out.Data, body.Data...); len(out.Data) <= mostKept {
		_ = repo.RememberSealed(git.ScratchName(commitsFile, root), sealOf(commitsFile), out.Data)
	}
}

// recallCommits reads what is kept of a library, nil where that is nothing.
func recallCommits(repo *git.Repo, root string) *past {
	data, ok := repo.Recall(git.ScratchName(commitsFile, root), sealOf(commitsFile))
	if !ok {
		return nil
	}
	in := &history.Decoder{Data: data}
	if in.Text() != root {
		return nil
	}
	p, words, ids := &past{head: in.Text()}, &numbered{}, &numbered{}
	words.list = in.Texts()
	ids.decodeIDs(in)
	count := in.Number()
	if in.Bad || count >= len(ids.list) {
		return nil
	}
	size := func() int { return min(in.Number(), len(in.Data)) }
	zones := zones{}
	person := func() git.Signature {
		return git.Signature{Name: words.text(in), Email: words.text(in), When: zones.decodeTime(in)}
	}
	commits, entries := make([]commit, count), make([]git.LogEntry, count)
	p.commits = make([]*commit, count)
	parents := make([]*commit, 0, size()) // of all commits after one another, cut where needed; so are the others
	lists, changes := make([][]git.Change, 0, size()), make([]git.Change, 0, size())
	for i := range commits {
		c := &commits[i]
		c.hash, c.pos, p.commits[i] = ids.list[i+1], i, c
		before := len(parents)
		for n := in.Number(); n > 0 && !in.Bad; n-- {
			back := in.Number()
			if back < 1 || back > i {
				return nil
			}
			parents = append(parents, &commits[i-back])
			commits[i-back].children++
		}
		c.parents = parents[before:len(parents):len(parents)]
		sides := in.Number() - 1
		if sides < 0 {
			c.when = zones.decodeTime(in)
			continue
		}
		e := &entries[i]
		c.entry = e
		if e.Hash = c.hash; in.Number() == 0 {
			c.when = zones.decodeTime(in)
		} else {
			e.Author, e.Committer, e.CoAuthors = person(), person(), in.Texts()
			c.said, c.when = e, e.Committer.When
		}
		first := len(lists)
		for ; sides > 0 && !in.Bad; sides-- {
			from := len(changes)
			for n := in.Number(); n > 0 && !in.Bad; n-- {
				changes = append(changes, git.Change{Path: words.text(in), OldMode: words.text(in), NewMode: words.text(in), OldHash: ids.text(in), NewHash: ids.text(in)})
			}
			lists = append(lists, changes[from:len(changes):len(changes)])
		}
		e.Changes = lists[first:len(lists):len(lists)]
	}
	if in.Bad || len(in.Data) > 0 {
		return nil
	}
	return p
}

// encodeTime writes a moment with its zone, as git keeps both. The zero time, which is a date that no calendar holds, stays that.
func encodeTime(e *history.Encoder, t time.Time) {
	seconds := t.Unix() - time.Time{}.Unix()
	e.Number(int(seconds / 86400))
	e.Number(int(seconds % 86400))
	_, offset := t.Zone()
	e.Number(offset/60 + 24*60)
}

// zones are places on the clock by how many minutes they are from UTC.
type zones map[int]*time.Location

func (z zones) decodeTime(in *history.Decoder) time.Time {
	seconds := int64(in.Number())*86400 + int64(in.Number())
	minutes := in.Number() - 24*60
	t := time.Unix(seconds+time.Time{}.Unix(), 0)
	if t.IsZero() {
		return time.Time{}
	}
	if _, here := t.Zone(); here == minutes*60 {
		return t
	}
	if z[minutes] == nil {
		z[minutes] = time.FixedZone("", minutes*60)
	}
	return t.In(z[minutes])
}
