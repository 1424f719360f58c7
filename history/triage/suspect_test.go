package triage

import (
	"encoding/json"
	"os"
	"strings"
	"testing"
	"time"

	"fettle/history"
	"fettle/schema"
	"fettle/schema/quantity"
)

type fieldCase struct{ Field, From, To string }

type changeCase struct {
	fieldCase
	At        string
	OnMachine string `json:"on_machine"`
	Window    []string
	Tried     bool
	With      []fieldCase
}

type rankCase struct {
	Name, Gas, Thickness string
	Symptoms             []string
	From, To             string
	Changes              []changeCase
	First, Why           string
}

func value(t *testing.T, text string) quantity.Value {
	t.Helper()
	for _, dim := range []quantity.Dimension{quantity.DimLength, quantity.DimPressure, quantity.DimSpeed, quantity.DimPower, quantity.DimTime, quantity.DimFrequency, quantity.DimRatio} {
		if v, err := quantity.Parse(dim, text); err == nil {
			return v
		}
	}
	return quantity.Value{}
}

func fieldChange(t *testing.T, c fieldCase) history.FieldChange {
	return history.FieldChange{Path: c.Field, From: schema.Field{Path: c.Field, Text: c.From, Quantity: value(t, c.From)}, To: schema.Field{Path: c.Field, Text: c.To, Quantity: value(t, c.To)}}
}

func moment(t *testing.T, text string) time.Time {
	t.Helper()
	at, err := time.Parse("2006-01-02 15:04", text)
	if err != nil {
		t.Fatal(err)
	}
	return at
}

func readCases(t *testing.T) []rankCase {
	t.Helper()
	data, err := os.ReadFile("testdata/cases.json")
	if err != nil {
		t.Fatal(err)
	}
	var cases []rankCase
	if err := json.Unmarshal(data, &cases); err != nil {
		t.Fatal(err)
	}
	if len(cases) < 20 {
		t.Fatalf("%d cases", len(cases))
	}
	return cases
}

func (c *rankCase) situation(t *testing.T) (Situation, []Change) {
	s := Situation{Symptoms: c.Symptoms, Oxygen: c.Gas == "oxygen", Thickness: value(t, c.Thickness).SI(), From: moment(t, c.From), To: moment(t, c.To)}
	var changes []Change
	for _, x := range c.Changes {
		change := Change{FieldChange: fieldChange(t, x.fieldCase), At: moment(t, x.At), OnMachine: OnMachine(x.OnMachine), Tried: x.Tried}
		if change.OnMachine == "" {
			change.OnMachine = Yes
		}
		if len(x.Window) == 2 {
			change.Window = &Window{value(t, x.Window[0]), value(t, x.Window[1])}
		}
		for _, w := range x.With {
			change.With = append(change.With, fieldChange(t, w))
		}
		changes = append(changes, change)
	}
	return s, changes
}

// TestCases holds the ranking to written cases, judged by trade knowledge (common practice, no source): see testdata/README.md.
func TestCases(t *testing.T) {
	for _, c := range readCases(t) {
		t.Run(strings.ReplaceAll(c.Name, " ", "-"), func(t *testing.T) {
			s, changes := c.situation(t)
			got := Common().Rank(s, changes)
			for _, r := range got {
				t.Logf("%.3f = fit %.2f × size %.2f × time %.2f  %s\n\tfor %q\n\tagainst %q", r.Score, r.Fit, r.Size, r.Time, r.Path, r.For, r.Against)
			}
			if got[0].Path != c.First {
				t.Errorf("%s comes first and not %s: %s", got[0].Path, c.First, c.Why)
			}
			if len(got) > 1 && got[0].Score < 1.3*got[1].Score {
				t.Errorf("%s is hardly before %s: %.3f, %.3f", got[0].Path, got[1].Path, got[0].Score, got[1].Score)
			}
			// The order in which changes are given does not matter.
			for i, j := 0, len(changes)-1; i < j; i, j = i+1, j-1 {
				changes[i], changes[j] = changes[j], changes[i]
			}
			if again := Common().Rank(s, changes); again[0].Path != got[0].Path {
				t.Errorf("given the other way round, %s comes first", again[0].Path)
			}
		})
	}
}

// TestMirrored: the same change in the other direction never fits better where only one direction is known to bring the symptom about.
func TestMirrored(t *testing.T) {
	for _, symptom := range schema.Symptoms {
		for _, f := range Common().Symptom(symptom).Fits {
			if f.Change == Other || f.Strength == Weak {
				continue
			}
			oxygen := f.Gas == Oxygen
			other := map[string]string{Up: Down, Down: Up}[f.Change]
			if both, _ := Common().fit(symptom, f.Field, other, oxygen); both != nil {
				continue
			}
			path := strings.Replace(f.Field, "pierce.", "pierce[0].", 1)
			amounts := map[string][2]string{Up: {"1 mm", "1.4 mm"}, Down: {"1.4 mm", "1 mm"}}
			at := moment(t, "2026-11-14 12:00")
			s := Situation{Symptoms: []string{symptom}, Oxygen: oxygen, Thickness: 0.01, From: at.Add(time.Hour), To: at.Add(2 * time.Hour)}
			score := func(change string) Suspect {
				c := Change{FieldChange: fieldChange(t, fieldCase{path, amounts[change][0], amounts[change][1]}), At: at, OnMachine: Yes}
				return Common().Rank(s, []Change{c})[0]
			}
			with, against := score(f.Change), score(other)
			if with.Fit < 3*against.Fit || len(with.For) == 0 || len(against.Against) == 0 {
				t.Errorf("%s: %s %s %.2f, %s %.2f", symptom, f.Field, f.Change, with.Fit, other, against.Fit)
			}
		}
	}
}

// TestGather: a stage that went is one change; a member that went alone stays one; notes are none.
func TestGather(t *testing.T) {
	field := func(path, text string) schema.Field {
		if text == "" {
			return schema.Field{}
		}
		return schema.Field{Path: path, Text: text, Note: path == "note"}
	}
	change := func(path, from, to string) history.FieldChange {
		return history.FieldChange{Path: path, From: field(path, from), To: field(path, to)}
	}
	got := Gather([]history.FieldChange{change("cut.speed", "3 m/min", "4 m/min"), change("cut.mode", "", "pulsed"), change("corner.min_power", "900 W", ""),
		change("corner.min_duty", "30 %", ""), change("pierce[1].power", "1 kW", "2 kW"), change("pierce[2].power", "1 kW", ""), change("pierce[2].time", "1 s", ""), change("note", "a", "b")})
	var names []string
	for _, c := range got {
		names = append(names, c.Path+" "+c.From.Text+">"+c.To.Text)
	}
	if want := "cut.speed 3 m/min>4 m/min; cut.mode >pulsed; corner there>gone; pierce[1].power 1 kW>2 kW; pierce[2] there>gone"; strings.Join(names, "; ") != want {
		t.Errorf("%s", strings.Join(names, "; "))
	}
}
