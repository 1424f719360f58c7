package schema

import (
	"crypto/sha256"
	"encoding/hex"
	"reflect"
	"slices"
	"strconv"
	"sync"
	"unicode/utf8"

	"github.com/go-json-experiment/json/jsontext"

	"fettle/schema/quantity"
)

// CanonVersion is the version of the canonical form. It does not follow the format of the files: a new format keeps old digests.
const CanonVersion = 1

// A Digest is the SHA-256 of a canonical form, as 64 hex digits. Equal digest, equal content.
type Digest string

// Short is the digest as screens show it.
func (d Digest) Short() string {
	if len(d) > 12 {
		return string(d[:12])
	}
	return string(d)
}

// DigestOf hashes canonical bytes.
func DigestOf(canonical []byte) Digest {
	sum := sha256.Sum256(canonical)
	return Digest(hex.EncodeToString(sum[:]))
}

// Values is a condition with what its set and the settings say of it: all that makes up the recipe. It is what records keep.
type Values struct {
	Machine     Member[string]        `json:"machine" need:"yes" is:"name" doc:"name of the machine profile"`
	Material    Member[string]        `json:"material" need:"yes" is:"name" doc:"material"`
	Grade       Member[string]        `json:"grade" is:"filled" doc:"grade of the plate"`
	Gas         Member[string]        `json:"gas" need:"yes" is:"name" doc:"gas"`
	Composition Table[quantity.Ratio] `json:"gas_composition" keys:"name" doc:"of a mix of the shop's own"`
	Condition
}

// ID returns the id of the recipe. It is false where the thickness has no finite decimal in mm.
func (v *Values) ID() (ID, bool) { return idOf(v.Machine.V, v.Material.V, v.Gas.V, &v.Condition) }

func idOf(machine, material, gas string, c *Condition) (ID, bool) {
	mm, ok := ThicknessMM(c.Thickness.V)
	id := ID{Machine: machine, Material: material, Gas: gas, Thickness: mm, Variant: c.Variant.V, Process: c.Process.V}
	if id.Process == "cut" {
		id.Process = ""
	}
	return id, ok
}

// Canonical returns the canonical form, canon 1: an RFC 8785 object of everything but notes, each quantity as its exact SI
// value ("17/300 m/s"). Nothing absent is filled in; "process": "cut" is the one default that is left out.
func (v *Values) Canonical() []byte { return v.appendCanonical(make([]byte, 0, 1024)) }

func (v *Values) appendCanonical(b []byte) []byte {
	if v.Process.V == "cut" {
		plain := *v
		plain.Process = Member[string]{}
		v = &plain
	}
	return appendCanonical(b, v)
}

// Digest returns the digest of the canonical form.
func (v *Values) Digest() Digest { return digestOf(func(into *Values) { *into = *v }) }

// digestOf spares the memory that values and their canonical form take, for whoever makes many.
func digestOf(fill func(*Values)) Digest {
	room := digestRoom.Get().(*struct {
		values Values
		text   []byte
	})
	defer digestRoom.Put(room)
	fill(&room.values)
	room.text = room.values.appendCanonical(room.text[:0])
	room.values = Values{}
	return DigestOf(room.text)
}

var digestRoom = sync.Pool{New: func() any {
	return &struct {
		values Values
		text   []byte
	}{}
}}

// canonical writes any struct of this package as an RFC 8785 object, with "canon" among its members.
func canonical(ptr any) []byte { return appendCanonical(make([]byte, 0, 1024), ptr) }

func appendCanonical(b []byte, ptr any) []byte {
	v := reflect.ValueOf(ptr).Elem()
	return appendObject(b, infoOf(v.Type()), v, true)
}

// appendObject writes members in the order of RFC 8785, so that nothing has to be sorted again. Names of the format are ASCII and
// sorted once; those that a shop chooses are sorted in here.
func appendObject(b []byte, info *typeInfo, v reflect.Value, top bool) []byte {
	type member struct {
		name  string
		shape *shape
		value reflect.Value // the zero Value is the version
	}
	var room [24]member
	members := room[:0]
	if top {
		members = append(members, member{name: "canon"})
	}
	for _, i := range info.sorted {
		f := &info.fields[i]
		if value, _, ok := f.value(v); ok && !f.secret {
			members = append(members, member{f.name, f.shape, value})
		}
	}
	if top { // moved to where its name belongs
		for i := 0; i+1 < len(members) && members[i].name > members[i+1].name; i++ {
			members[i], members[i+1] = members[i+1], members[i]
		}
	}
	if info.rest >= 0 {
		f := &info.fields[info.rest]
		rows, _, _ := f.value(v)
		for k := range rows.Len() {
			members = append(members, member{rows.Index(k).Field(0).String(), f.shape.elem, rows.Index(k).Field(2)})
		}
	}
	if info.rest >= 0 {
		slices.SortStableFunc(members, func(a, b member) int { return compareUTF16(a.name, b.name) })
	}
	b = append(b, '{')
	for i, m := range members {
		if i > 0 {
			b = append(b, ',')
		}
		b = append(appendQuoted(b, m.name), ':')
		if m.shape == nil {
			b = strconv.AppendInt(b, CanonVersion, 10)
			continue
		}
		b = appendValue(b, m.shape, m.value)
	}
	return append(b, '}')
}

