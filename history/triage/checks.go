package triage

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"fettle/history"
	"fettle/schema"
)

// A Found is how often a thing was behind bad cuts on one machine.
type Found struct {
	Word  string
	Times int
	Last  time.Time
}

// frequent is how often a thing must have been found on a machine to come first next time.
const frequent = 2

// foundFor is how long what was found counts.
const foundFor = 2 * 365 * 24 * time.Hour

// FoundOn counts what bad cuts on a unit turned out to be, with any of the symptoms; all of them where none is given. The most frequent
// come first, of those the latest. What was taken back does not count.
func FoundOn(l *history.Ledger, unit string, symptoms []string, now time.Time) []Found {
	withdrawn := l.Withdrawn()
	var out []Found
	for _, c := range history.Bodies[*schema.Cause](l) {
		at := c.Record.Time()
		alike := len(symptoms) == 0 || slices.ContainsFunc(c.Body.Symptom.V, func(s string) bool { return slices.Contains(symptoms, s) })
		if c.Body.Unit.V != unit || withdrawn[c.Record.Digest] != nil || !alike || now.Sub(at) > foundFor || at.After(now) {
			continue
		}
		i := slices.IndexFunc(out, func(f Found) bool { return f.Word == c.Body.Found.V })
		if i < 0 {
			i = len(out)
			out = append(out, Found{Word: c.Body.Found.V})
		}
		out[i].Times++
		if at.After(out[i].Last) {
			out[i].Last = at
		}
	}
	slices.SortStableFunc(out, func(a, b Found) int {
		return cmp.Or(b.Times-a.Times, b.Last.Compare(a.Last), strings.Compare(a.Word, b.Word))
	})
	return out
}

// A Task is one check where it stands in the order.
type Task struct {
	*Check
	Notes []Line // what it is about with these symptoms
	Found *Found // that it was it before on this machine; nil if never
	First bool   // somebody or something says to look here early
}

// Checks returns every check in the order in which to make them: what was behind bad cuts on this machine more than once, what the
// symptoms ask for, and then all the rest. A symptom that leads goes before others.
func (k *Knowledge) Checks(symptoms []string, found []Found) []Task {
	var order []string
	add := func(words ...string) {
		for _, w := range words {
			if !slices.Contains(order, w) && k.checks[w] != nil {
				order = append(order, w)
			}
		}
	}
	for _, f := range found {
		if f.Times >= frequent {
			add(f.Word)
		}
	}
	var others [][]string
	for _, s := range symptoms {
		if symptom := k.Symptom(s); len(symptom.Leads) > 0 {
			add(symptom.First...)
		} else {
			others = append(others, symptom.First)
		}
	}
	for i, more := 0, true; more; i++ {
		more = false
		for _, first := range others {
			if i < len(first) {
				add(first[i])
				more = true
			}
		}
	}
	for _, f := range found {
		add(f.Word)
	}
	early := len(order)
	add(schema.RuledOut...)
	tasks := make([]Task, len(order))
	for i, w := range order {
		tasks[i] = Task{Check: k.checks[w], First: i < early}
		for _, s := range symptoms {
			tasks[i].Notes = append(tasks[i].Notes, k.Symptom(s).Notes[w]...)
		}
		if n := slices.IndexFunc(found, func(f Found) bool { return f.Word == w }); n >= 0 {
			tasks[i].Found = &found[n]
		}
	}
	return tasks
}

// Stop is what is done before anything else.
func (k *Knowledge) Stop(symptoms []string) []Line {
	var out []Line
	for _, s := range symptoms {
		out = append(out, k.Symptom(s).Stop...)
	}
	return out
}

// Cautions are the words of safety for a cut, and for some checks.
func (k *Knowledge) Cautions(base, gas string, oxygen bool, tasks []Task) []Line {
	var names []string
	add := func(list ...string) {
		for _, n := range list {
			if !slices.Contains(names, n) {
				names = append(names, n)
			}
		}
	}
	add("beam", "park", "hot")
	switch {
	case oxygen:
		add("oxygen")
	case gas != "air":
		add("inert")
	}
	switch base {
	case "galvanized-steel", "stainless-steel":
		add("fume")
	case "aluminium":
		add("back", "dust")
	case "copper", "brass":
		add("back")
	case "titanium", "magnesium":
		add("dust")
	}
	for _, t := range tasks {
		for _, n := range t.Cautions {
			if n == "oxygen" && !oxygen || n == "inert" && oxygen {
				continue
			}
			add(n)
		}
	}
	var out []Line
	for _, n := range names {
		if line := k.Caution(n); line.Text != "" {
			out = append(out, line)
		}
	}
	return out
}
