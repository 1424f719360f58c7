package main

import (
	"fmt"
	"slices"
	"strings"

	"fettle/cmd/fettle/serve"
	"fettle/cmd/fettle/view"
	"fettle/history"
	"fettle/history/signature"
	"fettle/schema"
)

// subjectWords says what a roster, the settings, the people or a machine is called on screens and in commands: machine bay-2.
func subjectWords(kind, name string) string {
	if kind == schema.SubjectMachine {
		return kind + " " + name
	}
	return kind
}

// waitingSubjects are roster, people, settings and machines that wait for a decision, as a queue lists them.
func (p *pages) waitingSubjects() (out []serve.Waiting) {
	for _, o := range p.standing(&p.committed).Others(p.committed.lib) {
		w := serve.Waiting{What: subjectWords(o.Kind, o.Name), Status: string(o.Status), Kind: o.Kind, Name: o.Name}
		changes := p.subjectChanges(o)
		for i, c := range changes {
			if i == 3 {
				w.Short += fmt.Sprintf("; and %d more", len(changes)-i)
				break
			}
			if i > 0 {
				w.Short += "; "
			}
			w.Short += c.Field + " " + c.From + " → " + c.To
		}
		out = append(out, w)
	}
	return out
}

// Subject is the card of what is no condition and is decided on all the same.
func (p *pages) Subject(kind, name string) (*serve.Card, error) {
	standing := p.standing(&p.committed)
	known := slices.Contains([]string{schema.SubjectRoster, schema.SubjectPeople, schema.SubjectSettings}, kind) && name == kind ||
		kind == schema.SubjectMachine && p.committed.lib.Machine(name) != nil
	others := standing.Others(p.committed.lib)
	i := slices.IndexFunc(others, func(o history.Position) bool { return o.Kind == kind && o.Name == name })
	if !known && i < 0 {
		return nil, &serve.NotFound{What: "such thing to decide on"}
	}
	what := subjectWords(kind, name)
	o := history.Position{Kind: kind, Name: name, Status: history.Approved, State: standing.State(kind, name)}
	if i >= 0 {
		o = others[i]
	}
	out := &serve.Card{Kind: kind, Name: name, Digest: string(o.Digest), Open: o.Status != history.Approved && o.Status != history.Rejected,
		Card: view.ReviewCard{ID: what, Status: string(o.Status), Headline: p.subjectStands(o), Changes: p.subjectChanges(o), NoFindings: true}}
	switch {
	case !out.Open:
	case len(o.Unread) > 0:
		out.Open, out.Help = false, "A part of it cannot be read, or stands twice, so nobody knows what would be approved. What is wrong: fettle lint"
	case o.Digest == "":
		out.Open, out.Help = false, "It is not there, or cannot be read. What is wrong: fettle lint"
	}
	if kind == schema.SubjectRoster {
		if next, problems := signature.ParseRoster(schema.RosterFile, p.committed.lib.Roster); len(problems) == 0 {
			if keeps := standing.Keeps(next); len(keeps) > 0 && out.Open {
				out.Card.Rows = append(out.Card.Rows, view.Row{Label: "keeps", Text: counted(len(keeps), "decision") + " by persons or keys that the new roster drops"})
			}
		}
	}
	for _, d := range pendingOf(o.State) {
		if d.Digest() == o.Digest {
			out.Card.Rows = append(out.Card.Rows, view.Row{Label: "approved", Text: fmt.Sprintf("on %s by %s; it takes more persons", p.day(d.Record.Time()), spoken(d.Person))})
		}
	}
	return out, nil
}

// subjectStands says in a line how a roster, the settings, the people or a machine stands.
func (p *pages) subjectStands(o history.Position) string {
	since := "nothing was approved yet"
	if d := o.State.Last(); d != nil {
		since = fmt.Sprintf("%s by %s", p.day(d.Record.Time()), spoken(d.Person))
	}
	switch o.Status {
	case history.Approved:
		return "as it was approved on " + since
	case history.New:
		return "new: nothing was approved yet"
	case history.Rejected:
		return p.rejectedText(o)
	case history.Removed:
		return "gone since it was approved on " + since
	case history.Contested:
		return "contested: decisions contradict each other"
	case history.Superseded:
		return "an earlier approved version is back; in force is the one of " + since
	}
	return "changed since it was approved on " + since
}

// subjectChanges is what differs between the version in force and the one that is saved.
func (p *pages) subjectChanges(o history.Position) (out []view.ReviewChange) {
	var before, after *schema.Node
	if d := o.State.Last(); d != nil {
		before = d.Subject.Values.V
	}
	for _, s := range history.CurrentSubjects(p.committed.lib) {
		if s.Kind.V == o.Kind && s.ID.V == o.Name {
			after = s.Values.V
		}
	}
	switch o.Kind {
	case schema.SubjectRoster, schema.SubjectPeople:
		return personChanges(before, after)
	case schema.SubjectMachine:
		return p.fieldChanges(fieldsOf[schema.Machine](before), fieldsOf[schema.Machine](after))
	default:
		return p.fieldChanges(fieldsOf[schema.Settings](before), fieldsOf[schema.Settings](after))
	}
}

func fieldsOf[T any](n *schema.Node) []schema.Field {
	if n == nil {
		return nil
	}
	var v T
	schema.Bind(n, &v)
	return schema.Fields(&v)
}

func (p *pages) fieldChanges(before, after []schema.Field) (out []view.ReviewChange) {
	for _, f := range history.CompareFields(before, after) {
		v := show(f, p.prefs())
		out = append(out, view.ReviewChange{Field: strings.ReplaceAll(v.field, "_", " "), From: clean(v.from), To: clean(v.to), Percent: v.percent})
	}
	return out
}

// personChanges tells the lines of a roster that come and go: whose, with which limits, which key.
func personChanges(before, after *schema.Node) (out []view.ReviewChange) {
	was, now := personLines(before), personLines(after)
	add := func(l personLine, from, to string) {
		out = append(out, view.ReviewChange{Field: l.person, From: clean(from), To: clean(to)})
	}
	for _, l := range was {
		if !slices.Contains(now, l) {
			add(l, l.key, "—")
		}
	}
	for _, l := range now {
		if !slices.Contains(was, l) {
			add(l, "—", l.key)
		}
	}
	slices.SortStableFunc(out, func(a, b view.ReviewChange) int { return strings.Compare(a.Field, b.Field) })
	return out
}

// A personLine is one key of a person with its limits, in words.
type personLine struct{ person, key string }

func personLines(n *schema.Node) (out []personLine) {
	if n == nil {
		return nil
	}
	for _, kid := range n.Kids {
		roster, _ := signature.ParseRoster("", []byte(kid.Text+"\n"))
		for _, l := range roster.Lines {
			key := l.Key.Type() + " " + signature.Fingerprint(l.Key)
			if !l.ValidAfter.IsZero() {
				key += ", from " + l.ValidAfter.Format("2006-01-02 15:04:05 UTC")
			}
			if !l.ValidBefore.IsZero() {
				key += ", until " + l.ValidBefore.Format("2006-01-02 15:04:05 UTC")
			}
			if l.Namespaces != nil {
				key += ", only for " + strings.Join(l.Namespaces, ", ")
			}
			out = append(out, personLine{clean(l.Principal), key})
		}
	}
	return out
}
