package hooks

import (
	"maps"
	"slices"

	"fettle/history"
	"fettle/schema"
)

// Elsewhere finds what bears on a few conditions as another commit holds them, with what is on record here and there. Nothing of it is
// remembered, and it ends with the lookup that it comes from. It fails where only the whole library can tell.
func (l *Lookup) Elsewhere(rev string) (*Lookup, error) {
	o := &Lookup{repo: l.repo, root: l.root, stamp: l.stamp, store: newStore(l.repo), dirs: map[string]string{}, ofGate: l.ofGate, elsewhere: true,
		catalog: &catalog{l.catalog.dirs, maps.Clone(l.catalog.files)}, index: l.index}
	if err := o.openFrame(rev); err != nil {
		return nil, err
	}
	if err := o.catchUp(); err != nil {
		return nil, err
	}
	o.listFrame()
	there, err := o.changes(recordsDir, l.dirs[recordsDir])
	if err != nil {
		return nil, err
	}
	o.gone = map[string]bool{}
	only := there[:0]
	for _, c := range there {
		switch {
		case !schema.IsRecordPath(c.Path):
		case c.OldHash == "":
			only = append(only, c)
		case c.NewHash == "":
			o.gone[c.Path] = true
		default:
			o.altered = true
		}
	}
	o.added, _, err = o.records(only)
	o.since = slices.Concat(l.since, o.added)
	return o, err
}

// Added are the records of another commit that are not saved here.
func (l *Lookup) Added() []*schema.Record { return l.added }

// OnlyThere is what is on record of some subjects in the other commit alone. It fails where a record stands there in another way than here.
func (l *Lookup) OnlyThere(subjects []history.SubjectKey) (*history.Ledger, error) {
	if l.altered {
		return nil, errNoFit
	}
	ledger, err := l.Ledger(subjects, nil)
	if err != nil {
		return nil, err
	}
	return ledger.Without(func(r *schema.Record) bool { return l.gone[r.Path] }), nil
}

// Differing names the sets of which any file is another in two states of a library, and where the settings are, all.
func (l *Lookup) Differing(other *Lookup) [][3]string {
	if l.frame.ids[schema.SettingsFile] != other.frame.ids[schema.SettingsFile] { // which say what a gas is mixed of
		all := slices.Concat(l.Sets(), other.Sets())
		slices.SortFunc(all, func(a, b [3]string) int { return slices.Compare(a[:], b[:]) })
		return slices.Compact(all)
	}
	touched := map[family]bool{}
	for _, side := range [][2]*Lookup{{l, other}, {other, l}} {
		for p, at := range side[0].catalog.files {
			if isSet(p) && side[1].catalog.files[p].id != at.id {
				touched[at.subject] = true
			}
		}
	}
	return namesOf(touched)
}
