package hooks

import (
	"os"
	"path/filepath"
	"slices"
	"strings"

	"fettle/history"
	"fettle/lint"
	"fettle/schema"
)

// A verdict is what is to be said of one library.
type verdict struct {
	*library
	*running
	Case
	Report
	left    []leftOut
	stray   []leftOut
	rest    *remnant // nil where it was come to in one go
	*inTurn          // of one that was come to by lots; else nil
}

// leftOut is an edit or a reason that lies on disk and belongs to what is committed.
type leftOut struct {
	id    string // of the condition
	paths []string
}

func (v *verdict) unreasoned() []lint.Change {
	var out []lint.Change
	for _, c := range v.Report.Changes {
		if !c.Reasoned {
			out = append(out, c)
		}
	}
	return out
}

// oversights looks on disk for the other half of what is committed: a reason that was written and left out, as git does with
// `git commit FILE`, or the edit that a reason in the commit explains. What lies on disk is read only where one half is missing.
func (v *verdict) oversights() {
	open := v.unreasoned()
	stray := v.strayReasons()
	if len(open) == 0 && len(stray) == 0 {
		return
	}
	if snap, err := v.repo.WorkTree(v.root); err == nil { // it only serves for advice: what cannot be read gives none
		if disk, err := v.onDisk(snap); err == nil {
			var extra []*schema.Record
			for _, r := range disk.Ledger.Records {
				if v.Now.Hashes[r.Path] == "" && r.Kind == schema.KindReason && history.Sound(r) {
					extra = append(extra, r)
				}
			}
			v.findReasons(open, extra)
			for _, e := range stray {
				v.findEdit(e, disk)
			}
		}
	}
}

// onDisk reads what lies on disk as far as it bears on the verdict.
func (v *verdict) onDisk(snap schema.Snapshot) (Side, error) {
	some, err := v.bearing.onDisk(snap)
	if err != nil {
		return Side{}, err
	}
	return ReadSide(v.store.known.Of(some))
}

// findReasons looks which changes reasons on disk would explain together with those in the commit.
func (v *verdict) findReasons(open []lint.Change, extra []*schema.Record) {
	if len(extra) == 0 {
		return
	}
	about := map[string][]string{} // by condition: where reasons for it lie
	for _, r := range extra {
		for _, e := range r.Body.(*schema.Reason).Changes.V {
			if p := v.full(r.Path); !slices.Contains(about[e.ID.V], p) {
				about[e.ID.V] = append(about[e.ID.V], p)
			}
		}
	}
	differences := make(map[schema.ID]history.Difference, len(v.Differences))
	for _, d := range v.Differences {
		differences[d.ID] = d
	}
	with := v.Case
	with.Now.Ledger = v.Now.Ledger.With(extra)
	for _, c := range open {
		d, differs := differences[c.ID]
		if paths := about[c.ID.String()]; differs && len(paths) > 0 && with.change(d, v.Standing).Reasoned {
			v.left = append(v.left, leftOut{id: c.ID.String(), paths: paths})
		}
	}
}

// strayReason is a step that a reason in the commit explains and that leads to nothing in it.
type strayReason struct {
	id     schema.ID
	to     schema.Digest
	record *schema.Record
}

func (v *verdict) strayReasons() []strayReason {
	var out []strayReason
	leading := map[string]map[schema.Digest]bool{} // by condition: from where reasons lead to what the commit will hold
	for _, r := range v.added() {
		body, ok := r.Body.(*schema.Reason)
		if !ok || !history.Sound(r) {
			continue
		}
		for _, c := range body.Changes.V {
			id, err := schema.ParseID(c.ID.V)
			if err != nil || c.Kind.Or(schema.SubjectCondition) != schema.SubjectCondition || v.about != nil && !v.about(id) {
				continue
			}
			if leading[c.ID.V] == nil {
				leading[c.ID.V] = history.Leading(v.Now.Ledger.Edges(schema.SubjectCondition, c.ID.V), digestIn(v.Now.Lib, id))
			}
			if to := schema.Digest(c.To.V); !leading[c.ID.V][to] {
				out = append(out, strayReason{id, to, r})
			}
		}
	}
	return out
}

func digestIn(lib *schema.Library, id schema.ID) schema.Digest {
	if r := lib.Recipe(id); r != nil {
		return r.Digest()
	}
	return ""
}

// findEdit looks whether the edit of a stray reason lies on disk: then it was left out, and the reason alone would mislead whoever
// reads it later. Where it is nowhere, as after a squash of branches, the reason stays as history.
func (v *verdict) findEdit(e strayReason, disk Side) {
	if digestIn(disk.Lib, e.id) != e.to {
		return
	}
	found := leftOut{id: e.id.String(), paths: []string{v.full(e.record.Path)}}
	for _, lib := range []*schema.Library{disk.Lib, v.Now.Lib} {
		if r := lib.Recipe(e.id); r != nil && !slices.Contains(found.paths, v.full(r.File.Path)) {
			found.paths = append([]string{v.full(r.File.Path)}, found.paths...)
		}
	}
	v.stray = append(v.stray, found)
}

// partial reports whether git commits a choice of files (git commit FILE): then it judges an index of its own, named next-index-*,
// and the one that git add fills stays aside.
func partial() bool {
	return strings.HasPrefix(filepath.Base(os.Getenv("GIT_INDEX_FILE")), "next-index-")
}
