package table

import (
	"bytes"
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"

	"fettle/schema"
	"fettle/schema/quantity"
)

// The gauge tables against what they stand on: the statute's ounces per square foot (15 U.S.C. 206, from memory), 41.82 lb/ft² to
// the inch and 2.5 oz/ft² of zinc (trade tables), and the formula of the American Wire Gauge (ASTM B258).
func TestSheetGauges(t *testing.T) {
	ounces := []float64{160, 150, 140, 130, 120, 110, 100, 90, 80, 70, 60, 50, 45, 40, 36, 32, 28, 24, 22, 20, 18, 16, 14, 12, 11, 10, 9, 8} // from number 3
	weight := func(n int) float64 { return ounces[n-3] }
	for material, inches := range map[string]func(n int) float64{
		"carbon-steel":     func(n int) float64 { return weight(n) / (41.82 * 16) },
		"galvanized-steel": func(n int) float64 { return (weight(n) + 2.5) / (41.82 * 16) },
		"stainless-steel":  func(n int) float64 { return weight(n) / 640 },
		"aluminium":        func(n int) float64 { return 0.005 * math.Pow(92, float64(36-n)/39) },
	} {
		table := sheetGauges[material]
		for i, text := range table.inches {
			n := table.first + i
			got, _ := strconv.ParseFloat(text, 64)
			if want := inches(n); math.Abs(got-want) > 0.000051 {
				t.Errorf("%s number %d is %s in, computed %.6f", material, n, text, want)
			}
			if v, source, err := sheetGauge(strconv.Itoa(n), material); err != nil || v.Text() != text+" in" || source != table.source {
				t.Errorf("%s number %d: %v %s %v", material, n, v, source, err)
			}
		}
		if last := table.first + len(table.inches) - 1; last != 30 {
			t.Errorf("%s ends at number %d", material, last)
		}
	}
	for _, bad := range [][2]string{{"2", "carbon-steel"}, {"31", "aluminium"}, {"16", "copper"}} {
		if _, _, err := sheetGauge(bad[0], bad[1]); err == nil {
			t.Errorf("number %s of %s is given a thickness", bad[0], bad[1])
		}
	}
}

func TestDecode(t *testing.T) {
	const text = "Dicke;µ;½;Düse\n"
	latin, _ := charmap.Windows1252.NewEncoder().String(text)
	wide, _ := unicode.UTF16(unicode.BigEndian, unicode.UseBOM).NewEncoder().String(text)
	bareWide, _ := unicode.UTF16(unicode.LittleEndian, unicode.IgnoreBOM).NewEncoder().String(text)
	eastern, _ := charmap.Windows1250.NewEncoder().String("Grubość;ł\n")
	for _, c := range []struct{ name, data, say, used, text string }{
		{"utf-8", text, "", "utf-8", text},
		{"mark", "\ufeff" + text, "", "utf-8", text},
		{"Windows-1252", latin, "", "windows-1252", text},
		{"UTF-16", wide, "", "utf-16be", text},
		{"UTF-16 named", bareWide, "utf-16le", "utf-16le", text},
		{"named", eastern, "windows-1250", "windows-1250", "Grubość;ł\n"},
	} {
		got, used, bad := decode([]byte(c.data), c.say)
		if bad != nil || got != c.text || used != c.used {
			t.Errorf("%s: %q as %s, %v", c.name, got, used, bad)
		}
	}
	for _, c := range []struct{ data, say, want string }{
		{"PK\x03\x04rest", "", "workbook"},
		{"\xd0\xcf\x11\xe0\xa1\xb1", "", "old workbook"},
		{"%PDF-1.7", "", "PDF"},
		{bareWide, "", "zero bytes"},
		{"a\x81b\xff", "", "neither UTF-8 nor Windows-1252"},
		{"a\xffb", "utf-8", "not UTF-8"},
		{"a", "ebcdic", "not known"},
		{strings.Repeat("a", MaxSize+1), "", "at most"},
	} {
		if _, _, bad := decode([]byte(c.data), c.say); bad == nil || !strings.Contains(bad.Message, c.want) {
			t.Errorf("%.10q read as %q: %v, want %q", c.data, c.say, bad, c.want)
		}
	}
}

