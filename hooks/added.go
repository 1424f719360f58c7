package hooks

import (
	"bytes"
	"fmt"
	"slices"
	"strings"

	"fettle/history"
	"fettle/history/signature"
	"fettle/lint"
	"fettle/schema"
)

// added are the records that no parent holds: those that the commit brings.
func (c Case) added() []*schema.Record {
	if c.came != nil {
		return c.came
	}
	var out []*schema.Record
	for _, r := range c.Now.Ledger.Records {
		known := c.Before.Hashes[r.Path] != ""
		for _, p := range c.Parents {
			known = known || p.Hashes[r.Path] != ""
		}
		if !known {
			out = append(out, r)
		}
	}
	return out
}

// ownApprovals are approvals in the commit by somebody who wrote what they approve, where the policy refuses that. Each is a
// change whose recipe stays what it is, so that no other rule speaks.
func (c Case) ownApprovals(standing *history.Standing) []lint.Change {
	var out []lint.Change
	for _, r := range c.added() {
		d, ok := r.Body.(*schema.Decision)
		if !ok || r.Kind != schema.KindApproval || standing.Roster == nil {
			continue
		}
		refused := standing.Refused[r.Digest] != ""
		if !refused && (c.Wrote == nil || standing.Policy(c.Now.Lib.Policy()).OwnChangeAllowed()) {
			continue
		}
		for _, subject := range d.Subjects.V {
			id, err := schema.ParseID(subject.ID.V)
			recipe := c.Now.Lib.Recipe(id)
			if c.about != nil && !c.about(id) {
				continue
			}
			if err != nil || subject.Kind.V != schema.SubjectCondition || recipe == nil {
				continue
			}
			var authors []string
			if refused {
				authors = c.authors(standing, id, schema.Digest(subject.Digest.V))
			}
			if c.Wrote != nil { // what a reason does not say, the commits do
				authors = append(authors, c.Wrote(id, schema.Digest(subject.Digest.V))...)
				authors = append(authors, c.putTogether(standing, d, id, schema.Digest(subject.Digest.V))...)
			}
			if !slices.ContainsFunc(authors, func(a string) bool { return strings.EqualFold(a, r.By.V) }) {
				continue
			}
			change := lint.Change{ID: id, Before: recipe.Values(), After: recipe.Values(), Reasoned: true, OwnApproval: r.By.V}
			for _, person := range standing.Roster.Principals() {
				if !slices.ContainsFunc(authors, func(a string) bool { return strings.EqualFold(a, person) }) {
					change.MayApprove = append(change.MayApprove, person)
				}
			}
			out = append(out, change)
		}
	}
	return out
}

// putTogether are the persons whose reasons come with a recipe to which they do not lead in one line from what was approved: a merge put it
// together, or a rebase made steps again. What was approved on the way is of that approval. A reason that was saved before counts where it
// follows the approval that this one follows, too: a recipe may have come in by a permit. A decision on the recipe itself that comes
// along settles nothing, least of all a rejection by whoever approves it then.
func (c Case) putTogether(standing *history.Standing, d *schema.Decision, id schema.ID, to schema.Digest) []string {
	starts := []schema.Digest{""}
	for _, followed := range d.Follows.V {
		r := c.Now.Ledger.Get(schema.Digest(followed))
		if r == nil || r.Kind != schema.KindApproval && r.Kind != schema.KindAdoption || standing.Refused[r.Digest] != "" || standing.Withdrawn[r.Digest] != nil {
			continue
		}
		decision, ok := r.Body.(*schema.Decision)
		if !ok {
			continue
		}
		for _, subject := range decision.Subjects.V {
			digest := schema.Digest(subject.Digest.V)
			if subject.ID.V == id.String() && (digest != to || c.Before.Ledger.Get(r.Digest) != nil) {
				starts = append(starts, digest)
			}
		}
	}
	edges := c.Now.Ledger.Edges(schema.SubjectCondition, id.String())
	if history.Path(edges, starts, to) != nil {
		return nil
	}
	since := func(e history.Edge) bool {
		return slices.ContainsFunc(e.Record.Follows.V, func(before string) bool { return slices.Contains(d.Follows.V, before) })
	}
	var out []string
	for _, e := range edges {
		if (c.fresh(e) || since(e)) && (e.To == to || standing.Condition(id).Once(e.To) == nil) {
			out = append(out, e.Reason.By.V)
		}
	}
	return out
}