// compareUTF16 orders names as RFC 8785 §3.2.3 asks: by their UTF-16 code units, which differs from the order of the bytes where
// one name has a character beyond the basic plane.
func compareUTF16(a, b string) int {
	for len(a) > 0 && len(b) > 0 && a[0] == b[0] && a[0] < utf8.RuneSelf {
		a, b = a[1:], b[1:]
	}
	for {
		x, n := utf8.DecodeRuneInString(a)
		y, m := utf8.DecodeRuneInString(b)
		switch {
		case n == 0 || m == 0:
			return n - m
		case x == y:
			a, b = a[n:], b[m:]
			continue
		case (x > 0xffff) != (y > 0xffff): // surrogates lie between U+D800 and U+DFFF
			if x > 0xffff {
				x = 0xd800
			} else {
				y = 0xd800
			}
		}
		return int(x - y)
	}
}

func appendValue(b []byte, sh *shape, v reflect.Value) []byte {
	switch sh.kind {
	case isQuantity:
		b = append(b, '"')
		b = v.Field(0).Addr().Interface().(*quantity.Value).AppendCanonical(b)
		return append(b, '"')
	case isString:
		return appendQuoted(b, v.String())
	case isBool:
		return strconv.AppendBool(b, v.Bool())
	case isInt:
		return strconv.AppendInt(b, v.Int(), 10)
	case isNumber:
		return appendNumber(b, v.Field(0).String())
	case isStruct:
		return appendObject(b, sh.info, v, false)
	case isRaw:
		return appendCanonicalNode(b, v.Interface().(*Node))
	case isTable:
		order := make([]int, v.Len())
		for i := range order {
			order[i] = i
		}
		slices.SortStableFunc(order, func(i, j int) int {
			return compareUTF16(v.Index(i).Field(0).String(), v.Index(j).Field(0).String())
		})
		b = append(b, '{')
		for at, i := range order {
			if at > 0 {
				b = append(b, ',')
			}
			b = appendQuoted(b, v.Index(i).Field(0).String())
			b = append(b, ':')
			b = appendValue(b, sh.elem, v.Index(i).Field(2))
		}
		return append(b, '}')
	case isList:
		b = append(b, '[')
		for i := range v.Len() {
			if i > 0 {
				b = append(b, ',')
			}
			b = appendValue(b, sh.elem, v.Index(i))
		}
		return append(b, ']')
	}
	panic("schema: unknown shape")
}

// appendNumber writes a number as RFC 8785 §3.2.2.3 does.
func appendNumber(b []byte, text string) []byte {
	if n, err := strconv.ParseInt(text, 10, 54); err == nil && text == strconv.FormatInt(n, 10) {
		return append(b, text...)
	}
	number := jsontext.Value(text)
	if err := number.Canonicalize(); err != nil {
		panic("schema: " + text + " is no number: " + err.Error())
	}
	return append(b, number...)
}

// appendCanonicalNode writes a tree as RFC 8785 does. A name that stands twice, which the reader has reported, stays there twice.
func appendCanonicalNode(b []byte, n *Node) []byte {
	switch n.Kind {
	case Object:
		var room [24]*Node
		kids := append(room[:0], n.Kids...)
		slices.SortStableFunc(kids, func(a, b *Node) int { return compareUTF16(a.Key, b.Key) })
		b = append(b, '{')
		for i, kid := range kids {
			if i > 0 {
				b = append(b, ',')
			}
			b = append(appendQuoted(b, kid.Key), ':')
			b = appendCanonicalNode(b, kid)
		}
		return append(b, '}')
	case Array:
		b = append(b, '[')
		for i, kid := range n.Kids {
			if i > 0 {
				b = append(b, ',')
			}
			b = appendCanonicalNode(b, kid)
		}
		return append(b, ']')
	case Digits:
		return appendNumber(b, n.Text)
	}
	return appendNode(b, n)
}

// appendNode writes a tree without white space, in file order.
func appendNode(b []byte, n *Node) []byte {
	switch n.Kind {
	case Object, Array:
		b = append(b, byte(n.Kind))
		for i, kid := range n.Kids {
			if i > 0 {
				b = append(b, ',')
			}
			if n.Kind == Object {
				b = append(appendQuoted(b, kid.Key), ':')
			}
			b = appendNode(b, kid)
		}
		return append(b, byte(n.Kind)+2) // } is { + 2, ] is [ + 2
	case String:
		return appendQuoted(b, n.Text)
	case Digits:
		return append(b, n.Text...)
	case True:
		return append(b, "true"...)
	case False:
		return append(b, "false"...)
	}
	return append(b, "null"...)
}

// isPlain is true of a text that stands in quotes as it is.
func isPlain(s string) bool {
	for i := range len(s) {
		if c := s[i]; c < ' ' || c >= 0x7f || c == '"' || c == '\\' {
			return false
		}
	}
	return true
}

func appendQuoted(b []byte, s string) []byte {
	if isPlain(s) {
		b = append(append(b, '"'), s...)
		return append(b, '"')
	}
	b, err := jsontext.AppendQuote(b, s)
	if err != nil { // invalid UTF-8 never passes the parser; what fettle makes itself is valid
		panic("schema: " + err.Error())
	}
	return b
}
