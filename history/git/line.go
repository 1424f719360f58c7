package git

import (
	"bytes"
	"cmp"
	"errors"
	"runtime"
	"slices"
	"strings"
	"sync"
)

// mostInLine is how many commits are read one by one before it is quicker to let git tell them.
const mostInLine = 64

// mostPlain is how large a commit is that is read here: all of a line are held at once, and git tells larger ones one after another.
const mostPlain = 64 << 10

// line tells a few commits of which each follows one other, from the newest on up to one that is left out, as [Repo.Walk] would and without a
// child: what a push or a day brings. It is false where that is not what was asked for or what there is: a merge, a commit that is told in an
// odd way or was made by an old program, parents that are not those of the commit, too many. Then git has to be asked.
func (r *Repo) line(o LogOptions) (entries []LogEntry, ok bool, err error) {
	if o.All || o.Unshared || len(o.Revs) != 2 || r.shared.shallow || r.grafted() {
		return nil, false, nil
	}
	end, ok := strings.CutPrefix(o.Revs[1], "^")
	if !ok || !r.isHash(end) || !r.isHash(o.Revs[0]) {
		return nil, false, nil
	}
	scope, err := newScope(o.Paths)
	if err != nil {
		return nil, false, nil
	}
	var e, next LogEntry
	var tree, before string
	var trees [][2]string // of each, and of the one before
	if o.Revs[0] != end {
		if next, before, ok = r.readCommit(o.Revs[0]); !ok {
			return nil, false, nil
		}
	}
	for n, hash := 0, o.Revs[0]; hash != end; n++ {
		if e, tree = next, before; n == mostInLine || len(e.Parents) != 1 {
			return nil, false, nil
		}
		if hash = e.Parents[0]; hash != end {
			next, before, ok = r.readCommit(hash)
		} else if before, err = r.treeOf(hash); err != nil { // of any form: it is not told
			return nil, false, nil
		}
		if !ok {
			return nil, false, nil
		}
		entries, trees = append(entries, e), append(trees, [2]string{before, tree})
	}
	if len(scope) > 0 || o.Changes {
		changes := make([][]Change, len(entries))
		if err := r.diffEach(trees, scope, changes); errors.Is(err, ErrTooLarge) {
			return nil, false, err // git would list them until it has no more memory
		} else if err != nil {
			return nil, false, nil
		}
		told := entries[:0]
		for i, e := range entries {
			if o.Changes {
				e.Changes = [][]Change{changes[i]}
			}
			if len(changes[i]) > 0 || len(scope) == 0 {
				told = append(told, e)
			}
		}
		entries = told
	}
	if o.MaxCount > 0 {
		entries = entries[:min(o.MaxCount, len(entries))]
	}
	if o.Reverse {
		slices.Reverse(entries)
	}
	return entries, true, nil
}

// diffEach lists, by path, what differs in each of some pairs of trees that follow one another.
func (r *Repo) diffEach(trees [][2]string, scope scope, changes [][]Change) error {
	const atOnce = 4 // else it is not worth the start
	parts := min(runtime.GOMAXPROCS(0), (len(trees)+atOnce-1)/atOnce)
	errs := make([]error, parts)
	var wait sync.WaitGroup
	for p := range parts {
		wait.Go(func() {
			for i := p * len(trees) / parts; i < (p+1)*len(trees)/parts && errs[p] == nil; i++ {
				errs[p] = r.diffTrees(trees[i][0], trees[i][1], scope, &changes[i])
				slices.SortFunc(changes[i], func(x, y Change) int { return strings.Compare(x.Path, y.Path) })
			}
		})
	}
	wait.Wait()
	return cmp.Or(errs...)
}

// readCommit is [Repo.parseCommit] of the commit of an id.
func (r *Repo) readCommit(hash string) (e LogEntry, tree string, ok bool) {
	found, err := r.shared.objects.get(r.ctx, hash, mostPlain)
	if err != nil || found.kind != "commit" || found.hash != hash {
		return LogEntry{}, "", false
	}
	e, tree, ok = r.parseCommit(found.data)
	e.Hash = hash
	return e, tree, ok
}

// parseCommit reads what a commit says of itself, and the tree that it holds. It is false where git would not tell it as it stands there.
func (r *Repo) parseCommit(data []byte) (e LogEntry, tree string, ok bool) {
	head, message, ok := bytes.Cut(data, []byte("\n\n"))
	if !ok || bytes.Contains(bytes.ToLower(message), []byte("co-authored-by")) || bytes.IndexByte(data, 0) >= 0 {
		return e, "", false
	}
	at := "" // what comes next
	for line := range strings.SplitSeq(string(head), "\n") {
		name, value, _ := strings.Cut(line, " ")
		switch {
		case name == "tree" && at == "":
			tree, at = value, "tree"
		case name == "parent" && at == "tree":
			e.Parents = append(e.Parents, value)
		case name == "author" && at == "tree":
			e.Author, ok = signatureIn(value)
			at = "author"
		case name == "committer" && at == "author":
			e.Committer, ok = signatureIn(value)
			at = "committer"
		case at != "committer" || name == "encoding":
			return e, "", false
		}
		if !ok {
			return e, "", false
		}
	}
	if at != "committer" || !r.isHash(tree) || slices.ContainsFunc(e.Parents, func(p string) bool { return !r.isHash(p) }) {
		return e, "", false
	}
	e.Message = string(message)
	first, _, _ := strings.Cut(strings.TrimLeft(e.Message, "\n"), "\n")
	if e.Subject = strings.TrimRight(first, " \t\r"); e.Subject == "" || len(e.Subject) > mostField || strings.TrimSpace(e.Subject) != e.Subject {
		return e, "", false
	}
	if _, rest, _ := strings.Cut(strings.TrimLeft(e.Message, "\n"), "\n"); rest != "" && rest[0] != '\n' { // the subject goes on, or ends in an odd way
		return e, "", false
	}
	return e, tree, true
}

// signatureIn reads "NAME <MAIL> SECONDS ZONE" in the form in which git writes it.
func signatureIn(text string) (Signature, bool) {
	if len(text) > mostField {
		return Signature{}, false
	}
	name, rest, ok := strings.Cut(text, " <")
	mail, rest, closed := strings.Cut(rest, "> ")
	if !ok || !closed || !plain(name) || strings.ContainsAny(mail, "<> \t") {
		return Signature{}, false
	}
	when, ok := timeIn(rest)
	if !ok {
		return Signature{}, false
	}
	return Signature{name, mail, when}, true
}
