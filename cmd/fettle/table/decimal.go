package table

import (
	"fmt"
	"strings"
)

// A mark is what parts the decimals of the numbers in a sheet.
type mark uint8

const (
	noMark mark = iota // whole numbers only
	point
	comma
)

// decimals is how the numbers of a sheet are written, found from all its number cells together: one cell such as 1,500 can be
// read in two ways, its neighbours decide.
type decimals struct {
	mark  mark
	at    Place // the first cell that shows it
	head  string
	text  string
	cells int
}

// String says it for people.
func (d decimals) String() string {
	switch d.mark {
	case point:
		return "decimal point"
	case comma:
		return "decimal comma"
	}
	return "whole numbers only"
}

// Numbers at the beginning of a cell, without their sign.
var (
	sureComma  = pattern(`^(?:\d+,\d+|\d{1,3}(?:\.\d{3})+,\d+)$`)
	surePoint  = pattern(`^(?:\d*\.\d+|\d{1,3}(?:,\d{3})+\.\d+)$`)
	maybeComma = pattern(`^[1-9]\d{0,2},\d{3}$`)
	maybePoint = pattern(`^[1-9]\d{0,2}\.\d{3}$`)
	numberHead = pattern(`^\s*(?:[sSdDøØ]|single|double)?\s*[-+−–]?\s*([\d.,]+)`)
)

// findDecimals judges all number cells. asked is what --decimal says.
func findDecimals(rows []gridRow, cols []column, separator rune, asked string, out *findings) decimals {
	var sure, maybe [3]decimals
	head := ""
	count := func(d *decimals, m mark, at Place, text string) {
		if d.cells == 0 {
			*d = decimals{mark: m, at: at, head: head, text: text}
		}
		d.cells++
	}
	for _, row := range rows {
		for _, c := range cols {
			if !c.numeric() {
				continue
			}
			cell := trim(row.cell(c.index))
			at := Place{row.number, c.index + 1}
			head = c.header
			if whole, decimals, number := plainNumber(cell); number {
				switch {
				case decimals == "":
				case len(decimals) == 3 && len(whole) <= 3 && whole[0] != '0':
					count(&maybe[point], point, at, cell)
				default:
					count(&sure[point], point, at, cell)
				}
				continue
			}
			m := numberHead().FindStringSubmatch(cell)
			if m == nil || dated(cell, c.path == colThick) != "" {
				continue
			}
			switch number := m[1]; {
			case maybeComma().MatchString(number):
				count(&maybe[comma], comma, at, cell)
			case maybePoint().MatchString(number):
				count(&maybe[point], point, at, cell)
			case sureComma().MatchString(number):
				count(&sure[comma], comma, at, cell)
			case surePoint().MatchString(number):
				count(&sure[point], point, at, cell)
			}
		}
	}
	return weigh(separator, sure, maybe, asked, out)
}

func weigh(separator rune, sure, maybe [3]decimals, asked string, out *findings) decimals {
	switch asked {
	case "comma", "point":
		m := map[string]mark{"comma": comma, "point": point}[asked]
		if sure[m].cells > 0 {
			return sure[m]
		}
		return decimals{mark: m, at: maybe[m].at, text: maybe[m].text, cells: maybe[m].cells}
	}
	switch {
	case sure[comma].cells > 0 && sure[point].cells > 0:
		few, many := sure[comma], sure[point]
		if few.cells > many.cells {
			few, many = many, few
		}
		out.problem(few.at, few.head, fmt.Sprintf("Write all numbers in one way. %d cells have a %s, %d a %s.", many.cells, many, few.cells, few),
			"%s has a %s, but %s in %s has a %s", quote(few.text), few, quote(many.text), many.at, many)
		return many
	case sure[comma].cells > 0:
		return sure[comma]
	case sure[point].cells > 0:
		return sure[point]
	case maybe[comma].cells > 0:
		out.problem(maybe[comma].at, maybe[comma].head, "Say which: --decimal comma or --decimal point", "%s can be %s or %s, and no other cell shows what the comma means",
			quote(maybe[comma].text), strings.Replace(maybe[comma].text, ",", ".", 1), strings.Replace(maybe[comma].text, ",", "", 1))
		return decimals{}
	case maybe[point].cells > 0 && separator == ';':
		out.problem(maybe[point].at, maybe[point].head, "Say which: --decimal comma or --decimal point", "%s can be %s or %s: the sheet parts its cells by semicolons, as programs do that use a decimal comma",
			quote(maybe[point].text), maybe[point].text, strings.Replace(maybe[point].text, ".", "", 1))
		return decimals{}
	}
	return maybe[point]
}

// numeric reports whether the cells of a column hold numbers.
func (c *column) numeric() bool {
	return c.path != "" && !c.skip && (c.path == colNozzle || c.leaf.path != "" && c.leaf.kind == isQuantity)
}