// Rows are numbered as a spreadsheet shows them: empty lines count, a line break inside a cell does not.
func TestRowNumbers(t *testing.T) {
	for _, c := range []struct {
		text string
		sep  rune
		want string
	}{
		{"t [mm],power [kW]\r\n\r\n3,\"a\r\nb\"\r\n\r\n\r\n4,x\r\n", ',', "1 3 6"},
		{"t [mm];power [kW]\n3;1,5\n4;2", ';', "1 2 3"},
		{"sep=;\nt [mm];power [kW]\n3;1,5", ';', "1 2"},
		{"t [mm]\tpower [kW]\r3\t1.5\r", '\t', "1 2"},
		{"t [mm];power [kW];note\n1/4\" x;2;a, b, c, d\n", ';', "1 2"},
		{"a,b\n\"t [mm]\",\"power [kW]\"\n1,\"2,5\"\n", ',', "1 2 3"},
	} {
		g, bad := cut(c.text, nil)
		if bad != nil {
			t.Errorf("%q: %v", c.text, bad)
			continue
		}
		var numbers []string
		for _, row := range g.rows {
			numbers = append(numbers, strconv.Itoa(row.number))
		}
		if got := strings.Join(numbers, " "); got != c.want || g.separator != c.sep {
			t.Errorf("%q: rows %s parted by %q, want %s", c.text, got, g.separator, c.want)
		}
	}
	if _, bad := cut("t [mm],power [kW]\n3,\"open\n4,5\n", nil); bad == nil || !strings.Contains(bad.Message, "never closed") || !strings.Contains(bad.Message, "line") {
		t.Errorf("an open quotation mark: %v", bad)
	}
}

func TestHeaders(t *testing.T) {
	for header, want := range map[string]string{
		"Speed [m/min]": "cut.speed m/min", "pressure (bar)": "cut.pressure bar", "Power kW": "cut.power kW", "Feed, mm/s": "cut.speed mm/s",
		"thickness": "thickness ", "Thickness in mm": "thickness mm", "thickness in": "thickness in", "t / mm": "thickness mm", "THK (inch)": "thickness in",
		"Gauge": "thickness ga", "thickness [ga]": "thickness ga", "v [m/min]": "cut.speed m/min", "P [kW]": "cut.power kW", "p [bar]": "cut.pressure bar",
		"f [Hz]": "cut.frequency Hz", "Gas pressure [bar(g)]": "cut.pressure bar", "pressure bar (g)": "cut.pressure bar", "Laser power [% of rating]": "cut.power %",
		"Power %": "cut.power %", "duty cycle (%)": "cut.duty %", "Stand-off\n[mm]": "nozzle.standoff mm", "nozzle distance [mm]": "nozzle.standoff mm",
		"Nozzle": "nozzle ", "Nozzle [mm]": "nozzle mm", "nozzle.form": "nozzle.form ", "Nozzle Ø": "", "focus up [mm]": "cut.focus mm up",
		"Focus (+ = above) [mm]": "cut.focus mm up", "focus position (mm, + above)": "", "Focus below surface [mm]": "cut.focus mm down",
		"Focus [mm] (positive down)": "cut.focus mm down", "focus": "cut.focus ", "cut.focus [mm]": "cut.focus mm", "pierce1 time [s]": "pierce[0].time s",
		"pierce[1].power [W]": "pierce[1].power W", "Pierce 2 gas pressure (bar)": "pierce[1].pressure bar", "Pierce time ms": "pierce[0].time ms",
		"piercing height [mm]": "pierce[0].standoff mm", "pierce1.focus up [mm]": "pierce[0].focus mm up", "pierce": "pierce ", "pierce 0 time [s]": "",
		"lead_in.speed [m/min]": "lead_in.speed m/min", "Lead-in feed [m/min]": "lead_in.speed m/min", "contour1 name": "contours[0].name ",
		"corner.min_duty [%]": "corner.min_duty %", "quality.max_dross [mm]": "quality.max_dross mm", "roughness range": "quality.roughness_range ",
		"extra.Table No. [x]": "extra.Table No. [x] ", "Blechdicke [mm]": "thickness mm", "Gasdruck / bar": "cut.pressure bar", "Operator": "", "": "",
		"speed [ipm]": "cut.speed in/min", "kerf [µm]": "kerf um", "Druck": "cut.pressure ", "power [KW]": "cut.power kW",
	} {
		c := readHeader(0, header)
		got := ""
		if c.path != "" {
			got = c.path + " " + c.unit + map[sign]string{up: " up", down: " down"}[c.up]
			if c.complain != nil {
				got = ""
			}
		}
		if got != want {
			t.Errorf("%q is %q, want %q (%v)", header, got, want, c.complain)
		}
	}
}

