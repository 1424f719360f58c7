package git

import (
	"bytes"
	"encoding/hex"
	"fmt"
	"path"
	"slices"
	"strings"
)

// Modes of an [Entry], as git writes them.
const (
	ModeFile       = "100644"
	ModeExecutable = "100755"
	ModeSymlink    = "120000"
	ModeSubmodule  = "160000"
	ModeTree       = "40000" // of a directory; see [Repo.TreeDir]
)

// Entry is a file of a tree or of the index.
type Entry struct {
	Path string // from the top of the tree, with slashes
	Hash string // full id of its content
	Mode string // one of the Mode values
}

// Change is a file that differs between two trees. Hash and mode are "" on the side that has no such file.
type Change struct {
	Path             string
	OldHash, NewHash string
	OldMode, NewMode string
}

// treeEntry is one line of a tree object.
type treeEntry struct {
	name, hash, mode string
}

func (e treeEntry) isTree() bool { return e.mode == ModeTree }

// TreeFiles lists the files of a commit, all or those at and below the given paths, in the order of git. A path that is
// not there adds nothing.
func (r *Repo) TreeFiles(rev string, under ...string) ([]Entry, error) {
	tree, err := r.treeOf(rev)
	if err != nil {
		return nil, err
	}
	scope, err := newScope(under)
	if err != nil {
		return nil, err
	}
	var entries []Entry
	err = r.walkTree(nil, tree, scope, func(more ...Entry) { entries = append(entries, more...) })
	return entries, err
}

// TreeDir lists one directory of a commit: files and, with the mode [ModeTree], directories, whose Hash then names all that is in them.
// Paths are names in it. A directory that is not there is empty.
func (r *Repo) TreeDir(rev, dir string) ([]Entry, error) {
	tree, err := r.treeOf(rev)
	if err != nil {
		return nil, err
	}
	for _, name := range strings.Split(dir, "/") {
		if name == "" {
			continue
		}
		entries, err := r.tree(tree)
		if err != nil {
			return nil, err
		}
		tree = ""
		for _, e := range entries {
			if e.name == name && e.isTree() {
				tree = e.hash
			}
		}
	}
	entries, err := r.tree(tree)
	out := make([]Entry, len(entries))
	for i, e := range entries {
		out[i] = Entry{Path: e.name, Hash: e.hash, Mode: e.mode}
	}
	return out, err
}

// Tree names all that a commit holds, as [Repo.TreeDir] names a directory.
func (r *Repo) Tree(rev string) (string, error) { return r.treeOf(rev) }

// TreeDirChanges lists the files that differ between two directories, which are named as [Repo.TreeDir] names them; "" is an empty one. The
// error is an [ErrMissing] where one of them is not in this repository.
func (r *Repo) TreeDirChanges(a, b string) ([]Change, error) {
	var changes []Change
	err := r.diffTrees(a, b, scope{}, &changes)
	return changes, err
}

// treeOf is the tree of a commit; "" stands for the empty tree.
func (r *Repo) treeOf(rev string) (string, error) {
	if rev == "" {
		return "", nil
	}
	commit, err := r.commit(rev)
	return commit.tree, err
}

// walkTree calls f for the files below a directory of a commit. Directories that the index knows as they are there are taken from it;
// noted may be nil.
func (r *Repo) walkTree(noted *stood, tree string, scope scope, f func(...Entry)) error {
	return r.newWay().files(noted, tree, "", scope, f)
}

// A way is how far somebody went into trees. One directory may stand under ten names in another one, and that under ten in the next, and so on:
// a few bytes that somebody pushes would be more files than any computer holds.
type way struct {
	repo  *Repo
	been  map[string]bool // trees that were looked at
	again int             // entries of those that were looked at more than once, and what it takes to read these
}

const (
	mostAgain  = 1 << 20
	toReadOne  = 64
	usualEntry = 40      // bytes
	mostName   = 1 << 12 // bytes of a name; no system takes so many
	mostPath   = 1 << 14 // and of all on the way to a directory
)

func (r *Repo) newWay() *way { return &way{repo: r, been: map[string]bool{}} }

