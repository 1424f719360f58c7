package schema

import (
	"bytes"
	"flag"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"

	"fettle/schema/quantity"
)

var update = flag.Bool("update", false, "write the published schemas and the tables of README.md anew")

// The published schemas are what the struct tags say, and there is one for each kind of file.
func TestPublishedSchemasFollowTheTags(t *testing.T) {
	kinds := []string{"library", "machine", "condition-set", KindTrialPlan, KindTrialSheet}
	for kind := range recordTypes {
		kinds = append(kinds, kind)
	}
	for _, kind := range kinds {
		want := Layout(generate(kind))
		path := filepath.Join("published", kind+".json")
		if *update {
			if err := os.WriteFile(path, want, 0o644); err != nil {
				t.Fatal(err)
			}
			continue
		}
		got, ok := Published(kind)
		if !ok || !bytes.Equal(got, want) {
			t.Errorf("%s does not follow the struct tags; write it anew: go test fettle/schema -run Published -update", path)
		}
	}
	if *update {
		return
	}
	known := PublishedKinds()
	if slices.Sort(kinds); !slices.Equal(kinds, slices.Sorted(slices.Values(known))) || known[0] != "library" {
		t.Errorf("published kinds %v, kinds of files %v", known, kinds)
	}
	if _, ok := Published("../published/library"); ok {
		t.Error("a path is taken for a kind")
	}
}

// A generator makes one schema. What several members share stands once, under $defs.
type generator struct {
	kind string
	defs *Node
}

// generate makes the JSON Schema of a kind of file from the tags of its struct.
func generate(kind string) *Node {
	t, _ := structOf(kind)
	g := &generator{kind: kind, defs: object()}
	root := object(
		member("$schema", Text("https://json-schema.org/draft/2020-12/schema")),
		member("$id", Text("urn:fettle:schema:"+kind+":1")),
		member("title", Text("fettle "+kind+", format 1")))
	root.Kids = append(root.Kids, g.members(infoOf(t)).Kids...)
	for _, def := range []struct {
		name string
		want *Node
	}{{"kind", Text(kind)}, {"format", digits("1")}} {
		prop := root.Get("properties").Get(def.name)
		*prop = *withKey(def.name, object(member("const", def.want), member("description", prop.Get("description"))))
	}
	slices.SortFunc(g.defs.Kids, func(a, b *Node) int { return strings.Compare(a.Key, b.Key) })
	root.Kids = append(root.Kids, withKey("$defs", g.defs))
	return root
}

// members says of a struct which members it has, and which of them it must have.
func (g *generator) members(info *typeInfo) *Node {
	properties, required := object(), []string{}
	n := object(member("type", Text("object")), member("properties", properties))
	for i := range info.fields {
		f := &info.fields[i]
		if f.rest != "" {
			row := g.shape(&spec{one: f.one, from: f.from, to: f.to}, f.shape.elem)
			row.Kids = append(row.Kids, member("description", Text(f.doc)))
			if f.rest == "*" {
				n.Kids = append(n.Kids, member("additionalProperties", row))
			} else {
				n.Kids = append(n.Kids, member("patternProperties", object(withKey(f.rest+"$", row))))
			}
			continue
		}
		value := g.shape(&f.spec, f.shape)
		value.Kids = append(value.Kids, member("description", Text(f.doc)))
		properties.Kids = append(properties.Kids, withKey(f.name, value))
		if f.need {
			required = append(required, f.name)
		}
	}
	if n.Get("additionalProperties") == nil {
		n.Kids = append(n.Kids, member("additionalProperties", &Node{Kind: False}))
	}
	if len(required) > 0 {
		n.Kids = append(n.Kids, member("required", List(required)))
	}
	return n
}