// Every member of a condition is known as a column by its path, with and without a number.
func TestEveryPathIsAHeader(t *testing.T) {
	if len(leaves()) < 45 {
		t.Fatalf("only %d members were found", len(leaves()))
	}
	for path, l := range leaves() {
		if l.kind == isTable {
			continue
		}
		path = strings.ReplaceAll(path, "[]", "[2]")
		for _, header := range []string{path, schema.SpokenPath(path), strings.ToUpper(schema.SpokenPath(path))} {
			unit := ""
			if l.kind == isQuantity {
				unit = quantity.Units(l.dim)[0]
				header += " [" + unit + "]"
			}
			if c := readHeader(0, header); c.path != path || c.unit != unit || c.complain != nil {
				t.Errorf("%q is taken for %q %q %v", header, c.path, c.unit, c.complain)
			}
		}
	}
}

func TestCells(t *testing.T) {
	for _, c := range []struct {
		dim        quantity.Dimension
		unit, cell string
		mark       mark
		want       string // beginning with ! it is a part of the refusal
	}{
		{quantity.DimSpeed, "m/min", "3.4", point, "3.4 m/min"},
		{quantity.DimSpeed, "m/min", "3,4", comma, "3.4 m/min"},
		{quantity.DimSpeed, "m/min", "3,4", point, "!decimal comma"},
		{quantity.DimSpeed, "m/min", "3.4", comma, "!point in a sheet with decimal commas"},
		{quantity.DimSpeed, "m/min", "1.500", comma, "!1500"},
		{quantity.DimSpeed, "m/min", "134 ipm", point, "134 in/min"},
		{quantity.DimSpeed, "", "3.4", point, "!no unit"},
		{quantity.DimSpeed, "m/min", "3.4 kW", point, "!a power"},
		{quantity.DimSpeed, "m/min", "fast", point, "!number"},
		{quantity.DimPower, "W", "1,200.5", point, "1200.5 W"},
		{quantity.DimPower, "W", "1.200,5", comma, "1200.5 W"},
		{quantity.DimPower, "W", "1\u00a0200", noMark, "1200 W"},
		{quantity.DimPower, "kW", "2200 watts", point, "2200 W"},
		{quantity.DimLength, "mm", "+2", point, "2 mm"},
		{quantity.DimLength, "mm", "−1.5", point, "-1.5 mm"},
		{quantity.DimLength, "mm", ".5", point, "0.5 mm"},
		{quantity.DimLength, "mm", "-.5", point, "-0.5 mm"},
		{quantity.DimLength, "mm", "1/8", point, "!fraction in a column of mm"},
		{quantity.DimLength, "in", "1/8", point, "1/8 in"},
		{quantity.DimLength, "in", "1-1/4", point, "1 1/4 in"},
		{quantity.DimLength, "in", "¼", point, "1/4 in"},
		{quantity.DimLength, "mm", `1/4"`, point, "1/4 in"},
		{quantity.DimPressure, "bar", "50 psia", point, "!absolute"},
		{quantity.DimRatio, "%", "0.35", point, "!35 %"},
		{quantity.DimRatio, "%", "1", point, "!100 %"},
		{quantity.DimRatio, "%", "0.35 %", point, "0.35 %"},
		{quantity.DimRatio, "%", "0", point, "0 %"},
		{quantity.DimRatio, "%", "35", point, "35 %"},
	} {
		v, err := scale{c.dim, c.unit}.number(c.cell, c.mark)
		got := ""
		if err == nil {
			got = houseText(v)
		}
		if part, refuse := strings.CutPrefix(c.want, "!"); refuse {
			said := ""
			if err != nil {
				said = err.Error()
			}
			if u, ok := err.(*unclear); ok {
				said += u.help
			}
			if err == nil || !strings.Contains(said, part) {
				t.Errorf("%q in [%s]: %q %q, want a refusal with %q", c.cell, c.unit, got, said, part)
			}
			continue
		}
		if err != nil || got != c.want {
			t.Errorf("%q in [%s]: %q %v, want %q", c.cell, c.unit, got, err, c.want)
		}
	}
}