// tree is [Repo.tree] of a directory on the way.
func (w *way) tree(hash, dir string) ([]treeEntry, error) {
	data, err := w.raw(hash, dir)
	if err != nil {
		return nil, err
	}
	return parseTree(data, w.repo.shared.hashLen/2)
}

// raw is [Repo.rawTree] of a directory on the way.
func (w *way) raw(hash, dir string) ([]byte, error) {
	data, err := w.repo.rawTree(hash)
	if w.been[hash] {
		w.again += len(data)/usualEntry + toReadOne
	}
	w.been[hash] = true
	if err == nil && (w.again > mostAgain || len(dir) > mostPath) {
		return nil, &Error{Kind: ErrTooLarge, What: "the same directories stand in one another so often, or so deep, that no computer holds all files of them: " + Printable(dir[:min(len(dir), 60)]),
			Help: "nobody works with that: find the commit that brought it, and take it out"}
	}
	return data, err
}

func (w *way) files(noted *stood, tree, dir string, scope scope, f func(...Entry)) error {
	entries, err := w.tree(tree, dir)
	if err != nil {
		return err
	}
	for _, e := range entries {
		at := path.Join(dir, e.name)
		switch {
		case !scope.touches(at):
		case e.isTree():
			if files, ok := noted.tree(at, e.hash); ok && scope.holds(at) {
				f(files...)
				continue
			}
			if err := w.files(noted, e.hash, at, scope, f); err != nil {
				return err
			}
		case scope.holds(at):
			f(Entry{Path: at, Hash: e.hash, Mode: e.mode})
		}
	}
	return nil
}

// tree reads a tree object; "" is the empty tree.
func (r *Repo) tree(hash string) ([]treeEntry, error) {
	data, err := r.rawTree(hash)
	if err != nil {
		return nil, err
	}
	return parseTree(data, r.shared.hashLen/2)
}

// rawTree is the form in which git keeps a tree, which must not be changed. A few are kept: of two commits after one another most are the same.
func (r *Repo) rawTree(hash string) ([]byte, error) {
	if hash == "" {
		return nil, nil
	}
	if known, ok := r.shared.objects.trees.get(hash); ok {
		return known.data, nil
	}
	found, err := r.shared.objects.get(r.ctx, hash, MaxBlob)
	if err != nil {
		return nil, err
	}
	if found.kind != "tree" || found.data == nil {
		return nil, &Error{Kind: ErrMissing, What: fmt.Sprintf("the list of files %s cannot be read (%s)", hash, found.kind), Help: "run git fsck, and fetch from another copy"}
	}
	if r.shared.objects.files() != nil { // it is not shown in place of another
		r.shared.objects.trees.put(hash, part{data: found.data})
	}
	return found.data, nil
}

// cutEntry takes the first entry off a tree. It is false where that is damaged.
func cutEntry(tree []byte, idLen int) (mode, name, id, rest []byte, ok bool) {
	end := bytes.IndexByte(tree, 0)
	blank := bytes.IndexByte(tree, ' ')
	if blank < 1 || end < blank+2 || len(tree) < end+1+idLen {
		return nil, nil, nil, nil, false
	}
	return tree[:blank], tree[blank+1 : end], tree[end+1 : end+1+idLen], tree[end+1+idLen:], true
}

// isOddName says whether a name is one that git gives to no entry.
func isOddName(name []byte) bool {
	return len(name) > mostName || string(name) == "." || string(name) == ".." || len(name) == 4 && strings.EqualFold(string(name), ".git") || bytes.IndexByte(name, '/') >= 0
}

// parseTree reads the form in which git keeps a tree: for each entry its mode, a blank, its name, a NUL and the raw id. A tree that no
// git makes is refused: of two entries of one name, or one that is called like a way elsewhere, programs show different files.
func parseTree(data []byte, idLen int) ([]treeEntry, error) {
	entries := make([]treeEntry, 0, len(data)/(idLen+16))
	ordered := true // by name, so that none comes twice
	for len(data) > 0 {
		mode, name, id, rest, ok := cutEntry(data, idLen)
		if !ok {
			return nil, errorf(ErrCorrupt, "a list of files in the repository is damaged")
		}
		if isOddName(name) {
			return nil, oddEntry(string(name))
		}
		entries = append(entries, entryOf(mode, name, id))
		ordered = ordered && (len(entries) == 1 || entries[len(entries)-2].name < string(name))
		data = rest
	}
	if ordered {
		return entries, nil
	}
	known := make(map[string]bool, len(entries))
	for _, e := range entries {
		if known[e.name] {
			return nil, oddEntry(e.name)
		}
		known[e.name] = true
	}
	return entries, nil
}

