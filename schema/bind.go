package schema

import (
	"errors"
	"fmt"
	"reflect"
	"regexp"
	"strconv"
	"strings"
	"sync"

	"fettle/schema/quantity"
)

// Bind reads the object n into the struct that into points to and returns every problem it meets. What could be read is kept,
// so that a file with one bad value is still judged for the rest.
func Bind(n *Node, into any) []Problem {
	errs := &problems{}
	errs.bind(n, into)
	return errs.sorted()
}

func (p *problems) bind(n *Node, into any) {
	v := reflect.ValueOf(into).Elem()
	n = unpacked(n)
	if n.Kind != Object {
		p.here(RuleBadValue, n.At, fmt.Sprintf("found %s where an object belongs", n.Kind.Words()), "")
		return
	}
	p.object(infoOf(v.Type()), v, n)
}

func (p *problems) object(info *typeInfo, v reflect.Value, n *Node) {
	var room [32]bool
	seen := append(room[:0], make([]bool, len(info.fields))...)
	next := 0 // most files have the members in the order of the format
	for _, kid := range n.Kids {
		if kid.again { // reported by the parser; the first counts
			continue
		}
		at, ok := info.named(kid.Key, next)
		p.trail = append(p.trail, place{kid.Key, -1})
		switch {
		case ok:
			seen[at], next = true, at+1
			f := &info.fields[at]
			p.field(f, v.FieldByIndex(f.index), kid)
		case !ok && info.rest >= 0 && (info.fields[info.rest].rest == "*" || strings.HasSuffix(kid.Key, info.fields[info.rest].rest)):
			f := &info.fields[info.rest]
			p.row(&f.spec, f.shape, v.FieldByIndex(f.index), kid)
		case !ok:
			help := ""
			if p.count < MaxProblems { // else it is not told, and looking for the nearest name takes time
				help = info.suggest(kid.Key)
			}
			p.here(RuleUnknownField, kid.KeyAt, fmt.Sprintf("%q is not a member here", kid.Key), help)
		}
		p.trail = p.trail[:len(p.trail)-1]
	}
	for i, f := range info.fields {
		if f.need && !seen[i] {
			p.trail = append(p.trail, place{f.name, -1})
			p.here(RuleMissingField, Span{n.At.Start, n.At.Start + 1}, fmt.Sprintf("%q is missing", f.name), f.doc)
			p.trail = p.trail[:len(p.trail)-1]
		}
	}
}

// named returns the number of the field called key, which is likely the one given or soon behind it.
func (info *typeInfo) named(key string, likely int) (int, bool) {
	for at := likely; at < min(likely+4, len(info.fields)); at++ {
		if f := &info.fields[at]; f.name == key && f.rest == "" {
			return at, true
		}
	}
	at, ok := info.byName[key]
	return at, ok
}

func (info *typeInfo) suggest(key string) string {
	names := make([]string, 0, len(info.fields))
	for _, f := range info.fields {
		if f.rest == "" && f.name != "$schema" {
			names = append(names, f.name)
		}
	}
	if near := Nearest(key, names); near != "" {
		return fmt.Sprintf("Did you mean %q?", near)
	}
	return "Known here: " + strings.Join(names, ", ") + "."
}

func (p *problems) field(f *fieldInfo, v reflect.Value, n *Node) {
	if !f.member {
		p.value(&f.spec, f.shape, v, n)
		return
	}
	at := n.At
	if at.IsZero() {
		at = Made // a tree that was made and never stood in a file
	}
	place := v.Field(1).Addr().Interface().(*Span)
	if n.Kind == Null && f.null {
		*place = at
		return
	}
	before := p.count
	p.value(&f.spec, f.shape, v.Field(0), n)
	if p.count == before || f.shape.kind >= isStruct { // a leaf with a problem stays absent: no rule may judge a value nobody wrote
		*place = at
	}
}

