package hooks

import (
	"cmp"
	"maps"
	"slices"
	"strings"

	"fettle/history/git"
	"fettle/schema"
)

// A commit that touches much of a library, such as another value in every set or an adoption of all there is, is judged one lot of sets after
// the other: nobody holds a library of a hundred thousand conditions twice, and all that is on record of it. See [running.inLots].
const (
	fewSets  = 64 // that bear on a commit which is judged in one go
	fewHeavy = 8  // records that may be on many conditions and come along then
	inOneLot = 16 // sets that are judged together
	foretold = 40 // conditions of a lot of which it is kept what changed: a message lists no more, see [Summarize]
)

// A lot is what is judged together: all sets of some families, and all that their files hold before and after.
type lot struct {
	paths    map[string]bool
	families map[family]bool
}

// borne is what a new record bears on.
type borne struct {
	path     string
	families map[family]bool
	more     bool // than conditions, or nobody knows on which
}

// heavy reports whether a record may be on many conditions: those that sign recipes keep them.
func heavy(p string) bool {
	return slices.ContainsFunc([]string{schema.KindAdoption, schema.KindApproval, schema.KindRejection}, func(kind string) bool { return schema.NamesKind(p, kind) })
}

// adopts reports whether a record is an adoption, which may be of thousands of conditions.
func adopts(p string) bool { return schema.NamesKind(p, schema.KindAdoption) }

// manyAdopt reports whether records are too much to be held at once, since several of them may be of thousands of conditions.
func manyAdopt[T any](records []T, path func(T) string) bool {
	count := 0
	for _, r := range records {
		if adopts(path(r)) {
			count++
		}
	}
	return count > adoptionsAtOnce
}

// adoptionsAtOnce is how many adoptions are read at a time.
const adoptionsAtOnce = 2

// chunks parts files into as many as are read at a time.
func chunks[T any](files []T, path func(T) string) (out [][]T) {
	from, adoptions := 0, 0
	for i, f := range files {
		adoption := adopts(path(f))
		if i-from == atOnce || adoption && adoptions == adoptionsAtOnce {
			out, from, adoptions = append(out, files[from:i]), i, 0
		}
		if adoption {
			adoptions++
		}
	}
	if from < len(files) {
		out = append(out, files[from:])
	}
	return out
}

func pathOf(c git.Change) string { return c.Path }

// much reports whether a commit brings more than is judged in one go.
func much(sets, records []git.Change) bool {
	count := 0
	for _, c := range records {
		if heavy(c.Path) {
			count++
		}
	}
	return len(sets) > fewSets || count > fewHeavy
}

// lots are what bears on a commit, in the order of families as far as that goes; nil where it is no more than few sets and records. Sets are
// judged with all others of a family that is in any of their versions. A file that does not say what it is of is judged with its other version.
func (n *narrowing) lots(l *library, few, size int) []lot {
	leads := map[string]string{} // of a path or a family to another that is judged with it
	end := func(at string) string {
		for leads[at] != "" {
			at = leads[at]
		}
		return at
	}
	families := map[string]family{}
	key := func(f family) string {
		name := "/" + f.machine + "/" + f.material + "/" + f.gas // no path begins like that
		families[name] = f
		return name
	}
	bears := map[string]bool{}
	for _, t := range []*tree{l.before, l.now} {
		for p, id := range t.ids {
			if !isSet(p) {
				continue
			}
			f := n.of[id]
			bears[p] = bears[p] || n.bearsOn(f)
			if f == (family{}) {
				continue
			}
			name := key(f)
			bears[name] = n.bearsOn(f)
			if a, b := end(p), end(name); a != b {
				leads[a] = b
			}
		}
	}
	for f := range n.families { // that records are about, and perhaps no file holds
		if f != (family{}) {
			bears[key(f)] = true
		}
	}
	of := map[string]*lot{}
	for at := range bears {
		if bears[at] && of[end(at)] == nil {
			of[end(at)] = &lot{map[string]bool{}, map[family]bool{}}
		}
	}
	sets := 0
	for at := range bears {
		switch x := of[end(at)]; {
		case x == nil:
		case at[0] == '/':
			x.families[families[at]] = true
		default:
			x.paths[at] = true
			sets++
		}
	}
	heavies := 0
	for _, b := range n.borne {
		if heavy(b.path) {
			heavies++
		}
	}
	if sets <= few && heavies <= fewHeavy {
		return nil
	}
	var all []lot
	for _, x := range of {
		all = append(all, *x)
	}
	slices.SortFunc(all, func(a, b lot) int { return a.first().compare(b.first()) })
	out := all[:0]
	for _, x := range all {
		if last := len(out) - 1; last >= 0 && len(out[last].paths)+len(x.paths) <= size {
			maps.Copy(out[last].paths, x.paths)
			maps.Copy(out[last].families, x.families)
			continue
		}
		out = append(out, x)
	}
	return out
}

func (x *lot) first() family {
	if len(x.families) == 0 {
		return family{}
	}
	return slices.MinFunc(slices.Collect(maps.Keys(x.families)), family.compare)
}

func (f family) compare(g family) int {
	return cmp.Or(strings.Compare(f.machine, g.machine), strings.Compare(f.material, g.material), strings.Compare(f.gas, g.gas))
}

func (x *lot) holds(id schema.ID) bool { return x.families[familyOf(id)] }

// asks reports whether a new record has to be known to judge the lot.
func (x *lot) asks(b *borne) bool {
	if b.more {
		return true
	}
	for f := range b.families {
		if x.families[f] {
			return true
		}
	}
	return false
}
