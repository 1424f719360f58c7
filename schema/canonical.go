package schema

import (
	"crypto/sha256"
	"encoding/hex"
	"reflect"
	"strconv"

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
func (v *Values) ID() (ID, bool) {
	mm, ok := ThicknessMM(v.Thickness.V)
	id := ID{Machine: v.Machine.V, Material: v.Material.V, Gas: v.Gas.V, Thickness: mm, Variant: v.Variant.V, Process: v.Process.V}
	if id.Process == "cut" {
		id.Process = ""
	}
	return id, ok
}

// Canonical returns the canonical form, canon 1: an RFC 8785 object of everything but notes, each quantity as its exact SI
// value ("17/300 m/s"). Nothing absent is filled in; "process": "cut" is the one default that is left out.
func (v *Values) Canonical() []byte {
	if v.Process.V == "cut" {
		plain := *v
		plain.Process = Member[string]{}
		v = &plain
	}
	return canonical(v)
}

// Digest returns the digest of the canonical form.
func (v *Values) Digest() Digest { return DigestOf(v.Canonical()) }

// canonical writes any struct of this package as an RFC 8785 object, with "canon" among its members.
func canonical(ptr any) []byte {
	v := reflect.ValueOf(ptr).Elem()
	body := appendObject(nil, infoOf(v.Type()), v)
	head := `{"canon":` + strconv.Itoa(CanonVersion)
	if len(body) > 2 {
		head += ","
	}
	// "canon" does not sort first; RFC 8785 order is restored by the library.
	out := jsontext.Value(append([]byte(head), body[1:]...))
	if err := out.Canonicalize(); err != nil {
		panic("schema: canonical form is not JSON: " + err.Error())
	}
	return out
}

func appendObject(b []byte, info *typeInfo, v reflect.Value) []byte {
	b = append(b, '{')
	first := true
	member := func(name string) {
		if !first {
			b = append(b, ',')
		}
		first = false
		b = appendQuoted(b, name)
		b = append(b, ':')
	}
	for i := range info.fields {
		f := &info.fields[i]
		value, _, ok := f.value(v)
		if !ok || f.secret {
			continue
		}
		if f.rest != "" {
			for k := range value.Len() {
				member(value.Index(k).Field(0).String())
				b = appendValue(b, f.shape.elem, value.Index(k).Field(2))
			}
			continue
		}
		member(f.name)
		b = appendValue(b, f.shape, value)
	}
	return append(b, '}')
}

func appendValue(b []byte, sh *shape, v reflect.Value) []byte {
	switch sh.kind {
	case isQuantity:
		b = append(b, '"')
		b = append(b, v.Field(0).Interface().(quantity.Value).Canonical()...)
		return append(b, '"')
	case isString:
		return appendQuoted(b, v.String())
	case isBool:
		return strconv.AppendBool(b, v.Bool())
	case isInt:
		return strconv.AppendInt(b, v.Int(), 10)
	case isNumber:
		return append(b, v.Field(0).String()...)
	case isStruct:
		return appendObject(b, sh.info, v)
	case isRaw:
		return appendNode(b, v.Interface().(*Node))
	case isTable:
		b = append(b, '{')
		for i := range v.Len() {
			if i > 0 {
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

func appendQuoted(b []byte, s string) []byte {
	b, err := jsontext.AppendQuote(b, s)
	if err != nil { // invalid UTF-8 never passes the parser; what fettle makes itself is valid
		panic("schema: " + err.Error())
	}
	return b
}
