package schema

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"sync"

	"fettle/schema/quantity"
)

// An ID names one condition: machine/material/gas/thickness[/variant][/process], thickness in mm: bay-2/carbon-steel/oxygen/3mm.
// The process stands in it only where it is not cut. IDs are comparable.
type ID struct {
	Machine, Material, Gas string
	Thickness              string // in mm, a finite decimal without unit: 3.175
	Variant, Process       string // Process is "" for cut
}

// String returns the id as it is written.
func (id ID) String() string {
	s := id.Machine + "/" + id.Material + "/" + id.Gas + "/" + id.Thickness + "mm"
	if id.Variant != "" {
		s += "/" + id.Variant
	}
	if id.Process != "" {
		s += "/" + id.Process
	}
	return s
}

// Apart is the id that holds on to nothing of the file that it was read from.
func (id ID) Apart() ID {
	own, err := ParseID(id.String())
	if err != nil {
		return id
	}
	return own
}

// Family names the conditions that trends are judged on: all of one set, variant and process.
func (id ID) Family() string {
	id.Thickness = ""
	return strings.Replace(id.String(), "/mm", "", 1)
}

// SameFamily reports whether two conditions are of one family.
func (id ID) SameFamily(other ID) bool {
	id.Thickness = other.Thickness
	return id == other
}

const thicknessInside = `(0|[1-9][0-9]*)(\.[0-9]*[1-9])?mm`

var thicknessPattern = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^` + thicknessInside + `$`) })

// ParseID reads a whole id. Short forms are resolved where the candidates are known, not here.
func ParseID(s string) (ID, error) {
	parts := strings.Split(s, "/")
	name := forms()["name"]
	if len(parts) < 4 || len(parts) > 6 {
		return ID{}, fmt.Errorf("%q is not an id; an id reads machine/material/gas/thickness, such as bay-2/carbon-steel/oxygen/3mm", s)
	}
	for i, part := range parts {
		if i == 3 && !thicknessPattern().MatchString(part) {
			return ID{}, fmt.Errorf("%q in %q is not a thickness in mm, such as 3mm or 3.175mm", part, s)
		}
		if i != 3 && !name.match(part) {
			return ID{}, fmt.Errorf("%q in %q is not %s", part, s, name.words)
		}
	}
	id := ID{Machine: parts[0], Material: parts[1], Gas: parts[2], Thickness: strings.TrimSuffix(parts[3], "mm")}
	rest := parts[4:]
	if len(rest) > 0 && slices.Contains(Processes, rest[len(rest)-1]) {
		id.Process = rest[len(rest)-1]
		rest = rest[:len(rest)-1]
	}
	if len(rest) > 1 || id.Process == "cut" {
		return ID{}, fmt.Errorf("%q is not an id: behind the thickness come a variant and a process other than cut (%s)", s, strings.Join(Processes[1:], ", "))
	}
	if len(rest) == 1 {
		id.Variant = rest[0]
	}
	if slices.Contains(Processes, id.Variant) {
		return ID{}, fmt.Errorf("%q is not an id: %q is the name of a process and not of a variant", s, id.Variant)
	}
	return id, nil
}

// Compare orders ids by machine, material, gas, process, variant and then by thickness as a number.
func (id ID) Compare(other ID) int {
	for _, pair := range [][2]string{{id.Machine, other.Machine}, {id.Material, other.Material}, {id.Gas, other.Gas},
		{id.Process, other.Process}, {id.Variant, other.Variant}} {
		if c := strings.Compare(pair[0], pair[1]); c != 0 {
			return c
		}
	}
	return compareDecimals(id.Thickness, other.Thickness)
}

// compareDecimals orders decimals without sign or needless zeros.
func compareDecimals(a, b string) int {
	aInt, aFrac, _ := strings.Cut(a, ".")
	bInt, bFrac, _ := strings.Cut(b, ".")
	if len(aInt) != len(bInt) {
		return len(aInt) - len(bInt)
	}
	if c := strings.Compare(aInt, bInt); c != 0 {
		return c
	}
	return strings.Compare(aFrac, bFrac)
}

// ThicknessMM writes a thickness as ids do. It is false where the thickness is no finite decimal in mm (1/3 in).
func ThicknessMM(t quantity.Length) (string, bool) { return t.Decimal("mm") }
