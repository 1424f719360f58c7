package main

import (
	"slices"
	"strings"

	"fettle/schema"
)

// among says which conditions a name that was typed may be of.
type among int

const (
	inFiles    among = 1 << iota // on disk
	inSaved                      // in the last commit
	onceInUse                    // saved, or gone and still in force
	inForceNow                   // with a recipe in force, whether it is saved or gone
)

// names are the conditions of a library, told without it. Those that nobody asked for are nil.
type names map[among][]schema.ID

// ids are the conditions that a name may be of, ordered, each once.
func (s *shop) ids(a among) []schema.ID {
	var out []schema.ID
	if s.names != nil {
		for _, kind := range []among{inFiles, inSaved, onceInUse, inForceNow} {
			if a&kind != 0 {
				out = append(out, s.names[kind]...)
			}
		}
	} else {
		if a&inFiles != 0 {
			out = append(out, idsOf(s.unsaved.lib)...)
		}
		if a&inSaved != 0 {
			out = append(out, idsOf(s.committed.lib)...)
		}
		if a&(onceInUse|inForceNow) != 0 {
			for _, p := range s.standing(&s.committed).Positions(s.committed.lib) {
				if a&onceInUse != 0 || p.Approved() != nil {
					out = append(out, p.ID)
				}
			}
		}
	}
	slices.SortFunc(out, schema.ID.Compare)
	return slices.Compact(out)
}

// meant restricts the shop to a part as [shop.about] does, for conditions of some kind, also where short names were typed: what these
// mean is told by the names of all conditions, for which their sets are read a few at a time. A command asks [shop.ids] for what there is.
func (s *shop) meant(typed []string, b breadth, a among) {
	ids := wholeIDs(typed)
	if len(ids) > 0 && s.narrow(b, func(o *origin) *part { return o.of(ids, b) }) {
		there := s.ids(a)
		if !slices.ContainsFunc(ids, func(id schema.ID) bool { return !slices.Contains(there, id) }) {
			return
		}
		s.wholly()
	}
	if len(typed) == 0 || !s.apart() {
		return
	}
	err := s.nameMeant(typed, a)
	if err == nil {
		if ids, err = s.resolve(typed, s.ids(a)); err != nil { // and the command says what is wrong
			ids, err = nil, nil
		}
	}
	if err == nil {
		err = s.turn(s.part.origin.of(ids, b))
	}
	if err != nil {
		s.wholly()
	}
}

// nameMeant notes the names of the conditions that may be meant, and of all where none is.
func (s *shop) nameMeant(typed []string, a among) (err error) {
	if s.names, err = s.namesOf(a, func(set [3]string) bool {
		return slices.ContainsFunc(typed, func(t string) bool { return mayLieIn(strings.TrimSpace(t), set) })
	}); err != nil {
		return err
	}
	there := s.ids(a)
	if _, wrong := s.resolve(typed, there); wrong != nil && slices.ContainsFunc(typed, func(t string) bool { return !fitsAny(strings.TrimSpace(t), there) }) {
		s.names, err = s.namesOf(a, func([3]string) bool { return true }) // something else is offered, of all that there is
	}
	return err
}

// turn goes on with another part of the same library.
func (s *shop) turn(to *part) error {
	s.part, s.unsaved, s.committed = to, state{}, state{}
	_, _, err := s.both()
	return err
}

// namesOf reads the names of conditions in some sets of a library of which no more than its frame was read.
func (s *shop) namesOf(a among, wanted func(set [3]string) bool) (names, error) {
	s.bar.doing("looking for what is meant")
	sets, edited, err := s.sets()
	if err != nil {
		return nil, err
	}
	sets = slices.DeleteFunc(sets, func(set [3]string) bool { return !wanted(set) })
	out := names{}
	for chunk := range slices.Chunk(sets, setsAtOnce) {
		if err := s.namesIn(out, a, chunk, edited); err != nil {
			return nil, err
		}
	}
	return out, nil
}

func (s *shop) namesIn(out names, a among, sets [][3]string, edited map[[3]string]bool) error {
	q := s.within(s.part.quietly().ofSets(sets))
	add := func(kind among, id schema.ID) {
		if slices.Contains(sets, setOf(id)) { // of others it knows a part
			out[kind] = append(out[kind], id.Apart())
		}
	}
	if a&inFiles == 0 {
		edited = nil
	}
	libs, err := q.savedAndEdited(sets, edited)
	if err != nil {
		return err
	}
	if a&inFiles != 0 {
		for _, r := range libs[len(libs)-1].Recipes {
			add(inFiles, r.ID)
		}
	}
	if a&inSaved != 0 {
		for _, r := range libs[0].Recipes {
			add(inSaved, r.ID)
		}
	}
	if a&(onceInUse|inForceNow) == 0 {
		return nil
	}
	if _, err := q.saved(); err != nil {
		return err
	}
	for _, p := range q.standing(&q.committed).Positions(q.committed.lib) {
		if a&onceInUse != 0 {
			add(onceInUse, p.ID)
		}
		if a&inForceNow != 0 && p.Approved() != nil {
			add(inForceNow, p.ID)
		}
	}
	return nil
}

// savedAndEdited are the sets of a part as they are saved and, where edits may lie in one, as they lie on disk. Nothing is read of what is on
// record.
func (s *shop) savedAndEdited(sets [][3]string, edited map[[3]string]bool) ([]*schema.Library, error) {
	saved, err := s.part.lookup.Saved(s.part.where)
	if err != nil || !slices.ContainsFunc(sets, func(set [3]string) bool { return edited[set] }) {
		return []*schema.Library{saved}, err
	}
	work, err := s.part.lookup.OnDisk(s.part.snapshots[1], s.part.where)
	return []*schema.Library{saved, work}, err
}

// mayLieIn reports whether a condition of a set may be meant by what was typed. Where it is false, none is.
func mayLieIn(typed string, set [3]string) bool {
	name := strings.Join(set[:], "/") + "/"
	if strings.HasSuffix(typed, "/") {
		return strings.HasPrefix(name, typed) || strings.HasPrefix(typed, name)
	}
	at := 0
	parts := typedParts(typed)
	for i, part := range parts {
		for at < len(set) && !strings.HasPrefix(set[at], part) {
			at++
		}
		if at == len(set) { // the rest is thickness, variant and process
			rest := parts[i:]
			_, err := typedThickness(rest[0])
			return len(rest) <= 2 || len(rest) == 3 && err == nil
		}
		at++
	}
	return true
}

// fitsAny reports whether any of some conditions may be meant by what was typed.
func fitsAny(typed string, ids []schema.ID) bool {
	if strings.HasSuffix(typed, "/") {
		return slices.ContainsFunc(ids, func(id schema.ID) bool { return strings.HasPrefix(id.String()+"/", typed) })
	}
	return len(matching(typed, ids)) > 0
}