// shape says what one value looks like.
func (g *generator) shape(sp *spec, sh *shape) *Node {
	switch sh.kind {
	case isQuantity:
		return g.def("quantity-"+sh.dim.Name(), func() *Node {
			return object(
				member("description", Text(sh.dim.String()+": text with its unit")),
				member("type", Text("string")), member("maxLength", digits(strconv.Itoa(quantity.MaxText))),
				member("pattern", Text(quantity.Pattern(sh.dim))), member("examples", List([]string{sh.dim.Example()})))
		})
	case isString:
		return g.text(sp)
	case isBool:
		return object(member("type", Text("boolean")))
	case isInt, isNumber:
		return object(member("type", Text(map[shapeKind]string{isInt: "integer", isNumber: "number"}[sh.kind])),
			member("minimum", digits(strconv.Itoa(sp.from))), member("maximum", digits(strconv.Itoa(sp.to))))
	case isStruct:
		return g.def(hyphens(sh.typ.Name()), func() *Node { return g.members(sh.info) })
	case isTable:
		row := g.shape(&spec{one: sp.one, from: sp.from, to: sp.to, keys: sp.keys}, sh.elem)
		n := object(member("type", Text("object")), member("additionalProperties", row))
		if sp.keys != "" {
			n.Kids = append(n.Kids, member("propertyNames", g.text(&spec{form: sp.keys})))
		}
		return n
	case isList:
		n := object(member("type", Text("array")), member("items", g.shape(sp, sh.elem)))
		if sp.size > 0 {
			n.Kids = append(n.Kids, member("minItems", digits(strconv.Itoa(sp.size))), member("maxItems", digits(strconv.Itoa(sp.size))))
		}
		return n
	case isRaw:
		return object()
	}
	panic("schema: no published form for " + sh.typ.String())
}

// text says what a string looks like: one of some words, a form, or anything.
func (g *generator) text(sp *spec) *Node {
	form, formed := forms()[sp.form]
	switch {
	case sp.one != nil && sp.null, formed && form.not != "" && sp.null:
		panic("schema: no published form for words or a form with exceptions that may be null: " + sp.name)
	case sp.one != nil:
		return object(member("enum", List(sp.one)))
	case formed && sp.null:
		return object(member("type", List([]string{"string", "null"})), member("pattern", Text(form.pattern)))
	case formed:
		return g.def("text-"+sp.form, func() *Node {
			n := object(member("description", Text(form.words)), member("type", Text("string")), member("pattern", Text(form.pattern)))
			if form.not != "" {
				n.Kids = append(n.Kids, member("not", object(member("pattern", Text(form.not)))))
			}
			return n
		})
	case sp.null:
		return object(member("type", List([]string{"string", "null"})))
	}
	return object(member("type", Text("string")))
}

// def puts a definition under $defs, where it is not there yet, and refers to it.
func (g *generator) def(name string, content func() *Node) *Node {
	if g.defs.Get(name) == nil {
		slot := withKey(name, object())
		g.defs.Kids = append(g.defs.Kids, slot)
		*slot = *withKey(name, content())
	}
	return object(member("$ref", Text("#/$defs/"+name)))
}

// hyphens writes a Go name as names of the format are written: LeadIn is lead-in.
func hyphens(name string) string {
	var b strings.Builder
	for i, c := range name {
		if i > 0 && c >= 'A' && c <= 'Z' {
			b.WriteByte('-')
		}
		b.WriteString(strings.ToLower(string(c)))
	}
	return b.String()
}

func object(kids ...*Node) *Node            { return &Node{Kind: Object, Kids: kids} }
func digits(text string) *Node              { return &Node{Kind: Digits, Text: text} }
func member(name string, value *Node) *Node { return withKey(name, value) }

// No two structs of the format share a name of $defs, or one would be published for the other.
func TestPublishedNamesAreUnique(t *testing.T) {
	names := map[string]reflect.Type{}
	var visit func(*shape)
	visitStruct := func(info *typeInfo) {
		for _, f := range info.fields {
			visit(f.shape)
		}
	}
	visit = func(sh *shape) {
		switch {
		case sh.elem != nil:
			visit(sh.elem)
		case sh.kind == isStruct:
			name := hyphens(sh.typ.Name())
			if known, ok := names[name]; ok && known != sh.typ {
				t.Errorf("%s and %s would both be published as %s", known, sh.typ, name)
			}
			names[name] = sh.typ
			visitStruct(sh.info)
		}
	}
	for _, kind := range PublishedKinds() {
		root, _ := structOf(kind)
		visitStruct(infoOf(root))
	}
	if len(names) < 15 {
		t.Errorf("only %d structs were visited", len(names))
	}
}
