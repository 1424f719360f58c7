package main

import (
	"slices"
	"strings"

	"fettle/history"
	"fettle/history/audit"
	"fettle/history/git"
	"fettle/schema"
)

// compareCommits tells what differs between two commits.
func (s *shop) compareCommits(span string, typed []string) error {
	from, to, ok := strings.Cut(span, "..")
	if !ok || from == "" || to == "" {
		return troublef("Such as --range main..HEAD", "--range %s is not of the form A..B", span)
	}
	var snaps [2]git.Snapshot
	for i, rev := range []string{from, to} {
		var err error
		if snaps[i], err = s.repo.Commit(rev, s.sub); err != nil {
			return err
		}
	}
	if len(typed) == 0 && !s.entire {
		var err error
		if snaps, err = whatDiffers(snaps); err != nil {
			return err
		}
	}
	known := schema.NewKnown()
	a, err := schema.ReadLibrary(known.Of(snaps[0]))
	if err != nil {
		return err
	}
	b, err := schema.ReadLibrary(known.Of(snaps[1]))
	if err != nil {
		return err
	}
	differences := history.Compare(a, b)
	if len(typed) > 0 {
		ids, err := s.resolve(typed, idsOf(a, b))
		if err != nil {
			return err
		}
		differences = slices.DeleteFunc(differences, func(d history.Difference) bool { return !slices.Contains(ids, d.ID) })
	}
	pairs := make([]pair, len(differences))
	for i, d := range differences {
		pairs[i] = pair{id: d.ID, changes: d.Fields}
		switch {
		case d.Before == nil:
			pairs[i].only, pairs[i].values = to, d.After.Values()
		case d.After == nil:
			pairs[i].only, pairs[i].values = from, d.Before.Values()
		}
	}
	return s.sayPairs(from, to, pairs, "")
}

// whatDiffers leaves out of two states of a library what is the same in both: the sets of a machine, material and gas of which no file
// differs.
func whatDiffers(snaps [2]git.Snapshot) ([2]git.Snapshot, error) {
	if snaps[0].Hash(schema.SettingsFile) != snaps[1].Hash(schema.SettingsFile) {
		return snaps, nil // which say what a gas is mixed of
	}
	of := map[string][3]string{} // by content of a file
	differs := map[[3]string]bool{}
	for _, snap := range snaps {
		for _, p := range snap.Files() {
			hash := snap.Hash(p)
			if _, known := of[hash]; known || !schema.IsSetPath(p) {
				continue
			}
			data, err := snap.Read(p)
			if err != nil {
				return snaps, err
			}
			var set [3]string
			set[0], set[1], set[2] = schema.FamilyOf(data)
			of[hash] = set
		}
	}
	for _, c := range git.Compare(snaps[0], snaps[1]) {
		for _, hash := range []string{c.OldHash, c.NewHash} {
			if set, is := of[hash]; is {
				differs[set] = true
			}
		}
	}
	var out [2]git.Snapshot
	for i, snap := range snaps {
		files := map[string]bool{}
		for _, p := range snap.Files() {
			files[p] = !schema.IsSetPath(p) || differs[of[snap.Hash(p)]]
		}
		out[i] = only{snap, files}
	}
	return out, nil
}

// A pair is one condition on two sides.
type pair struct {
	id      schema.ID
	changes []history.FieldChange
	only    string         // the side that has it, where the other has not
	values  *schema.Values // of that side
}

// sayPairs prints what differs between two sides.
func (s *shop) sayPairs(a, b string, pairs []pair, note string) error {
	if s.format == "json" {
		type change struct {
			Field string  `json:"field"`
			From  *string `json:"from"`
			To    *string `json:"to"`
		}
		type condition struct {
			ID      string   `json:"id"`
			Only    *string  `json:"only"`
			Changes []change `json:"changes"`
		}
		out := struct {
			Format     int         `json:"format"`
			A          string      `json:"a"`
			B          string      `json:"b"`
			Conditions []condition `json:"conditions"`
		}{1, a, b, []condition{}}
		for _, p := range pairs {
			c := condition{ID: p.id.String(), Only: some(p.only), Changes: []change{}}
			for _, f := range p.changes {
				c.Changes = append(c.Changes, change{f.Path, some(f.From.Text), some(f.To.Text)})
			}
			out.Conditions = append(out.Conditions, c)
		}
		if err := s.json(out); err != nil {
			return err
		}
	} else {
		s.say("%s -> %s: %s", clean(a), clean(b), map[bool]string{true: "no condition differs", false: counted(len(pairs), "condition") + " not the same"}[len(pairs) == 0])
		for _, p := range pairs {
			if p.only != "" {
				s.say("%s   only in %s", p.id, clean(p.only))
				s.say("    %s", s.oneLine(p.values))
				continue
			}
			s.say("%s", p.id)
			s.printChanges(p.changes)
		}
		if note != "" {
			s.say("%s", note)
		}
	}
	if len(pairs) > 0 {
		return errFound
	}
	return nil
}

