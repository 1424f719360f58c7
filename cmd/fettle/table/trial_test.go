package table

import (
	"bytes"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"fettle/schema"
	"fettle/schema/quantity"
)

func parsedLength(text string) schema.Member[quantity.Length] {
	return schema.Of(quantity.MustParseOf[quantity.Length](text))
}

func lengths(texts ...string) schema.Member[[]quantity.Length] {
	var out []quantity.Length
	for _, t := range texts {
		out = append(out, quantity.MustParseOf[quantity.Length](t))
	}
	return schema.Of(out)
}

// sheetOfTwo is a sheet with everything in it.
func sheetOfTwo() *TrialSheet {
	return &TrialSheet{Code: "3f9a0c1b", Unit: "bay-2", Plate: "=P 4", Lot: "H-1187", Grade: "S355J2", Nozzle: "no. 12, new",
		Overrides: schema.Table[quantity.Ratio]{{Name: "feed", V: quantity.MustParseOf[quantity.Ratio]("100 %"), At: schema.Made}},
		Rows: []TrialRow{
			{Number: 1, Plate: 1, Changed: schema.Table[string]{{Name: "cut.pressure", V: "0.30 bar", At: schema.Made}, {Name: "cut.focus", V: "-2 mm", At: schema.Made}},
				Outcome: "bad", Observed: []string{"dross", "taper"}, Photos: []string{"a.jpg", "b.jpg"}, Text: "burr, only at the corner",
				Measured: schema.Measured{PerpendicularityPoints: lengths("0.12 mm", "0.14 mm"), Roughness: parsedLength("31 um"), Dross: parsedLength("0.3 mm"), Kerf: parsedLength("0.45 mm"),
					PierceTime: schema.Of(quantity.MustParseOf[quantity.Duration]("0.4 s")), NozzleHeat: schema.Of("warm"), NozzleDegrees: schema.Of(quantity.MustParseOf[quantity.Temperature]("41 degC"))}},
			{Number: 2, Plate: 2, Changed: schema.Table[string]{{Name: "cut.pressure", V: "40 kPa", At: schema.Made}, {Name: "cut.focus", V: "3 mm", At: schema.Made}}},
		}}
}

// What is written is read back as it was, however a spreadsheet saves it.
func TestTrialSheetRoundTrip(t *testing.T) {
	fields, units := []string{"cut.pressure", "cut.focus"}, map[string]string{"cut.pressure": "bar", "cut.focus": "mm"}
	want := sheetOfTwo()
	var b bytes.Buffer
	if err := WriteTrial(want, fields, units, &b); err != nil {
		t.Fatal(err)
	}
	plain := b.String()
	semicolons := func(s string) string { // commas inside quotes stay
		var out strings.Builder
		quoted := false
		for _, r := range s {
			switch {
			case r == '"':
				quoted = !quoted
			case r == ',' && !quoted:
				r = ';'
			}
			out.WriteRune(r)
		}
		return out.String()
	}
	for name, text := range map[string]string{
		"as written": plain, "with CRLF and a mark": "\ufeff" + strings.ReplaceAll(plain, "\n", "\r\n"), "with semicolons": semicolons(plain),
		"with a decimal comma": strings.NewReplacer("0.30;", "0,30;", "0.12 0.14", "0,12 0,14", ";0.3;", ";0,3;", "0.45", "0,45", ";0.4;", ";0,4;").Replace(semicolons(plain)),
		"with rows above":      "Trial of Tuesday\n\n" + plain,
	} {
		t.Run(name, func(t *testing.T) {
			if code, bad := TrialCode([]byte(text)); bad != nil || code != "3f9a0c1b" {
				t.Fatalf("code %q, %v", code, bad)
			}
			got, problems := ReadTrial([]byte(text), fields)
			for _, p := range problems {
				t.Errorf("%s", p)
			}
			for i := range got.Rows {
				got.Rows[i].Row = 0
			}
			if d := cmp.Diff(texts(want), texts(got)); d != "" {
				t.Error(d)
			}
		})
	}
}