func entryOf(mode, name, id []byte) treeEntry {
	return treeEntry{mode: canonicalMode(string(mode)), name: string(name), hash: hex.EncodeToString(id)}
}

func oddEntry(name string) error {
	return errorf(ErrCorrupt, "a list of files in the repository is damaged: it holds %q in a way that git does not make; git fsck tells more", name[:min(len(name), 60)])
}

// canonicalMode is a mode as git reads it, whatever zeros stand before it and whichever permissions it holds: old programs kept more of these of
// a file, and git takes what others write for a directory, too. What is none of the kinds that git knows it takes for another repository.
func canonicalMode(mode string) string {
	switch mode { // nearly all
	case ModeFile, ModeTree:
		return mode
	}
	var n uint32 // as in git, which does not look whether it flows over
	for _, c := range []byte(mode) {
		if c < '0' || c > '7' {
			return mode
		}
		n = n<<3 + uint32(c-'0')
	}
	switch n >> 12 & 15 {
	case 4:
		return ModeTree
	case 8:
		if n&0o100 != 0 {
			return ModeExecutable
		}
		return ModeFile
	case 10:
		return ModeSymlink
	}
	return ModeSubmodule
}

// ChangedPaths lists the files that differ between two commits, all or those at and below the given paths, ordered by
// path. "" stands for the empty tree. A renamed file is one removed and one new.
func (r *Repo) ChangedPaths(a, b string, under ...string) ([]Change, error) {
	treeA, err := r.treeOf(a)
	if err != nil {
		return nil, err
	}
	treeB, err := r.treeOf(b)
	if err != nil {
		return nil, err
	}
	scope, err := newScope(under)
	if err != nil {
		return nil, err
	}
	var changes []Change
	if err := r.diffTrees(treeA, treeB, scope, &changes); err != nil {
		return nil, err
	}
	slices.SortFunc(changes, func(x, y Change) int { return strings.Compare(x.Path, y.Path) })
	return changes, nil
}

// diffTrees adds the files that differ between two trees.
func (r *Repo) diffTrees(a, b string, scope scope, changes *[]Change) error {
	return r.newWay().changes(a, b, "", scope, changes)
}

func (w *way) changes(a, b, dir string, scope scope, changes *[]Change) error {
	if a == b {
		return nil
	}
	treeA, err := w.raw(a, dir)
	if err != nil {
		return err
	}
	treeB, err := w.raw(b, dir)
	if err != nil {
		return err
	}
	pair := func(before, after treeEntry, name string) error {
		at := path.Join(dir, name)
		if before == after || !scope.touches(at) {
			return nil
		}
		var treeA, treeB string
		if before.isTree() {
			treeA, before = before.hash, treeEntry{}
		}
		if after.isTree() {
			treeB, after = after.hash, treeEntry{}
		}
		if before != after && scope.holds(at) {
			*changes = append(*changes, Change{Path: at, OldHash: before.hash, NewHash: after.hash, OldMode: before.mode, NewMode: after.mode})
		}
		return w.changes(treeA, treeB, at, scope, changes)
	}
	// Most hold the same names, and most of these the same. Where one is odd or out of order, or the names differ, all are put side by side.
	idLen := w.repo.shared.hashLen / 2
	var differ [][2]treeEntry
	restA, restB, last := treeA, treeB, []byte(nil)
	for len(restA) > 0 && len(restB) > 0 {
		modeA, nameA, idA, nextA, okA := cutEntry(restA, idLen)
		modeB, nameB, idB, nextB, okB := cutEntry(restB, idLen)
		if !okA || !okB || !bytes.Equal(nameA, nameB) {
			break
		}
		if isOddName(nameA) || bytes.Compare(nameA, last) <= 0 {
			restA, restB, last, differ = treeA, treeB, nil, nil
			break
		}
		if !bytes.Equal(idA, idB) || !bytes.Equal(modeA, modeB) {
			differ = append(differ, [2]treeEntry{entryOf(modeA, nameA, idA), entryOf(modeB, nameB, idB)})
		}
		restA, restB, last = nextA, nextB, nameA
	}
	entriesA, entriesB, err := parseTrees(restA, restB, idLen)
	before := func(e treeEntry) bool { return e.name <= string(last) }
	if err == nil && last != nil && (slices.ContainsFunc(entriesA, before) || slices.ContainsFunc(entriesB, before)) {
		differ = nil
		entriesA, entriesB, err = parseTrees(treeA, treeB, idLen)
	}
	if err != nil {
		return err
	}
	for _, two := range differ {
		if err := pair(two[0], two[1], two[0].name); err != nil {
			return err
		}
	}
	for a, b := len(entriesA), len(entriesB); a > 0 && b > 0 && entriesA[a-1] == entriesB[b-1]; a, b = a-1, b-1 {
		entriesA, entriesB = entriesA[:a-1], entriesB[:b-1]
	}
	old := make(map[string]treeEntry, len(entriesA))
	for _, e := range entriesA {
		old[e.name] = e
	}
	for _, e := range entriesB {
		if err := pair(old[e.name], e, e.name); err != nil {
			return err
		}
		delete(old, e.name)
	}
	for name, e := range old {
		if err := pair(e, treeEntry{}, name); err != nil {
			return err
		}
	}
	return nil
}

