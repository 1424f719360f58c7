package schema

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// The pattern of a time takes exactly the times that the calendar has: package time is asked about days, real or not, of years of every
// sort, about every 29 February, and about every hour, minute and second.
func TestTimesAreThoseOfTheCalendar(t *testing.T) {
	match := forms()["time"].match
	check := func(text string) {
		if _, err := time.Parse(time.RFC3339, text); match(text) != (err == nil) {
			t.Errorf("%s: the pattern says %v, package time %v", text, match(text), err)
		}
	}
	for _, year := range []int{0, 4, 1900, 1996, 2000, 2023, 2024, 2026, 2096, 2100, 2104, 2200, 2300, 2400, 9996, 9999} {
		for month := range 14 {
			for day := range 33 {
				check(fmt.Sprintf("%04d-%02d-%02dT12:00:00Z", year, month, day))
			}
		}
	}
	for year := range 10000 {
		check(fmt.Sprintf("%04d-02-29T12:00:00Z", year))
	}
	for n := range 100 {
		check(fmt.Sprintf("2026-07-14T%02d:00:00Z", n))
		check(fmt.Sprintf("2026-07-14T00:%02d:00Z", n))
		check(fmt.Sprintf("2026-07-14T00:00:%02dZ", n))
	}
	// Right by RFC 3339, and still not the one way in which a record says it.
	for _, text := range []string{"2026-07-14T09:12:05+00:00", "2026-07-14T09:12:05.0Z", "2026-07-14t09:12:05z"} {
		if match(text) {
			t.Errorf("%s is taken", text)
		}
	}
}

// Units for screens are those that a quantity can be shown in.
func TestDisplayUnits(t *testing.T) {
	for name, unit := range map[string]string{"length": "in", "speed": "in/min", "pressure": "psi", "power": "W", "time": "ms", "frequency": "kHz", "flow": "L/min"} {
		var d Display
		good := object(withKey(name, Text(unit)))
		if problems := Bind(good, &d); len(problems) > 0 || len(d.Prefs()) != 1 {
			t.Errorf("%s in %s: %+v, %v", name, unit, problems, d.Prefs())
		}
		if problems := Bind(object(withKey(name, Text("furlong"))), &d); len(problems) != 1 {
			t.Errorf("%s in furlongs: %+v", name, problems)
		}
	}
}

// What is taken without asking the pattern keeps to the pattern.
func TestFormsArePlainlyWhatTheirPatternsSay(t *testing.T) {
	good := map[string]string{"name": "bay-2", "digest": strings.Repeat("0123456789abcdef", 4), "id32": strings.Repeat("0123456789abcdef", 2),
		"time": "2026-07-14T09:12:05Z", "line": "S355J2 +N", "filled": "S355J2 +N"}
	pieces := []string{"", "-", "--", "0", "9", "a", "z", "A", "g", " ", "\n", "\x7f", "\x1f", "µ", "T", "Z", ":", "29", "31", "60", "00", "13"}
	for name, f := range forms() {
		if f.plainly == nil {
			continue
		}
		if !f.plainly(good[name]) {
			t.Errorf("%s: %q is not taken plainly", name, good[name])
		}
		rapid.Check(t, func(t *rapid.T) {
			s := good[name]
			for range rapid.IntRange(0, 3).Draw(t, "edits") {
				at := rapid.IntRange(0, len(s)).Draw(t, "at")
				end := min(len(s), at+rapid.IntRange(0, 3).Draw(t, "length"))
				s = s[:at] + rapid.SampledFrom(pieces).Draw(t, "piece") + s[end:]
			}
			if pattern, _ := f.regexps(); f.plainly(s) && !pattern.MatchString(s) {
				t.Fatalf("%s: %q is taken plainly, and the pattern does not take it", name, s)
			}
		})
	}
}