func (p *problems) value(sp *spec, sh *shape, v reflect.Value, n *Node) {
	switch sh.kind {
	case isQuantity:
		p.quantity(sh, v, n)
	case isRaw:
		if p.spare != nil && p.file != "" && n.Kind == Object {
			v.Set(reflect.ValueOf(packed(n, p.file)))
			return
		}
		v.Set(reflect.ValueOf(copied(n)))
	case isString:
		if p.expect(n, String, "a string") && p.text(sp, n) {
			v.SetString(p.spare.own(n.Text))
		}
	case isBool:
		if n.Kind != True && n.Kind != False {
			p.here(RuleBadValue, n.At, fmt.Sprintf("found %s; expected true or false", n.Kind.Words()), "")
			return
		}
		v.SetBool(n.Kind == True)
	case isInt:
		float, err := strconv.ParseFloat(n.Text, 64) // 1.0 and 1e0 are whole, too: JSON has one sort of numbers
		whole := int(max(-1, min(float, 1e10)))
		if n.Kind != Digits || err != nil || float != float64(whole) || whole < sp.from || whole > sp.to {
			p.here(RuleBadValue, n.At, fmt.Sprintf("found %s; expected a whole number from %d to %d without quotes", found(n), sp.from, sp.to), "")
			return
		}
		v.SetInt(int64(whole))
	case isNumber:
		float, err := strconv.ParseFloat(n.Text, 64)
		if n.Kind != Digits || err != nil || float < float64(sp.from) || float > float64(sp.to) {
			p.here(RuleBadValue, n.At, fmt.Sprintf("found %s; expected a plain number from %d to %d without quotes", found(n), sp.from, sp.to), "")
			return
		}
		v.Set(reflect.ValueOf(Number{p.spare.own(n.Text), float}))
	case isStruct:
		if p.expect(n, Object, "an object") {
			p.object(sh.info, v, n)
		}
	case isTable:
		if !p.expect(n, Object, "an object") {
			return
		}
		for _, kid := range n.Kids {
			if kid.again {
				continue
			}
			p.trail = append(p.trail, place{kid.Key, -1})
			p.row(sp, sh, v, kid)
			p.trail = p.trail[:len(p.trail)-1]
		}
	case isList:
		p.items(sp, sh, v, n)
	}
}

func (p *problems) row(sp *spec, sh *shape, v reflect.Value, n *Node) {
	row := reflect.New(sh.typ.Elem()).Elem()
	row.Field(0).SetString(p.spare.own(n.Key))
	row.Field(1).Set(reflect.ValueOf(n.KeyAt))
	row.Field(3).Set(reflect.ValueOf(n.At))
	before := p.count
	if keys, ok := forms()[sp.keys]; ok && !keys.match(n.Key) {
		p.here(RuleBadValue, n.KeyAt, fmt.Sprintf("found the name %q; expected %s", n.Key, keys.words), keys.help)
	}
	p.value(&spec{one: sp.one, from: sp.from, to: sp.to, keys: sp.keys}, sh.elem, row.Field(2), n)
	if p.count == before || sh.elem.kind >= isStruct {
		v.Set(reflect.Append(v, row))
	}
}

func (p *problems) items(sp *spec, sh *shape, v reflect.Value, n *Node) {
	if !p.expect(n, Array, "a list") {
		return
	}
	if sp.size > 0 && len(n.Kids) != sp.size {
		p.here(RuleBadValue, n.At, fmt.Sprintf("found a list of %d; expected %d items", len(n.Kids), sp.size), "")
		return
	}
	list := reflect.MakeSlice(sh.typ, len(n.Kids), len(n.Kids))
	for i, kid := range n.Kids {
		p.trail = append(p.trail, place{index: i})
		p.value(sp, sh.elem, list.Index(i), kid)
		p.trail = p.trail[:len(p.trail)-1]
	}
	v.Set(list)
}

func (p *problems) expect(n *Node, kind Kind, words string) bool {
	if n.Kind == kind {
		return true
	}
	p.here(RuleBadValue, n.At, fmt.Sprintf("found %s; expected %s", found(n), words), "")
	return false
}