// authors are the persons whose reasons lead from what is in force, or from nothing, to a recipe.
func (c Case) authors(standing *history.Standing, id schema.ID, to schema.Digest) []string {
	if standing.Roster == nil {
		return nil
	}
	starts := []schema.Digest{""}
	if inForce, ok := standing.Condition(id).Digest(); ok {
		starts = append(starts, inForce)
	}
	var out []string
	for _, e := range history.Path(c.Now.Ledger.Edges(schema.SubjectCondition, id.String()), starts, to) {
		out = append(out, e.Reason.By.V)
	}
	return out
}

// broken are problems outside of what rules look at: records in the commit that cannot count, a roster that nobody could be found
// in, and settings that are gone while the library stays.
func (c Case) broken() []lint.Finding {
	var out []lint.Finding
	for _, r := range c.added() {
		file := &schema.File{Path: r.Path}
		if c.Now.Source != nil {
			if data, err := c.Now.Source.Read(r.Path); err == nil {
				file.Data = data
			}
		}
		for _, p := range r.Problems {
			f := lint.Finding{Rule: p.Rule, Severity: lint.Error, Path: r.Path, Line: 1, Column: 1, Width: 1, Field: p.Field, Message: p.Message, Help: p.Help}
			if p.At.Start >= 0 && file.Data != nil {
				f.File = file
				f.Line, f.Column = file.Position(p.At.Start)
			}
			out = append(out, f)
		}
		if want := libraryID(c.Now.Lib); r.Common != nil && r.Library.V != want && want != "" {
			out = append(out, lint.Finding{Rule: schema.RuleBadValue, Severity: lint.Error, Path: r.Path, Line: 1, Column: 1, Width: 1, Field: "library",
				Message: "the record is of another library, so it counts for nothing here", Help: "Take it out of the commit; records are not carried from one library to another."})
		}
	}
	out = append(out, badRoster(schema.RosterFile, c.Before.Lib.Roster, c.Now.Lib.Roster)...)
	out = append(out, badRoster(schema.PeopleFile, c.Before.Lib.People, c.Now.Lib.People)...)
	if c.Before.Lib.Settings.File != nil && c.Now.Lib.Settings.File == nil && len(c.Now.Lib.Files)+len(c.Now.Ledger.Records) > 0 {
		out = append(out, lint.Finding{Rule: schema.RuleMissingField, Severity: lint.Error, Path: schema.SettingsFile, Line: 1, Column: 1, Width: 1,
			Message: schema.SettingsFile + " is gone and the rest of the library stays: nothing would be checked any more", Help: "Put it back."})
	}
	return out
}

// badRoster reports lines that cannot be read in a roster that changed.
func badRoster(name string, before, now []byte) []lint.Finding {
	if now == nil || bytes.Equal(before, now) {
		return nil
	}
	_, problems := signature.ParseRoster(name, now)
	var out []lint.Finding
	for _, p := range problems {
		out = append(out, lint.Finding{Rule: schema.RuleSyntax, Severity: lint.Error, Path: name, Line: max(1, p.Line), Column: max(1, p.Column), Width: 1,
			Message: p.Message, Help: p.Help, File: &schema.File{Path: name, Data: now}})
	}
	return out
}

// add puts findings among those of the rules, in their order.
func (r *Report) add(more []lint.Finding) {
	if len(more) == 0 {
		return
	}
	r.Findings = append(r.Findings, more...)
	r.sort()
}

// sort orders findings by place.
func (r *Report) sort() {
	slices.SortStableFunc(r.Findings, func(a, b lint.Finding) int {
		if c := strings.Compare(a.Path, b.Path); c != 0 {
			return c
		}
		return (a.Line-b.Line)*1000 + (a.Column - b.Column)
	})
}

// readable reports whether every file that changed could be read whole. Where one could not, conditions may be missing from the
// comparison, so everything is judged.
func readable(before, now *schema.Library) bool {
	old := make(map[string]*schema.File, len(before.Files))
	for _, f := range before.Files {
		old[f.Path] = f
	}
	for _, f := range now.Files {
		was := old[f.Path]
		if len(f.Problems) > 0 && (was == nil || !slices.Equal(was.Problems, f.Problems) || !bytes.Equal(was.Data, f.Data)) {
			return false
		}
	}
	return true
}

// refusedNote says of decisions in the commit why they count for nothing; nil where all of them count.
func (c Case) refusedNotes(standing *history.Standing) []string {
	var out []string
	for _, r := range c.added() {
		if why := standing.Refused[r.Digest]; why != "" && r.Digest != "" {
			out = append(out, fmt.Sprintf("%s counts for nothing: %s", r.Path, why))
		}
	}
	return out
}

const recordsDir = "records"

