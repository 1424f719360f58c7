package hooks

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"

	"fettle/history"
	"fettle/history/git"
	"fettle/lint"
	"fettle/schema"
)

// A DriverCall is a call by git for one file that both sides of a merge changed.
type DriverCall struct {
	Base, Here, There string // files with the three versions; the result goes into that of this side
	Path              string // of the file, from the top of the work tree
	MarkerSize        int    // 0 for the usual
	Out               io.Writer
	Render            func(io.Writer, lint.Finding)
}

// RunDriver merges one file for git and reports whether somebody has to look at it: the same value was changed on both sides, or what
// came of two good sides cannot be. What is left to do it says on Out. It writes nothing but the result.
func RunDriver(repo *git.Repo, call DriverCall) (open bool, err error) {
	var sides [3][]byte
	for i, name := range []string{call.Base, call.Here, call.There} {
		if sides[i], err = os.ReadFile(name); err != nil {
			return true, fmt.Errorf("%s cannot be merged: %w", call.Path, err)
		}
	}
	d := &driving{DriverCall: call, repo: repo, base: sides[0], here: sides[1], there: sides[2]}
	d.root, d.path = libraryOf(call.Path)
	switch {
	case bytes.Equal(d.here, d.there), bytes.Equal(d.base, d.there):
		return false, nil // as it lies there
	case bytes.Equal(d.base, d.here):
		return false, d.write(d.there)
	case d.path == schema.RosterFile, d.path == schema.PeopleFile:
		return d.roster()
	}
	m, ok := MergeFile(d.path, d.base, d.here, d.there)
	if !ok {
		return d.asText()
	}
	if !d.apart(m.Clashes) {
		d.context() // what it cannot read is missing from the advice, and the merge stands
	}
	for i := range m.Clashes {
		c := &m.Clashes[i]
		c.HereWhy, c.ThereWhy = d.why(d.hereSide, d.thereSide, c.ID), d.why(d.thereSide, d.hereSide, c.ID)
	}
	merged := m.Text(call.MarkerSize)
	if err := d.write(merged); err != nil {
		return true, err
	}
	if len(m.Clashes) > 0 {
		d.tell(m)
		return true, nil
	}
	return d.impossible(merged), nil
}

// driving is one call under way.
type driving struct {
	DriverCall
	repo                *git.Repo
	base, here, there   []byte
	root, path          string // of the library from the top; of the file in it
	store               *store
	hereTree, thereTree *tree // nil where not known
	hereSide, thereSide *Side
}

func (d *driving) write(data []byte) error {
	if err := os.WriteFile(d.Here, data, 0o666); err != nil {
		return fmt.Errorf("the merged %s cannot be written: %w", d.Path, err)
	}
	return nil
}

func (d *driving) say(format string, args ...any) {
	fmt.Fprintln(d.Out, git.Printable(fmt.Sprintf(format, args...)))
}

// libraryOf takes a path from the top apart: the directory of the library, and the path in it.
func libraryOf(full string) (root, p string) {
	parts := strings.Split(full, "/")
	for i := len(parts) - 1; i >= 0; i-- {
		last := i == len(parts)-1
		if slices.Contains(git.Parts, parts[i]) && (last == (parts[i] == schema.SettingsFile || parts[i] == schema.RosterFile || parts[i] == schema.PeopleFile)) {
			return strings.Join(parts[:i], "/"), strings.Join(parts[i:], "/")
		}
	}
	return path.Dir(full), path.Base(full)
}

// roster merges a list of keys.
func (d *driving) roster() (open bool, err error) {
	merged, clashes := MergeRoster(d.base, d.here, d.there, d.MarkerSize)
	if err := d.write(merged); err != nil {
		return true, err
	}
	what := map[string]string{schema.RosterFile: "approve roster", schema.PeopleFile: "approve people"}[d.path]
	if len(clashes) == 0 {
		d.say("fettle: %s has the lines of both sides; it counts when somebody who may approves it: fettle %s", d.Path, what)
		return false, nil
	}
	d.say("fettle: %s: both sides changed the keys of %s", d.Path, strings.Join(clashes, ", "))
	d.say("        the lines of both stand between marker lines: keep the right ones, then")
	d.say("          git add %s", Quote(d.Path))
	d.say("          %s", d.finish())
	return true, nil
}

