package table

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"fettle/schema/quantity"
)

// months by the first letters of their names, English and German.
var months = map[string]int{"jan": 1, "feb": 2, "mar": 3, "mär": 3, "mrz": 3, "apr": 4, "may": 5, "mai": 5, "jun": 6, "jul": 7, "aug": 8,
	"sep": 9, "oct": 10, "okt": 10, "nov": 11, "dec": 12, "dez": 12}

const monthNames = `(jan|feb|mar|mär|mrz|apr|may|mai|jun|jul|aug|sep|oct|okt|nov|dec|dez)[a-zä]*`

// Dates as spreadsheets write them into a CSV.
var (
	dayMonth  = pattern(`^(\d{1,2})[-. /]{1,2}` + monthNames + `\.?(?:[-. /]{1,2}\d{2,4})?$`) // 01-Aug, 1. Mai 2026
	monthDay  = pattern(`^` + monthNames + `\.?[-. /]{1,2}(\d{1,2})(?:,? \d{4})?$`)           // Aug-01, Jan-32
	allDigits = pattern(`^(\d{1,2})[/.-](\d{1,2})[/.-](\d{4}|\d{2})(?: 0?0:00(?::00)?)?$`)    // 1/8/2026, 01.08.26
	isoDate   = pattern(`^\d{4}-(\d{2})-(\d{2})(?:[ T]00:00(?::00)?)?$`)
	serial    = pattern(`^\d{5}(?:\.0+)?$`)
)

// Days of the serial numbers of spreadsheets (day 1 is 1 January 1900, with the day that year did not have) for 1970 to 2100.
const (
	firstSerial = 25569
	lastSerial  = 73415
)

// dated returns what a cell probably was before a spreadsheet turned it into a date: "1/8 in or 1.8"; "" where it is no date.
// Fractions are named only where inches can stand.
func dated(cell string, fractions bool) string {
	if _, _, number := plainNumber(cell); number {
		return ""
	}
	text := strings.ToLower(blanks(cell))
	number := func(s string) int { n, _ := strconv.Atoi(s); return n }
	if m := dayMonth().FindStringSubmatch(text); m != nil {
		return dayAnd(number(m[1]), months[m[2]], fractions)
	}
	if m := isoDate().FindStringSubmatch(text); m != nil {
		return dayAnd(number(m[2]), number(m[1]), fractions)
	}
	if m := monthDay().FindStringSubmatch(text); m != nil {
		month, n := months[m[1]], number(m[2])
		return candidates([][2]int{{month, n}}, [2]int{month, n}, fractions)
	}
	if m := allDigits().FindStringSubmatch(text); m != nil { // in the order in which it was typed, in every country
		a, b := number(m[1]), number(m[2])
		out := candidates([][2]int{{a, b}, {b, a}}, [2]int{a, b}, fractions)
		if fraction, _, ok := strings.Cut(out, " or "); ok && strings.Contains(text, "/") {
			return fraction
		}
		return out
	}
	return ""
}

// dayAnd is a day and a month: typed as month/day or day/month by the country of the spreadsheet, or as day.month.
func dayAnd(day, month int, fractions bool) string {
	return candidates([][2]int{{month, day}, {day, month}}, [2]int{day, month}, fractions)
}

// candidates names what two numbers can have been.
func candidates(pairs [][2]int, decimal [2]int, fractions bool) string {
	var out []string
	for _, p := range pairs {
		if fractions && p[0] < p[1] && p[0]%2 == 1 && slices.Contains([]int{2, 4, 8, 16, 32, 64}, p[1]) {
			out = append(out, fmt.Sprintf("%d/%d in", p[0], p[1]))
		}
	}
	return strings.Join(append(out, fmt.Sprintf("%d.%d", decimal[0], decimal[1])), " or ")
}

// daySerial reads a whole number as the day that spreadsheets count, and returns the day and what was probably typed.
func daySerial(cell string) (day, was string) {
	if !serial().MatchString(cell) {
		return "", ""
	}
	n, _ := strconv.Atoi(cell[:5])
	if n < firstSerial || n > lastSerial {
		return "", ""
	}
	date := time.Date(1899, 12, 30, 0, 0, 0, 0, time.UTC).AddDate(0, 0, n)
	return date.Format("2 January 2006"), dayAnd(date.Day(), int(date.Month()), true)
}

// Plate that lasers cut lies between these, in m; a number outside is a slip or a day.
const (
	thinnest = 0.1e-3
	thickest = 0.3
)

// thickness reads a thickness: what [scale.number] reads, and gauge numbers of sheet. It refuses what cannot be plate.
func thickness(cell string, s scale, m mark, material string) (v quantity.Value, gauge string, err error) {
	text := blanks(cell)
	if whole, _, number := plainNumber(text); number && s.unit != unitGauge && len(whole) < 5 {
		return s.inReach(s.number(cell, m))
	}
	if g, ok := gaugeNumber(text, s.unit == unitGauge); ok {
		v, source, err := sheetGauge(g, material)
		if err != nil {
			return v, "", err
		}
		return v, fmt.Sprintf("%s gauge of %s is %s (%s)", g, material, v.Text(), source), nil
	}
	if other := otherGauge().FindString(text); other != "" {
		return v, "", unclearf("Write the thickness in mm or inches.", "%s is a gauge number of another system than that of sheet", quote(cell))
	}
	if s.unit == unitGauge {
		s.unit = ""
		if bare().MatchString(text) {
			return v, "", unclearf("Gauge numbers are whole. Write the thickness with its unit, such as \"0.06 in\".", "%s is no gauge number", quote(cell))
		}
	}
	v, err = s.number(cell, m)
	if day, was := daySerial(text); day != "" && (err != nil || v.SI() > thickest) {
		return quantity.Value{}, "", unclearf("Format the column as text, type the thickness again, and save the sheet.", "%s is how spreadsheets count the day %s; it was probably %s", quote(cell), day, was)
	}
	return s.inReach(v, err)
}

// inReach refuses what cannot be plate.
func (s scale) inReach(v quantity.Value, err error) (quantity.Value, string, error) {
	if err != nil {
		return v, "", err
	}
	if si := v.SI(); si < thinnest || si > thickest {
		return quantity.Value{}, "", unclearf("Check the number and its unit.", "%s is no thickness of plate; from 0.1 to 300 mm is read", houseText(v))
	}
	return v, "", nil
}
