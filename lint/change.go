package lint

import (
	"fettle/schema"
	"fettle/schema/quantity"
)

// A Change is one step of one recipe, with what the history of the library knows about it. It is plain data: the caller fills
// it, the rules of the family change read it.
type Change struct {
	ID            schema.ID
	Before, After *schema.Values // the recipe before and after; nil for new and for removed
	Approved      *schema.Values // the last approved recipe, nil if it never was
	Fields        []FieldChange  // what differs from Before to After; made by [Differences] where it is nil
	Reasoned      bool           // records explain the way from Before to After, or nothing asks for a reason (adoption)
	Cause         string         // of the reason: one of schema.Causes
	RuledOut      []string       // what was checked before: words of schema.RuledOut
	TrialCovers   bool           // a good trial was cut with these values
	Windows       []Window       // what trials showed to work around the changed values, where there are any
	Against       string         // what a trial with these very values came out like, where that was not good: "bad on 2 November on bay-2 (dross)"
	Authors       []string       // who wrote what is not approved yet
	OwnApproval   string         // a person who approved and is among the authors, "" if nobody did
	Untried       string         // a person who approved without the good trial that the policy asks for, "" if nobody did
	NotShown      []string       // paths of the values that no trial shows then
	Unproven      []string       // or real machines on which nothing shows that it cuts well
	MayApprove    []string       // persons of the roster who may approve it
	Status        string         // approved, changed, new, removed, rejected, stale, contested, superseded; "" if not asked
	StaleBecause  string         // what of the machine changed since, for stale: "laser.core_diameter 0.1 mm to 0.15 mm"
	Until         string         // end of a permit in force, as screens say it: "Monday 06:00"
}

// A Window is what trials showed to work along one value, all else as in the changed recipe.
type Window struct {
	Path      string
	Low, High quantity.Value // the first and the last step of a run that all came out good
	Steps     int
	Cuts      int
}

// Holds reports whether a value lies inside.
func (w Window) Holds(v quantity.Value) bool { return v.Cmp(w.Low) >= 0 && v.Cmp(w.High) <= 0 }

// A FieldChange is one value that a change touched. The zero Field stands for a value that is not there.
type FieldChange struct {
	Path     string // cut.speed, pierce[0].time
	Old, New schema.Field
}

// A RecordChange is a committed record that is not what it was. Records are added and never edited or removed.
type RecordChange struct {
	Path    string // below records/
	Removed bool   // else altered
	Kind    string // approval, reason …
	By, At  string // whose it is and when it was written, as far as known
}

// Differences returns what of a recipe differs, field by field in the order of the format. Notes are no part of a recipe.
// Either side may be nil.
func Differences(before, after *schema.Values) []FieldChange {
	old, now := fieldsByPath(before), fieldsByPath(after)
	var out []FieldChange
	for _, f := range now.list {
		was, ok := old.at[f.Path]
		if !ok || !was.Same(f) {
			out = append(out, FieldChange{Path: f.Path, Old: was, New: f})
		}
	}
	for _, f := range old.list {
		if _, ok := now.at[f.Path]; !ok {
			out = append(out, FieldChange{Path: f.Path, Old: f})
		}
	}
	return out
}

type fieldIndex struct {
	list []schema.Field
	at   map[string]schema.Field
}

func fieldsByPath(v *schema.Values) fieldIndex {
	index := fieldIndex{at: map[string]schema.Field{}}
	if v == nil {
		return index
	}
	for _, f := range schema.Fields(v) {
		if !f.Note && (f.Path != "process" || f.Text != "cut") { // cut is what a missing process means
			index.list = append(index.list, f)
			index.at[f.Path] = f
		}
	}
	return index
}