// asText merges by line what cannot be merged by member.
func (d *driving) asText() (open bool, err error) {
	for _, side := range []struct {
		name string
		data []byte
	}{{"here", d.here}, {"there", d.there}, {"before", d.base}} {
		if f := schema.ReadFile(d.path, side.data); len(side.data) > 0 && (!f.IsObject() || f.Kind == "" || len(f.Problems) > 0) {
			why := "it is no file of a library"
			if len(f.Problems) > 0 {
				line, _ := f.Position(f.Problems[0].At.Start)
				why = fmt.Sprintf("line %d: %s", line, f.Problems[0].Message)
			}
			d.say("fettle: %s cannot be merged value by value, only line by line: %s, %s", d.Path, side.name, why)
			break
		}
	}
	_, err = d.repo.Run("merge-file", "--diff3", "-L", "here", "-L", "before", "-L", "there", d.absolute(d.Here), d.absolute(d.Base), d.absolute(d.There))
	var failed *git.CommandError
	if errors.As(err, &failed) && failed.Code > 0 && failed.Code < 128 {
		d.say("        it holds both sides between marker lines and is no JSON until you keep one of them")
		return true, nil
	}
	if err != nil {
		return true, err
	}
	merged, err := os.ReadFile(d.Here)
	if err != nil {
		return true, err
	}
	if f := schema.ReadFile(d.path, merged); !f.IsObject() {
		d.say("        what came of it is no JSON; mend it, then: git add %s", Quote(d.Path))
		return true, nil
	}
	return false, nil
}

func (d *driving) absolute(name string) string {
	if abs, err := filepath.Abs(name); err == nil {
		return abs
	}
	return name
}

// context reads the libraries of both sides, as far as git says which commits they are.
func (d *driving) context() {
	d.store = newStore(d.repo)
	d.hereTree, d.hereSide = d.side("HEAD")
	d.pick(func(commit string) bool {
		d.thereTree, d.thereSide = d.side(commit)
		return d.thereSide != nil
	})
}

// pick offers the commits that the other side may be, until one is taken.
func (d *driving) pick(take func(commit string) bool) {
	if slices.ContainsFunc(d.others(), take) {
		return
	}
	if commit := d.holder(d.There); commit != "" {
		take(commit)
	}
}

// apart is context that reads of both sides no more than the sets of the machines that the file is of, and the reasons for what clashes. It is
// false where only all there is can tell.
func (d *driving) apart(clashes []Clash) bool {
	if !schema.IsSetPath(d.path) {
		return false
	}
	machines := map[string]bool{}
	for _, data := range [][]byte{d.base, d.here, d.there} {
		machine, material, gas := schema.FamilyOf(data)
		if machine == "" || material == "" || gas == "" {
			return false
		}
		machines[machine] = true
	}
	here, err := OpenLookup(d.repo, d.root)
	if err != nil {
		return false
	}
	defer here.Close()
	where := func(machine, _, _ string) bool { return machines[machine] }
	var keys []history.SubjectKey
	for _, c := range clashes {
		keys = append(keys, history.SubjectKey{Kind: schema.SubjectCondition, ID: c.ID})
	}
	read := func(l *Lookup) (*tree, *Side, error) {
		lib, err := l.Saved(where)
		if err != nil {
			return nil, nil, err
		}
		ledger, err := l.Ledger(keys, nil)
		return l.part(where), &Side{Lib: lib, Ledger: ledger}, err
	}
	if d.hereTree, d.hereSide, err = read(here); err != nil {
		return false
	}
	d.pick(func(commit string) bool {
		hash, wrong := d.repo.Resolve(commit)
		if wrong != nil {
			return false
		}
		var there *Lookup
		var gone map[string]bool // records that are here only
		if there, err = here.Elsewhere(hash); err == nil {
			gone, err = here.withoutIn(there)
		}
		if err == nil {
			d.thereTree, d.thereSide, err = read(there)
		}
		if err == nil {
			d.thereSide.Ledger = d.thereSide.Ledger.Without(func(r *schema.Record) bool { return gone[r.Path] })
		}
		return true
	})
	return err == nil
}

// withoutIn are the records that another commit does not have. It fails where one is another there.
func (l *Lookup) withoutIn(there *Lookup) (map[string]bool, error) {
	changes, err := there.changes(recordsDir, l.dirs[recordsDir])
	gone := map[string]bool{}
	for _, c := range changes {
		switch {
		case c.NewHash == "":
			gone[c.Path] = true
		case c.OldHash != "":
			return nil, errNoFit
		}
	}
	return gone, err
}

