package main

import (
	"fmt"
	"math"
	"strings"

	"github.com/sergi/go-diff/diffmatchpatch"

	"fettle/history"
	"fettle/schema"
	"fettle/schema/quantity"
)

// A shown change is one field in the library's units, old and new told apart even where they are close.
type shown struct{ field, from, to, percent string }

func show(c history.FieldChange, prefs quantity.Prefs) shown {
	s := shown{field: schema.SpokenPath(c.Path), from: c.From.Text, to: c.To.Text}
	switch {
	case c.From.Path == "":
		s.from = "—"
		s.to = value(c.To, prefs)
	case c.To.Path == "":
		s.from = value(c.From, prefs)
		s.to = "—"
	case !c.From.Quantity.IsZero() && !c.To.Quantity.IsZero():
		s.from, s.to = quantity.FormatPair(c.From.Quantity, c.To.Quantity, prefs)
	}
	if p, ok := c.Percent(); ok && !strings.HasSuffix(c.Path, "focus") && c.From.Quantity.Unit() != "%" {
		s.percent = percent(p)
	}
	return s
}

func percent(p float64) string {
	if math.Abs(p) < 10 {
		return fmt.Sprintf("%+.2g %%", p)
	}
	return fmt.Sprintf("%+.0f %%", p)
}

func value(f schema.Field, prefs quantity.Prefs) string {
	if f.Quantity.IsZero() {
		return f.Text
	}
	return f.Quantity.Format(prefs)
}

// prefs are the units of the unsaved library, the newest wish of the shop.
func (s *shop) prefs() quantity.Prefs {
	if s.liked != nil {
		return *s.liked
	}
	if lib, err := s.work(); err == nil {
		return lib.Prefs()
	}
	return nil
}

// printChanges prints a line a field: name, old -> new, percent. Free text is shown by words.
func (s *shop) printChanges(changes []history.FieldChange) {
	for _, line := range s.changeLines(changes) {
		s.say("    %s", line)
	}
}

func (s *shop) changeLines(changes []history.FieldChange) []string {
	return changeLines(changes, s.prefs())
}

func changeLines(changes []history.FieldChange, prefs quantity.Prefs) []string {
	width := 11
	for _, c := range changes {
		width = max(width, len(schema.SpokenPath(c.Path)))
	}
	var lines []string
	for _, c := range changes {
		v := show(c, prefs)
		if c.From.Note && c.To.Note {
			lines = append(lines, fmt.Sprintf("%-*s %s", width, v.field, words(c.From.Text, c.To.Text)))
			continue
		}
		from, to := v.from, v.to
		if number, unit, ok := strings.Cut(to, " "); ok && strings.HasSuffix(from, " "+unit) && number != "" {
			from = strings.TrimSuffix(from, " "+unit) // 0.40 -> 0.46 bar
		}
		lines = append(lines, strings.TrimRight(fmt.Sprintf("%-*s %s -> %s   %s", width, v.field, clean(from), clean(to), v.percent), " "))
	}
	return lines
}

// words shows how a text changed, word by word: [-gone-] {+come+}.
func words(from, to string) string {
	d := diffmatchpatch.New()
	a, b, lines := d.DiffLinesToChars(strings.ReplaceAll(from, " ", "\n"), strings.ReplaceAll(to, " ", "\n"))
	var out strings.Builder
	for _, part := range d.DiffCharsToLines(d.DiffMain(a, b, false), lines) {
		text := strings.TrimRight(strings.ReplaceAll(part.Text, "\n", " "), " ")
		switch part.Type {
		case diffmatchpatch.DiffDelete:
			fmt.Fprintf(&out, "[-%s-] ", text)
		case diffmatchpatch.DiffInsert:
			fmt.Fprintf(&out, "{+%s+} ", text)
		default:
			out.WriteString(text + " ")
		}
	}
	return clean(strings.TrimSpace(out.String()))
}