// untrusted are breaks in the chain from the adoption: a library that is another one suddenly, an adoption that is gone, and, where
// what changed must be approved, a roster, settings or a profile that nobody approved.
func (c Case) untrusted(standing *history.Standing) []lint.Finding {
	var out []lint.Finding
	add := func(rule, p, message, help string) {
		out = append(out, lint.Finding{Rule: rule, Severity: lint.Error, Path: p, Line: 1, Column: 1, Width: 1, Message: message, Help: help})
	}
	was, is := libraryID(c.Before.Lib), libraryID(c.Now.Lib)
	if was != "" && is != "" && was != is {
		add(schema.RuleBadValue, schema.SettingsFile, "the id of the library changed: every record made so far would be one of another library",
			"Put it back: \"id\": \""+was+"\"")
	}
	policy := standing.Policy(c.Now.Lib.Policy())
	signed := standing.Anchor != nil && (policy.SignedChangesRequired() || c.Now.Lib.Policy().SignedChangesRequired())
	for _, r := range c.added() {
		switch d, ok := r.Body.(*schema.Decision); {
		case signed && r.Kind == schema.KindReason && history.Sound(r) && !standing.Attested(r):
			add("no-reason", r.Path, "the reason is not signed by "+r.By.V+", and the policy of the library asks for that (signed_changes)",
				"fettle undo takes it back; fettle save writes it anew and signs it")
		case ok && c.Anchor == "" && standing.Anchor == nil && adoptsRoster(r, d) && slices.ContainsFunc(c.Before.Ledger.Records, func(b *schema.Record) bool {
			d, ok := b.Body.(*schema.Decision)
			return ok && adoptsRoster(b, d)
		}):
			add(schema.RuleBadValue, r.Path, "it adopts a roster where there is an adoption already, and knows nothing of that: nothing would be in force any more",
				"Take it out. If the shop adopts anew, whoever runs this repository pins that: git config fettle.anchor "+string(r.Digest))
		}
	}
	if c.Anchor != "" && standing.Anchor == nil {
		add(history.RuleRecordRemoved, recordsDir, "the adoption that everything is chained from ("+schema.Digest(c.Anchor).Short()+") is not among the records, so nothing would be in force",
			"Bring it back. If the shop adopted anew, whoever runs this repository pins that: git config fettle.anchor DIGEST")
	}
	if !c.Approved || standing.Anchor == nil {
		return out
	}
	for _, p := range standing.Others(c.Now.Lib) {
		file, target, changed := c.other(p)
		if !changed {
			continue
		}
		help := "To decide: fettle approve " + target
		if standing.Roster != nil {
			help += " (" + strings.Join(standing.Roster.Principals(), ", ") + ")"
		}
		words := map[history.Status]string{history.New: "was never approved", history.Removed: "is removed, which nobody has approved", history.Rejected: "was rejected",
			history.Contested: "was approved in one way and decided in another", history.Superseded: "is an earlier approved one, not the one in force"}[p.Status]
		if words == "" {
			words = "changed, and nobody who may has approved that"
		}
		add("unapproved", file, spokenSubject(p)+" "+words, help)
	}
	return out
}

func adoptsRoster(r *schema.Record, d *schema.Decision) bool {
	return r.Kind == schema.KindAdoption && slices.ContainsFunc(d.Subjects.V, func(s schema.Subject) bool { return s.Kind.V == schema.SubjectRoster })
}

// other says where a subject that is no condition stands, how it is named in a command, and whether it differs from before.
func (c Case) other(p history.Position) (file, target string, changed bool) {
	file, target = schema.FileOf(p.Kind, p.Name), p.Kind
	switch p.Kind {
	case schema.SubjectRoster:
		return file, target, !bytes.Equal(c.Before.Lib.Roster, c.Now.Lib.Roster)
	case schema.SubjectPeople:
		return file, target, !bytes.Equal(c.Before.Lib.People, c.Now.Lib.People)
	case schema.SubjectSettings:
		was, is := c.Before.Lib.Settings.Value, c.Now.Lib.Settings.Value
		return file, target, (was == nil) != (is == nil) || was != nil && was.Digest() != is.Digest()
	}
	was, is := c.Before.Lib.Machine(p.Name), c.Now.Lib.Machine(p.Name)
	return file, "machine " + p.Name, (was == nil) != (is == nil) || was != nil && was.Digest() != is.Digest()
}

func spokenSubject(p history.Position) string {
	switch p.Kind {
	case schema.SubjectRoster:
		return "the roster of approvers"
	case schema.SubjectPeople:
		return "the list of people"
	case schema.SubjectSettings:
		return "the settings file" // of the library; "settings" alone would need another verb
	}
	return "the profile of " + p.Name
}