func found(n *Node) string {
	switch n.Kind {
	case Digits:
		return n.Text
	case String:
		return strconv.Quote(n.Text)
	}
	return n.Kind.Words()
}

func (p *problems) quantity(sh *shape, v reflect.Value, n *Node) {
	switch n.Kind {
	case String:
	case Digits:
		p.here(RuleBareNumber, n.At, fmt.Sprintf("%s has no unit; %s is text with its unit", n.Text, sh.dim), fmt.Sprintf("Write it like %q.", sh.dim.Example()))
		return
	default:
		p.here(RuleBadValue, n.At, fmt.Sprintf("found %s; expected %s such as %q", found(n), sh.dim, sh.dim.Example()), "")
		return
	}
	last := p.last(sh.dim, n.Text)
	if last.Dimension() == sh.dim && last.Text() == n.Text {
		*v.Field(0).Addr().Interface().(*quantity.Value) = *last
		return
	}
	err := v.Addr().Interface().(quantity.Setter).Set(p.spare.own(n.Text))
	if err == nil {
		*last = *v.Field(0).Addr().Interface().(*quantity.Value)
		return
	}
	var bad *quantity.Error
	if !errors.As(err, &bad) {
		p.here(RuleBadValue, n.At, err.Error(), "")
		return
	}
	rule := RuleBadValue
	switch bad.Kind {
	case quantity.BareNumber:
		rule = RuleBareNumber
	case quantity.UnknownUnit:
		rule = RuleUnknownUnit
	case quantity.WrongDimension:
		rule = RuleWrongDimension
	}
	p.here(rule, n.At, bad.Message(), bad.Help())
}

// last is the place for what was read last of some texts, this one among them: most quantities of a set stand in it many times.
func (p *problems) last(dim quantity.Dimension, text string) *quantity.Value {
	if p.lately == nil {
		p.lately = new([64]quantity.Value)
	}
	at := uint(dim)
	for i := range len(text) {
		at = at*31 + uint(text[i])
	}
	return &p.lately[(at^at>>6)%uint(len(p.lately))]
}

// text checks a string against the words or the form that its tag asks for.
func (p *problems) text(sp *spec, n *Node) bool {
	if sp.one != nil {
		for _, word := range sp.one {
			if n.Text == word {
				return true
			}
		}
		help := "One of: " + strings.Join(sp.one, ", ") + "."
		if near := Nearest(n.Text, sp.one); near != "" {
			help = fmt.Sprintf("Did you mean %q? ", near) + help
		}
		p.here(RuleBadValue, n.At, fmt.Sprintf("%q is not a word known here", n.Text), help)
		return false
	}
	form, ok := forms()[sp.form]
	if !ok || form.match(n.Text) {
		return true
	}
	p.here(RuleBadValue, n.At, fmt.Sprintf("found %q; expected %s", n.Text, form.words), form.help)
	return false
}

// A form is a pattern that strings of one sort keep to. The pattern goes into the published JSON Schemas as it stands.
type form struct {
	pattern, words, help string
	not                  string            // a pattern of exceptions, or ""
	plainly              func(string) bool // true only of what keeps to the pattern, and soon said; may be nil
	regexps              func() (pattern, not *regexp.Regexp)
}

// match reports whether a string has the form.
func (f *form) match(s string) bool {
	if f.plainly != nil && f.plainly(s) {
		return true
	}
	pattern, not := f.regexps()
	return pattern.MatchString(s) && (not == nil || !not.MatchString(s))
}

// namePattern is what names of machines, materials, gases and variants look like.
const namePattern = `^[a-z0-9]+(-[a-z0-9]+)*$`

// timePattern is RFC 3339 in UTC with whole seconds, the one way fettle writes a time into a record, and takes only days that
// the calendar has.
const timePattern = `^(?:[0-9]{4}-(?:(?:0[13578]|1[02])-(?:0[1-9]|[12][0-9]|3[01])|(?:0[469]|11)-(?:0[1-9]|[12][0-9]|30)|02-(?:0[1-9]|1[0-9]|2[0-8]))` +
	`|(?:[0-9]{2}(?:0[48]|[2468][048]|[13579][26])|(?:[02468][048]|[13579][26])00)-02-29)` +
	`T(?:[01][0-9]|2[0-3]):[0-5][0-9]:[0-5][0-9]Z$`