// texts flattens a sheet to what it says.
func texts(t *TrialSheet) []string {
	out := []string{t.Code, t.Unit, t.Plate, t.Lot, t.Grade, t.Nozzle}
	for _, o := range t.Overrides {
		out = append(out, o.Name+" "+o.V.Canonical())
	}
	for i := range t.Rows {
		r := &t.Rows[i]
		line := r.Outcome + "|" + strings.Join(r.Observed, " ") + "|" + strings.Join(r.Photos, " ") + "|" + r.Text
		for _, c := range r.Changed {
			dim, _ := Dimension(c.Name)
			line += "|" + c.Name + " " + quantity.MustParse(dim, c.V).Canonical()
		}
		for _, f := range schema.Fields(&r.Measured) {
			line += "|" + f.Path + " "
			if f.Quantity.IsZero() {
				line += f.Text
			}
			line += f.Quantity.Canonical()
		}
		out = append(out, line)
	}
	return out
}

// Every cell that is wrong is named by its place, and the others are read all the same.
func TestTrialSheetProblems(t *testing.T) {
	fields := []string{"cut.pressure"}
	head := "plan,coupon,plate no,cut.pressure [bar],outcome,seen,u [mm],Rz5 [um],lot\n"
	for name, c := range map[string]struct {
		text string
		want []string
		rows int
	}{
		"no header":            {"a,b\n1,2\n", []string{`no row holds the columns "coupon" and "outcome"`}, 0},
		"a column that is not": {"plan,coupon,outcom,outcome,cut.pressure\nx,1,,good,0.3 bar\n", []string{`C1 (row 1, column C "outcom"): this column is not one of the sheet`}, 0},
		"the value is gone":    {"plan,coupon,outcome\nx,1,good\n", []string{`row 1: the column "cut.pressure" is missing`}, 0},
		"a column twice":       {"plan,coupon,outcome,outcome,cut.pressure\nx,1,good,good,0.3 bar\n", []string{`D1 (row 1, column D "outcome"): the column stands in C already`}, 0},
		"a date":               {head + "x,1,1,0.3,good,,12. Mrz,,\nx,2,1,0.3,good,,,,\n", []string{`G2 (row 2, column G "u [mm]")`}, 1},
		"a formula":            {head + "x,1,1,=A1,good,,,,\n", []string{`D2 (row 2, column D "cut.pressure [bar]"): "=A1" is a formula`}, 0},
		"an error of a sheet":  {head + "x,1,1,#REF!,good,,,,\nx,2,1,0.3,bad,dross,,,\n", []string{"is an error of the spreadsheet"}, 1},
		"two plans":            {head + "x,1,1,0.3,good,,,,\ny,2,1,0.3,bad,,,,\n", []string{`this row is of plan "y", those above of "x"`}, 1},
		"two lots":             {head + "x,1,1,0.3,good,,,,H-1\nx,2,1,0.3,bad,,,,H-2\n", []string{`"H-2" here and "H-1" above; a trial has one`}, 1},
		"no number":            {head + "x,one,1,0.3,good,,,,\n", []string{`"one" is no number of a coupon`}, 0},
		"another dimension":    {head + "x,1,1,0.3 mm,good,,,,\n", []string{"where a pressure"}, 0},
		"a word":               {head + "x,1,1,0.3,ok,,,,\n", []string{`"ok" is no outcome`}, 0},
	} {
		t.Run(name, func(t *testing.T) {
			got, problems := ReadTrial([]byte(c.text), fields)
			var all []string
			for _, p := range problems {
				all = append(all, p.String())
			}
			said := strings.Join(all, "\n")
			for _, want := range c.want {
				if !strings.Contains(said, want) {
					t.Errorf("nobody says %q:\n%s", want, said)
				}
			}
			if len(got.Rows) != c.rows {
				t.Errorf("%d rows, want %d", len(got.Rows), c.rows)
			}
		})
	}
}

// Whatever bytes come, there is an answer and no panic; what is read is in the words of the format.
func TestTrialSheetHostile(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		cells := rapid.SliceOfN(rapid.SampledFrom([]string{"", "plan", "coupon", "outcome", "good", "1", "0.3", "0,3", "=1", "\"", ";", "cut.pressure [bar]", "u [mm]", "\x00", "ä", "1e9", "-5 mm",
			"99999999999999999999", "12/3", "hot", "100 %", "feed override [%]"}), 0, 60).Draw(t, "cells")
		text := strings.Join(cells, rapid.SampledFrom([]string{",", ";", "\n", "\t", ",\n"}).Draw(t, "between"))
		got, problems := ReadTrial([]byte(text), []string{"cut.pressure"})
		for _, p := range problems {
			if p.Message == "" {
				t.Fatalf("%q: a problem without a word", text)
			}
		}
		for _, r := range got.Rows {
			if r.Number < 1 || r.Outcome != "" && r.Outcome != "good" {
				t.Fatalf("%q gives %+v", text, r)
			}
		}
	})
}
