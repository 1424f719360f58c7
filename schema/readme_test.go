package schema

import (
	"os"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"

	"fettle/schema/quantity"
)

// The tables of README.md are made from the struct tags.
func TestPublishedTablesOfReadme(t *testing.T) {
	data, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	text := string(data)
	for name, table := range map[string]string{"quantities": quantityTable(), "library": memberTable("library"), "machine": memberTable("machine"),
		"condition-set": memberTable("condition-set"), "records": recordTable(),
		"words": "- causes: " + coded(Causes) + "\n- ruled-out words, in the order in which to look: " + coded(RuledOut) + "\n- symptoms: " + coded(Symptoms) + "\n"} {
		open := "<!-- " + name + " -->\n"
		before, rest, ok := strings.Cut(text, open)
		_, after, closed := strings.Cut(rest, "<!-- end -->")
		if !ok || !closed {
			t.Fatalf("README.md has no place for the table %q", name)
		}
		text = before + open + table + "<!-- end -->" + after
	}
	if *update {
		if err := os.WriteFile("README.md", []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if text != string(data) {
		t.Error("the tables of README.md do not follow the struct tags; write them anew: go test fettle/schema -run Published -update")
	}
}

func quantityTable() string {
	b := "| quantity | like | units |\n|---|---|---|\n"
	for _, d := range []quantity.Dimension{quantity.DimLength, quantity.DimSpeed, quantity.DimPressure, quantity.DimPower, quantity.DimTime, quantity.DimFrequency,
		quantity.DimRatio, quantity.DimBeamParameter, quantity.DimConductance, quantity.DimVolumeFlow, quantity.DimTemperature, quantity.DimMass} {
		b += "| " + bare(d.String()) + " | `" + d.Example() + "` | " + coded(quantity.Units(d)) + " |\n"
	}
	return b
}

func memberTable(kind string) string {
	t, _ := structOf(kind)
	return "| member | value | meaning |\n|---|---|---|\n" + memberRows("", t, reflect.TypeFor[Head]())
}

// recordTable has what every record carries, and then what each kind has of its own.
func recordTable() string {
	b := "| member | value | meaning |\n|---|---|---|\n" + memberRows("", reflect.TypeFor[Common](), reflect.TypeFor[Head]())
	kinds := map[string]string{}
	for _, kind := range PublishedKinds() {
		if t, ok := recordTypes[kind]; ok {
			kinds[t.Name()] += ", `" + kind + "`"
		}
	}
	for _, kind := range PublishedKinds() {
		if t, ok := recordTypes[kind]; ok && kinds[t.Name()] != "" {
			b += "| **" + strings.TrimPrefix(kinds[t.Name()], ", ") + "** | | |\n" + memberRows("", t, reflect.TypeFor[Common]())
			delete(kinds, t.Name())
		}
	}
	return b
}

// memberRows lists the members of a struct with their dotted paths, but for those of one embedded struct that is told elsewhere.
func memberRows(prefix string, t reflect.Type, elsewhere reflect.Type) (rows string) {
	cutTold := false
	for _, f := range infoOf(t).fields {
		if from := t.Field(f.index[0]); from.Anonymous && from.Type == elsewhere {
			continue
		} else if from.Anonymous && from.Type == reflect.TypeFor[CutValues]() {
			if !cutTold {
				rows += "| `" + prefix + "…` | | any member of `cut` |\n"
			}
			cutTold = true
			continue
		}
		path := prefix + f.name
		if f.rest != "" {
			path = prefix + "NAME" + f.rest
		}
		sh := f.shape
		for sh.kind == isList || sh.kind == isTable {
			switch {
			case f.rest != "":
			case sh.kind == isTable:
				path += ".NAME"
			case sh.elem.kind == isStruct:
				path += "[]"
			}
			sh = sh.elem
		}
		doc := f.doc
		if f.need {
			doc += " (**needed**)"
		}
		rows += "| `" + path + "` | " + valueWords(&f, sh) + " | " + doc + " |\n"
		// A recipe and a machine as records keep them have the members of the files above.
		if kept := sh.typ == reflect.TypeFor[Values]() || sh.typ == reflect.TypeFor[BeamAndJet](); sh.kind == isStruct && !kept {
			rows += memberRows(path+".", sh.typ, nil)
		}
	}
	return rows
}

// valueWords says what a value looks like.
func valueWords(f *fieldInfo, sh *shape) string {
	words := ""
	switch sh.kind {
	case isQuantity:
		words = bare(sh.dim.String())
	case isBool:
		words = "true or false"
	case isInt:
		words = "whole number" + rangeWords(&f.spec)
	case isNumber:
		words = "plain number" + rangeWords(&f.spec)
	case isString:
		switch form := forms()[f.form]; {
		case slices.Equal(f.one, Causes):
			words = "a cause"
		case slices.Equal(f.one, Symptoms):
			words = "a symptom"
		case slices.Equal(f.one, RuledOut):
			words = "a ruled-out word"
		case f.one != nil:
			words = coded(f.one)
		case f.form != "":
			words = bare(strings.NewReplacer(" of a-z, 0-9 and hyphens", "", "one line of text that is not empty", "a line of text",
				"one line of text without control characters", "a line of text", ` such as "`, ": `", `"`, "`").Replace(form.words))
		default:
			words = "text"
		}
	case isStruct:
		words = "object"
	case isRaw:
		words = "anything"
	}
	if f.shape.kind == isList {
		words = "list: " + words
		if f.size > 0 {
			words = "list of " + strconv.Itoa(f.size) + strings.TrimPrefix(words, "list")
		}
	}
	if f.null {
		words += ", or null"
	}
	return words
}

func rangeWords(sp *spec) string {
	if sp.from == 0 && sp.to == 1e9 {
		return ""
	}
	return ", " + strconv.Itoa(sp.from) + " to " + strconv.Itoa(sp.to)
}

func bare(words string) string {
	return strings.TrimPrefix(strings.TrimPrefix(words, "an "), "a ")
}

func coded(words []string) string {
	words = slices.Clone(words)
	for i, word := range words {
		words[i] = "`" + word + "`"
	}
	return strings.Join(words, " ")
}