// Patterns of ids and families, made of that of names.
var (
	nameInside    = strings.Trim(namePattern, "^$")
	familyPattern = `^` + nameInside + `(/` + nameInside + `){2,4}$`
	idPattern     = `^(` + nameInside + `/){3}` + thicknessInside + `(/` + nameInside + `)?(/(` + strings.Join(Processes[1:], "|") + `))?$`
	// notID is what idPattern lets through and [ParseID] does not: the process cut, which stays unsaid, and a variant called as a process.
	notID = `^([^/]+/){4}(cut$|(` + strings.Join(Processes, "|") + `)/)`
)

var forms = sync.OnceValue(func() map[string]*form {
	table := map[string]*form{
		"name":   {pattern: namePattern, plainly: plainName, words: "a name of a-z, 0-9 and hyphens", help: "Names stand in ids and file names, so they are kept plain."},
		"digest": {pattern: `^[0-9a-f]{64}$`, plainly: func(s string) bool { return len(s) == 64 && only(s, isHex) }, words: "a digest of 64 hex digits"},
		"id32":   {pattern: `^[0-9a-f]{32}$`, plainly: func(s string) bool { return len(s) == 32 && only(s, isHex) }, words: "an identity of 32 hex digits", help: "fettle init makes one."},
		"time":   {pattern: timePattern, plainly: plainTime, words: `a time in UTC such as "2026-07-14T09:12:05Z"`},
		"id":     {pattern: idPattern, not: notID, words: `an id such as "bay-2/carbon-steel/oxygen/3mm"`},
		"family": {pattern: familyPattern, words: `a family such as "bay-2/carbon-steel/oxygen"`},
		"line":   {pattern: `^[^\x00-\x1f\x7f]*$`, plainly: func(s string) bool { return only(s, isPrinted) }, words: "one line of text without control characters"},
		"filled": {pattern: `^[^\x00-\x1f\x7f]*[^\x00-\x20\x7f][^\x00-\x1f\x7f]*$`, plainly: func(s string) bool { return s != "" && s[0] != ' ' && only(s, isPrinted) }, words: "one line of text that is not empty"},
	}
	for _, f := range table {
		f.regexps = sync.OnceValues(func() (pattern, not *regexp.Regexp) {
			if f.not != "" {
				not = regexp.MustCompile(f.not)
			}
			return regexp.MustCompile(f.pattern), not
		})
	}
	return table
})

func only(s string, is func(byte) bool) bool {
	for i := range len(s) {
		if !is(s[i]) {
			return false
		}
	}
	return true
}

func isDigit(c byte) bool   { return '0' <= c && c <= '9' }
func isHex(c byte) bool     { return isDigit(c) || 'a' <= c && c <= 'f' }
func isPrinted(c byte) bool { return ' ' <= c && c < 0x7f }

func plainName(s string) bool {
	for i := range len(s) {
		switch c := s[i]; {
		case isDigit(c), 'a' <= c && c <= 'z':
		case c != '-' || i == 0 || i == len(s)-1 || s[i-1] == '-':
			return false
		}
	}
	return s != ""
}

// plainTime takes the days that every month has.
func plainTime(s string) bool {
	const like = "0000-00-00T00:00:00Z"
	if len(s) != len(like) {
		return false
	}
	for i := range len(s) {
		if like[i] == '0' && !isDigit(s[i]) || like[i] != '0' && s[i] != like[i] {
			return false
		}
	}
	month, day := s[5:7], s[8:10]
	return "01" <= month && month <= "12" && "01" <= day && day <= "28" && s[11:13] <= "23" && s[14:16] <= "59" && s[17:19] <= "59"
}
