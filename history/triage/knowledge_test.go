package triage

import (
	"slices"
	"strings"
	"testing"

	"fettle/schema"
)

// TestKnowledge: the file that every shop has can be read, and says something of every word of the format.
func TestKnowledge(t *testing.T) {
	k := Common()
	for _, word := range schema.RuledOut {
		c := k.Check(word)
		if c == nil || len(c.How) == 0 || len(c.Clears) == 0 || c.Minutes < 1 {
			t.Errorf("%s: how it is checked, how long that takes or what rules it out is missing: %+v", word, c)
		}
	}
	for _, word := range schema.Symptoms {
		s := k.Symptom(word)
		if len(s.Looks) == 0 || len(s.First) < 4 || len(s.Fits) == 0 {
			t.Errorf("%s: what it looks like, what is checked first or what brings it about is missing", word)
		}
		seen := map[Fit]bool{}
		for _, f := range s.Fits {
			f.Strength, f.Why = "", Line{}
			if seen[f] {
				t.Errorf("%s: %s %s %s stands there twice", word, f.Field, f.Change, f.Gas)
			}
			seen[f] = true
		}
		for _, try := range s.Tries {
			if k.steps[try.Field] == nil {
				t.Errorf("%s: %s is tried, and no step says how far and what to cut", word, try.Field)
			}
			// What may help is not what brings it about.
			for _, f := range s.Fits {
				if f.Field == try.Field && f.Change == try.Change && (f.Gas == try.Gas || f.Gas == "any" || try.Gas == "any") && f.Strength != Weak {
					t.Errorf("%s: %s %s brings it about (%s) and is tried against it", word, f.Field, f.Change, f.Gas)
				}
			}
		}
	}
	if len(k.Symptom("hot-nozzle").Stop) == 0 {
		t.Error("with a hot nozzle cutting stops first")
	}
	if first := k.Symptom("one-sided").First[0]; first != "nozzle-centring" {
		t.Errorf("one side only: centring first, not %s", first)
	}
}

// TestLibraryAdds: lines of a library go before the common ones, and a wrong line is named with what was expected.
func TestLibraryAdds(t *testing.T) {
	k, err := Read("# our own\nsymptom dross\n    first gas-purity, nozzle-wear [practice]\n    fit kerf up any strong: only here [source: our log of 2025]\n" +
		"check gas-purity 4\n    how Look at the bundle in the yard. [practice]\n    caution oxygen\n")
	if err != nil {
		t.Fatal(err)
	}
	s := k.Symptom("dross")
	if !slices.Equal(s.First, []string{"gas-purity", "nozzle-wear"}) || s.Fits[0].Field != "kerf" || s.Fits[0].Why.Mark != "source: our log of 2025" ||
		len(s.Fits) != len(Common().Symptom("dross").Fits)+1 {
		t.Errorf("%+v", s)
	}
	if c := k.Check("gas-purity"); c.Minutes != 4 || len(c.How) != 1 || len(c.Clears) == 0 || !slices.Contains(c.Cautions, "inert") {
		t.Errorf("%+v", c)
	}
	if len(Common().Symptom("dross").First) < 5 || Common().Check("gas-purity").Minutes == 4 {
		t.Error("what a library adds changed what all have in common")
	}
	for text, want := range map[string]string{
		"symptom drosss": `triage.txt:1: "drosss" is not a symptom; did you mean dross?`,
		"\nfit cut.speed up any strong: x [practice]":                 `triage.txt:2: "fit" begins no block`,
		"    how x [practice]":                                        "belongs to no check or symptom",
		"symptom dross\n  fit cut.sped up any strong: x [practice]":   `triage.txt:2: "cut.sped" is no field of a condition`,
		"symptom dross\n  fit cut.speed upp any strong: x [practice]": "did you mean up?",
		"symptom dross\n  fit cut.speed up any: x [practice]":         "FIELD CHANGE GAS STRENGTH: why",
		"symptom dross\n  fit cut.speed up any strong: x":             "where it comes from",
		"symptom dross\n  fit cut.speed up any strong: x [hearsay]":   "is no mark",
		"check nozzle-wear":                        "a word and its minutes",
		"check nozzle-wear 3\n  caution wasps":     `no caution "wasps"`,
		"step cut.pressure 5 mm: x [practice]":     "is no step of cut.pressure",
		"check nozzle-wear 3\ncheck nozzle-wear 4": "stands here twice",
	} {
		if _, err := Read(text); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %s", text, err, want)
		}
	}
}