// Dates in many forms, and what they were before.
func TestDates(t *testing.T) {
	for cell, want := range map[string]string{
		"01-Aug": "1/8 in or 1.8", "1-Aug": "1/8 in or 1.8", "8-Jan": "1/8 in or 8.1", "1. Aug": "1/8 in or 1.8", "16-Mar": "3/16 in or 16.3",
		"03. Mrz": "3.3", "1/8/2026": "1/8 in", "01/08/2026": "1/8 in", "3/4/26": "3/4 in", "01.05.2026": "1.5", "2026-08-01": "1/8 in or 1.8",
		"2026-08-01 00:00:00": "1/8 in or 1.8", "Jan-32": "1/32 in or 1.32", "Mai 50": "5.50", "1. Mai 2026": "1.5",
		"3.4": "", "1/8": "", "1/8 in": "", "1 1/4": "", "16 ga": "", "12": "", "1.5 mm": "", "44774": "", "marine": "", "2026": "", "may": "",
	} {
		if got := dated(cell, true); got != want {
			t.Errorf("%q was %q, want %q", cell, got, want)
		}
	}
	for cell, want := range map[string]string{"44774": "1 August 2022", "45660": "3 January 2025", "12000": "", "99999": "", "4477": "", "447745": ""} {
		if day, _ := daySerial(cell); day != want { // 45660 from memory of a spreadsheet; 44774 likewise
			t.Errorf("%s is the day %q, want %q", cell, day, want)
		}
	}
	for cell, ok := range map[string]bool{"0.1": true, "300": true, "301": false, "0.05": false, "-3": false, "44774": false, "12 swg": false, "16 ga": true, "16": true} {
		if _, _, err := thickness(cell, scale{quantity.DimLength, "mm"}, point, "carbon-steel"); (err == nil) != ok {
			t.Errorf("%q mm: %v", cell, err)
		}
	}
	if v, gauge, err := thickness("16", scale{quantity.DimLength, unitGauge}, point, "aluminium"); err != nil || v.Text() != "0.0508 in" || !strings.Contains(gauge, "Brown & Sharpe") {
		t.Errorf("16 in a gauge column: %v %q %v", v, gauge, err)
	}
}

func TestNozzles(t *testing.T) {
	for cell, want := range map[string]string{
		"D1.2": "double 1.2 mm", "1.2 double": "double 1.2 mm", "S 2.0": "single 2.0 mm", "double 1.2 mm": "double 1.2 mm", "2.0S": "single 2.0 mm",
		"Single": "single ", "d": "double ", "1.2 mm": " 1.2 mm", "Ø 1.5 mm": " 1.5 mm", "X1.2": "!", "HK 12": "!", "D": "double ", "1.2": "!", "DS 1.2": "!",
	} {
		form, bore, err := nozzle(cell, scale{dim: quantity.DimLength}, point)
		got := "!"
		if err == nil {
			got = form + " "
			if !bore.IsZero() {
				got += houseText(bore)
			}
		}
		if got != want {
			t.Errorf("%q is %q, want %q (%v)", cell, got, want, err)
		}
	}
}

func TestFormulaProtection(t *testing.T) {
	for _, s := range []string{"=1+1", "+x", "-x", "@x", "'x", "''", "'", "\tx", "＝x", "#REF!", "n/a", "-", "plain", "x=1", "'tis", ""} {
		got := protect(s)
		if back := unprotect(got); back != s {
			t.Errorf("%q is written %q and read %q", s, got, back)
		}
		if strings.HasPrefix(got, "=") || strings.HasPrefix(got, "+") || strings.HasPrefix(got, "-") || strings.HasPrefix(got, "@") {
			t.Errorf("%q is written %q", s, got)
		}
	}
}

func TestColumnNames(t *testing.T) {
	for n, want := range map[int]string{1: "A", 26: "Z", 27: "AA", 52: "AZ", 53: "BA", 702: "ZZ", 703: "AAA"} {
		if got := columnName(n); got != want {
			t.Errorf("column %d is %s, want %s", n, got, want)
		}
	}
}

// What --template prints reads back without a question.
func TestTemplateReadsBack(t *testing.T) {
	var b bytes.Buffer
	if err := Template("bay-2", &b); err != nil {
		t.Fatal(err)
	}
	bare := library(t, emptied(t, dir("../demo/library")))
	imp := Read(b.Bytes(), bare, Options{})
	good(t, imp)
	if len(imp.Changes) != 1 || fmt.Sprint(imp.Changes[0].ID) != "bay-2/carbon-steel/oxygen/3mm" || imp.Changes[0].Status != New {
		t.Errorf("%+v", imp.Changes)
	}
}