// compareMachines compares two machines by what is saved of them, or two real machines of one profile by what was loaded on each.
func (s *shop) compareMachines(a, b string) error {
	lib := s.committed.lib
	if lib.Machine(a) != nil && lib.Machine(b) != nil && a != b {
		return s.compareProfiles(a, b)
	}
	ma, err := machineOf(lib, a)
	if err != nil {
		return err
	}
	mb, err := machineOf(lib, b)
	if err != nil {
		return err
	}
	switch {
	case a == b:
		return troublef("", "%s is one machine; name two", a)
	case ma.Name.V != mb.Name.V:
		return s.compareProfiles(ma.Name.V, mb.Name.V)
	}
	return s.compareTwins(a, b)
}

// compareProfiles holds the conditions of two machines against each other.
func (s *shop) compareProfiles(a, b string) error {
	if s.part != nil {
		of := s.part.origin.ofSets(nil)
		of.where = func(machine, _, _ string) bool { return machine == a || machine == b }
		if err := s.turn(of); err != nil {
			return err
		}
	}
	lib := s.committed.lib
	var pairs []pair
	for _, r := range lib.Recipes {
		other := r.ID
		switch r.ID.Machine {
		case a:
			other.Machine = b
		case b:
			other.Machine = a
		default:
			continue
		}
		twin := lib.Recipe(other)
		switch {
		case twin == nil:
			pairs = append(pairs, pair{id: r.ID, only: r.ID.Machine, values: r.Values()})
		case r.ID.Machine == a:
			if changes := withoutMachine(history.CompareValues(r.Values(), twin.Values())); len(changes) > 0 {
				pairs = append(pairs, pair{id: r.ID, changes: changes})
			}
		}
	}
	slices.SortStableFunc(pairs, func(x, y pair) int {
		x.id.Machine, y.id.Machine = "", ""
		return x.id.Compare(y.id)
	})
	return s.sayPairs(a, b, pairs, "What is right for one source, head and nozzle is not for another: a recipe of another machine is tried before it is used.")
}

func withoutMachine(changes []history.FieldChange) []history.FieldChange {
	return slices.DeleteFunc(changes, func(c history.FieldChange) bool { return c.Path == "machine" || c.From.Note || c.To.Note })
}

// compareTwins holds what was loaded on two real machines of one profile against each other.
func (s *shop) compareTwins(a, b string) error {
	if s.part != nil {
		if err := s.turn(s.part.origin.of(nil, allRecords|unjudged)); err != nil {
			return err
		}
	}
	loads := audit.Loads(s.committed.ledger)
	latest := func(unit string) map[string]audit.Loading {
		out := map[string]audit.Loading{}
		for _, l := range loads {
			if l.Unit == unit {
				out[l.ID] = l
			}
		}
		return out
	}
	onA, onB := latest(a), latest(b)
	for unit, on := range map[string]map[string]audit.Loading{a: onA, b: onB} {
		if len(on) == 0 {
			return refusef("fettle load ID --unit "+unit+" writes down what went on; a table that the machine wrote out: fettle compare FILE --unit "+unit,
				"no load on %s is on record, so nobody knows what it holds", unit)
		}
	}
	trail, err := s.trail("")
	if err != nil {
		return err
	}
	var pairs []pair
	for _, id := range everNamed(trail) {
		la, inA := onA[id.String()]
		lb, inB := onB[id.String()]
		va, vb := trail.Recipe(id.String(), la.Digest), trail.Recipe(id.String(), lb.Digest)
		switch {
		case !inA && !inB, inA && inB && la.Digest == lb.Digest:
		case inA && va == nil, inB && vb == nil:
			return troublef("Fetch what others shared: the recipe may be on a branch that is not here.", "a recipe of %s that was loaded is not in this clone", id)
		case !inB:
			pairs = append(pairs, pair{id: id, only: a, values: va})
		case !inA:
			pairs = append(pairs, pair{id: id, only: b, values: vb})
		default:
			pairs = append(pairs, pair{id: id, changes: history.CompareValues(va, vb)})
		}
	}
	return s.sayPairs(a, b, pairs, "By what was written down of loads; a table from each machine tells more: fettle compare FILE --unit U")
}