// mostHolders is how many commits of a file are looked at for the one that made it what it is on the other side.
const mostHolders = 300

// holder is the newest commit that brought the content of a file, "" where none is known. git does not say which commit it picks where
// it picks one alone.
func (d *driving) holder(name string) string {
	out, err := d.repo.Run("hash-object", "--no-filters", "--", d.absolute(name))
	if err != nil {
		return ""
	}
	blob := strings.TrimSpace(string(out))
	for entry, err := range d.repo.Walk(git.LogOptions{All: true, Paths: []string{d.Path}, Changes: true, MaxCount: mostHolders}) {
		if err != nil {
			return ""
		}
		if len(entry.Parents) < 2 && slices.ContainsFunc(entry.Changes, func(list []git.Change) bool {
			return slices.ContainsFunc(list, func(c git.Change) bool { return c.Path == d.Path && c.NewHash == blob })
		}) {
			return entry.Hash
		}
	}
	return ""
}

func (d *driving) side(rev string) (*tree, *Side) {
	commit, err := d.repo.Resolve(rev)
	if err != nil {
		return nil, nil
	}
	t, err := d.store.saved(commit, d.root)
	if err != nil || t.ids[schema.SettingsFile] == "" {
		return nil, nil
	}
	side, err := d.store.side(t, nil)
	if err != nil {
		return nil, nil
	}
	return t, &side
}

// others are the commits that may be merged, cherry-picked or rebased right now. git names them in the environment, in the list of
// what a rebase has done, or not at all.
func (d *driving) others() []string {
	var out []string
	for _, entry := range os.Environ() {
		name, _, _ := strings.Cut(entry, "=")
		if id, ok := strings.CutPrefix(name, "GITHEAD_"); ok {
			if head, err := d.repo.Resolve("HEAD"); err == nil && head != id {
				out = append(out, id)
			}
		}
	}
	slices.Sort(out)
	if data, err := os.ReadFile(filepath.Join(d.repo.GitDir, "rebase-merge", "done")); err == nil {
		lines := strings.Split(strings.TrimSpace(string(data)), "\n")
		if words := strings.Fields(lines[len(lines)-1]); len(words) > 1 {
			out = append(out, words[1])
		}
	}
	return append(out, "MERGE_HEAD", "CHERRY_PICK_HEAD", "REVERT_HEAD")
}

// why is what a side says of the change of a subject that the other side does not know.
func (d *driving) why(side, other *Side, id string) string {
	if side == nil {
		return ""
	}
	kind, end := d.subject(side, id)
	edges := side.Ledger.Edges(kind, id)
	for _, e := range slices.Backward(edges) {
		if e.To == end && (other == nil || other.Ledger.Get(e.Record.Digest) == nil) {
			return strings.Join(strings.Fields(fmt.Sprintf("%s: %s (%s)", e.Reason.Cause.V, e.Reason.Text.V, e.Reason.By.V)), " ")
		}
	}
	return ""
}

func (d *driving) subject(side *Side, id string) (kind string, now schema.Digest) {
	parsed, err := schema.ParseID(id)
	if err != nil {
		return schema.SubjectMachine, ""
	}
	return schema.SubjectCondition, digestIn(side.Lib, parsed)
}

// tell says which values clash.
func (d *driving) tell(m Merge) {
	values := "1 value was changed on both sides"
	if n := len(m.Clashes); n > 1 {
		values = fmt.Sprintf("%d values were changed on both sides", n)
	}
	d.say("fettle: %s: %s", d.Path, values)
	const most = 8
	var ids []string
	for i, c := range m.Clashes {
		if c.ID != "" && !slices.Contains(ids, c.ID) {
			ids = append(ids, c.ID)
		}
		if i == most {
			d.say("        and %d more", len(m.Clashes)-most)
		}
		if i >= most {
			continue
		}
		d.say("        %s", strings.TrimSpace(c.ID+"  "+schema.SpokenPath(c.Field)))
		d.say("          before  %s", shown(c.Base))
		d.say("          here    %s", strings.TrimSpace(shown(c.Here)+"   "+c.HereWhy))
		d.say("          there   %s", strings.TrimSpace(shown(c.There)+"   "+c.ThereWhy))
		if where := d.elsewhere(c); where != "" {
			d.say("          %s", where)
		}
	}
	d.say("        The file holds both between marker lines and is no JSON until you keep one")
	d.say("        of them and take the marker lines out. Then:")
	d.say("          git add %s", Quote(d.Path))
	if len(ids) > 0 {
		d.say("          fettle reason --cause WORD --because \"...\"   (only for a value of neither side)")
	}
	d.say("          %s", d.finish())
}

