// Package check holds a file of a library against its published JSON Schema, as an editor or a program of somebody else would.
//
// It is the second opinion on a file: [schema.ReadFile] reads by the types of the program, this package by the schema that they
// publish, with a validator that knows nothing of fettle. Both come to the same verdict but for what a JSON Schema cannot say;
// the list stands in schema/README.md. The validator takes longer to start than fettle itself, so it stays in a package of its own,
// out of the way of the commands that run at every commit.
package check

import (
	"bytes"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"sync"

	"github.com/santhosh-tekuri/jsonschema/v5"

	"fettle/schema"
)

// A Problem is one thing that a published schema has against a file, at a line and column that count from 1, columns in code
// points.
type Problem struct {
	schema.Problem
	Line, Column int
}

// File holds the bytes of a file against the schema that its member "kind" names. It returns what is wrong in the order of the
// file, nothing where it keeps to the schema. What is no strict JSON, or of no known kind, is reported as the reader reports it.
// The error is about the schema itself and never about the file.
func File(path string, data []byte) ([]Problem, error) {
	f := schema.ReadFile(path, data)
	c := &collector{file: f}
	for _, p := range f.Problems {
		if f.Value == nil || p.Rule == schema.RuleDuplicateKey {
			c.add(p)
		}
	}
	if f.Value != nil {
		compiled, err := compile(f.Kind)
		if err != nil {
			return nil, err
		}
		switch err := compiled.validator.Validate(plain(f.Root)).(type) {
		case nil:
		case *jsonschema.ValidationError:
			c.collect(compiled, err)
		default:
			return nil, fmt.Errorf("%s: the schema of kind %q cannot be applied: %w", path, f.Kind, err)
		}
	}
	slices.SortStableFunc(c.problems, func(a, b Problem) int { return a.At.Start - b.At.Start })
	return c.problems, nil
}

// A compiledSchema is a published schema as the validator holds it, and its tree, to say what it expects.
type compiledSchema struct {
	validator *jsonschema.Schema
	tree      *schema.Node
}

var (
	compiledMu sync.Mutex
	compiled   = map[string]*compiledSchema{}
)

func compile(kind string) (*compiledSchema, error) {
	compiledMu.Lock()
	defer compiledMu.Unlock()
	if known := compiled[kind]; known != nil {
		return known, nil
	}
	text, ok := schema.Published(kind)
	if !ok {
		return nil, fmt.Errorf("no schema is published for kind %q; there are: %s", kind, strings.Join(schema.PublishedKinds(), ", "))
	}
	compiler := jsonschema.NewCompiler()
	compiler.Draft = jsonschema.Draft2020
	compiler.LoadURL = func(url string) (io.ReadCloser, error) { return nil, fmt.Errorf("%s is not embedded", url) }
	name := kind + ".json"
	if err := compiler.AddResource(name, bytes.NewReader(text)); err != nil {
		return nil, fmt.Errorf("published schema of kind %q: %w", kind, err)
	}
	validator, err := compiler.Compile(name)
	if err != nil {
		return nil, fmt.Errorf("published schema of kind %q: %w", kind, err)
	}
	known := &compiledSchema{validator, schema.ReadFile(name, text).Root}
	compiled[kind] = known
	return known, nil
}

// unnamed stands for the empty name, which the validator loses from the places that it reports. No table takes either as a name.
const unnamed = "\x00"

// plain turns a tree into what the validator takes. Numbers become floats, as in most programs that read JSON; the validator
// stumbles over some that are written with an exponent in the millions.
func plain(n *schema.Node) any {
	switch n.Kind {
	case schema.Object:
		members := make(map[string]any, len(n.Kids))
		for _, kid := range n.Kids {
			name := kid.Key
			if name == "" {
				name = unnamed
			}
			if _, again := members[name]; !again {
				members[name] = plain(kid)
			}
		}
		return members
	case schema.Array:
		items := make([]any, len(n.Kids))
		for i, kid := range n.Kids {
			items[i] = plain(kid)
		}
		return items
	case schema.String:
		return n.Text
	case schema.Digits:
		float, _ := strconv.ParseFloat(n.Text, 64)
		return float
	case schema.True, schema.False:
		return n.Kind == schema.True
	}
	return nil
}
