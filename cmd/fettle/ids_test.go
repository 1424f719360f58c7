package main

import (
	"errors"
	"strings"
	"testing"

	"fettle/schema"
)

func someIDs(t *testing.T) []schema.ID {
	t.Helper()
	var ids []schema.ID
	for _, s := range []string{"bay-2/carbon-steel/oxygen/3mm", "bay-2/carbon-steel/oxygen/3mm/pickled", "bay-2/carbon-steel/oxygen/3.175mm/inch",
		"bay-2/carbon-steel/oxygen/10mm", "bay-2/carbon-steel/nitrogen/3mm", "bay-2/stainless-steel/nitrogen/10mm", "bay-5/carbon-steel/oxygen/20mm",
		"bay-5/carbon-steel/oxygen/20mm/mark"} {
		id, err := schema.ParseID(s)
		if err != nil {
			t.Fatal(err)
		}
		ids = append(ids, id)
	}
	return ids
}

func TestShortIDs(t *testing.T) {
	ids := someIDs(t)
	a := &app{terminal: true}
	for typed, want := range map[string]string{
		"bay-2/carbon-steel/oxygen/3mm":  "bay-2/carbon-steel/oxygen/3mm",
		"oxygen/10":                      "bay-2/carbon-steel/oxygen/10mm",
		"bay-2/oxygen/10mm":              "bay-2/carbon-steel/oxygen/10mm",
		"1/8in":                          "bay-2/carbon-steel/oxygen/3.175mm/inch",
		"bay-2/1/8in":                    "bay-2/carbon-steel/oxygen/3.175mm/inch",
		"pickled":                        "bay-2/carbon-steel/oxygen/3mm/pickled",
		"3mm/pickled":                    "bay-2/carbon-steel/oxygen/3mm/pickled",
		"20mm":                           "bay-5/carbon-steel/oxygen/20mm",
		"20mm/mark":                      "bay-5/carbon-steel/oxygen/20mm/mark",
		"stain":                          "bay-2/stainless-steel/nitrogen/10mm",
		"bay-2/carbon-steel/oxygen/":     "bay-2/carbon-steel/oxygen/10mm bay-2/carbon-steel/oxygen/3.175mm/inch bay-2/carbon-steel/oxygen/3mm bay-2/carbon-steel/oxygen/3mm/pickled",
		"bay-5/":                         "bay-5/carbon-steel/oxygen/20mm bay-5/carbon-steel/oxygen/20mm/mark",
		"bay-2/carbon-steel/oxygen/3mm/": "bay-2/carbon-steel/oxygen/3mm bay-2/carbon-steel/oxygen/3mm/pickled",
	} {
		got, err := a.resolve([]string{typed}, ids)
		var names []string
		for _, id := range got {
			names = append(names, id.String())
		}
		if strings.Join(sortStrings(names), " ") != want {
			t.Errorf("%q: %v %v, want %s", typed, names, err, want)
		}
	}
}

func sortStrings(s []string) []string {
	return unique(s)
}

func TestShortIDsThatFitMoreOrNone(t *testing.T) {
	ids := someIDs(t)
	a := &app{terminal: true}
	for typed, help := range map[string]string{
		"10mm":                           "bay-2/stainless-steel/nitrogen/10mm",
		"3mm":                            "bay-2/carbon-steel/nitrogen/3mm",
		"bay-2/carbon-steel/oxigen/10mm": "Did you mean bay-2/carbon-steel/oxygen/10mm",
		"bay-9/":                         "bay-2",
	} {
		_, err := a.resolve([]string{typed}, ids)
		var t2 *trouble
		if !errors.As(err, &t2) || !strings.Contains(t2.help, help) {
			t.Errorf("%q: %v, want a help that names %s", typed, err, help)
		}
	}
}

// A script must not come to mean another condition because the library grew.
func TestNoShortIDsInScripts(t *testing.T) {
	a := &app{}
	_, err := a.resolve([]string{"pickled"}, someIDs(t))
	var t2 *trouble
	if !errors.As(err, &t2) || !strings.Contains(t2.help, "bay-2/carbon-steel/oxygen/3mm/pickled") {
		t.Errorf("%v", err)
	}
}

func TestCompletionPartByPart(t *testing.T) {
	ids := someIDs(t)
	for typed, want := range map[string]string{"": "bay-2/ bay-5/", "bay-2/": "bay-2/carbon-steel/ bay-2/stainless-steel/",
		"bay-5/carbon-steel/oxygen/2": "bay-5/carbon-steel/oxygen/20mm bay-5/carbon-steel/oxygen/20mm/"} {
		if got := strings.Join(completeIDs(typed, ids), " "); got != want {
			t.Errorf("%q: %s, want %s", typed, got, want)
		}
	}
}