// finish is the command that goes on when the file is mended.
func (d *driving) finish() string {
	switch state, _ := d.repo.Replaying(); state { // git commit ends all other work
	case git.StateRebase:
		return "git rebase --continue"
	case git.StateApply:
		return "git am --continue"
	}
	return "git commit"
}

// elsewhere says where a condition that is gone from this file on one side stands there, as after a set was split.
func (d *driving) elsewhere(c Clash) string {
	id, err := schema.ParseID(c.ID)
	if err != nil || c.Field != "" {
		return ""
	}
	for _, side := range []struct {
		word string
		gone bool
		*Side
	}{{"here", c.Here == nil, d.hereSide}, {"there", c.There == nil, d.thereSide}} {
		if side.gone && side.Side != nil {
			if r := side.Lib.Recipe(id); r != nil && r.File.Path != d.path {
				return side.word + " it stands in " + path.Join(d.root, r.File.Path) + ": make the change there, and take it out here"
			}
		}
	}
	return ""
}

// shown is a value for a line on a screen.
func shown(n *schema.Node) string {
	switch {
	case n == nil:
		return "not there"
	case n.Kind == schema.Object && len(n.Kids) > 0:
		return "a block of " + counted(len(n.Kids), "value")
	case n.Kind == schema.Array && len(n.Kids) > 0 && n.Kids[0].Kind == schema.Object:
		return "a list of " + counted(len(n.Kids), "entry")
	case n.Kind == schema.Array:
		var items []string
		for _, kid := range n.Kids {
			items = append(items, kid.Text)
		}
		return "[" + strings.Join(items, ", ") + "]"
	case n.Kind == schema.True, n.Kind == schema.False, n.Kind == schema.Null:
		return map[schema.Kind]string{schema.True: "true", schema.False: "false", schema.Null: "null"}[n.Kind]
	}
	return cut(n.Text, 60)
}

func counted(n int, word string) string {
	switch {
	case n == 1:
		return "1 " + word
	case strings.HasSuffix(word, "y"):
		return fmt.Sprintf("%d %sies", n, strings.TrimSuffix(word, "y"))
	}
	return fmt.Sprintf("%d %ss", n, word)
}

// impossible judges what came of a merge without a clash, in the library of either side, and reports whether there are errors that
// neither side has. Each value may be good and the recipe that they make not.
func (d *driving) impossible(merged []byte) bool {
	var found map[findingKey]lint.Finding
	for _, side := range []struct {
		tree *tree
		*Side
	}{{d.hereTree, d.hereSide}, {d.thereTree, d.thereSide}} {
		if side.Side == nil {
			continue
		}
		t := &tree{side.tree.store, maps.Clone(side.tree.ids)}
		t.ids[d.path] = "merged"
		t.store.content["merged"] = merged
		lib, err := schema.ReadLibrary(t)
		if err != nil {
			continue
		}
		only := touchedFamilies(nil, history.Compare(side.Lib, lib), side.Lib, lib)
		came := map[findingKey]lint.Finding{}
		for _, f := range lint.Run(lib, lint.Options{Base: side.Lib, Only: only}).Blocking() {
			came[findingKey{f.Rule, f.Path, f.ID}] = f
		}
		if found == nil {
			found = came
			continue
		}
		maps.DeleteFunc(found, func(m findingKey, _ lint.Finding) bool { _, both := came[m]; return !both })
	}
	if len(found) == 0 {
		return false
	}
	list := slices.SortedFunc(maps.Values(found), func(a, b lint.Finding) int { return a.Line - b.Line })
	for _, f := range list {
		f.Path = path.Join(d.root, f.Path)
		d.Render(d.Out, f)
		fmt.Fprintln(d.Out)
	}
	d.say("fettle: %s is merged, and what came of two good sides cannot be.", d.Path)
	d.say("        mend the values, say why, and finish:")
	d.say("          git add %s", Quote(d.Path))
	d.say("          fettle reason --cause WORD --because \"...\"")
	d.say("          %s", d.finish())
	return true
}

// A findingKey tells findings apart. The field is no part of it: which of several values is to blame depends on what was there before.
type findingKey struct{ rule, path, id string }