func parseTrees(a, b []byte, idLen int) (entriesA, entriesB []treeEntry, err error) {
	if entriesA, err = parseTree(a, idLen); err == nil {
		entriesB, err = parseTree(b, idLen)
	}
	return entriesA, entriesB, err
}

// scope is a set of files and directories that a question is limited to; without any it is the whole tree.
type scope []string

func newScope(under []string) (scope, error) {
	var s scope
	for _, p := range under {
		clean, err := cleanPath(p)
		if err != nil {
			return nil, err
		}
		if clean == "" {
			return nil, nil
		}
		s = append(s, clean)
	}
	return s, nil
}

// holds says whether a file is in the scope.
func (s scope) holds(file string) bool {
	return len(s) == 0 || slices.ContainsFunc(s, func(p string) bool { return within(file, p) })
}

// holdsRaw is holds of a path that is no string yet.
func (s scope) holdsRaw(file []byte) bool {
	return len(s) == 0 || slices.ContainsFunc(s, func(p string) bool {
		return len(file) >= len(p) && string(file[:len(p)]) == p && (len(file) == len(p) || file[len(p)] == '/')
	})
}

// touches says whether something at or below a path may be in the scope.
func (s scope) touches(at string) bool {
	return len(s) == 0 || slices.ContainsFunc(s, func(p string) bool { return within(at, p) || within(p, at) })
}

func within(file, dir string) bool {
	return strings.HasPrefix(file, dir) && (len(file) == len(dir) || file[len(dir)] == '/')
}

// cleanPath checks a path from the top of the work tree and brings it into the one form used here: slashes, no "." and no
// final slash; "" is the top.
func cleanPath(p string) (string, error) {
	bad := func(why string) error {
		return &Error{Kind: ErrBadPath, What: fmt.Sprintf("%q is not a path inside the work tree: %s", p, why), Paths: []string{p}}
	}
	if strings.ContainsRune(p, 0) {
		return "", bad("it holds a NUL")
	}
	if strings.HasPrefix(p, "/") {
		return "", bad("it is absolute")
	}
	clean := path.Clean(p)
	if clean == ".." || strings.HasPrefix(clean, "../") {
		return "", bad("it leads out")
	}
	if clean == "." {
		return "", nil
	}
	for part := range strings.SplitSeq(clean, "/") {
		if strings.EqualFold(part, ".git") {
			return "", bad("it leads into the repository")
		}
	}
	return clean, nil
}

// pathspecs are the paths in the form in which git takes them literally, from the top, wherever it runs.
func pathspecs(paths []string) ([]string, error) {
	s, err := newScope(paths)
	return literal(s), err
}

// literal writes clean paths as pathspecs.
func literal(paths []string) []string {
	specs := make([]string, len(paths))
	for i, p := range paths {
		specs[i] = ":(top,literal)" + p
	}
	return specs
}
