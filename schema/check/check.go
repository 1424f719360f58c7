// Package check holds a file of a library against its published JSON Schema, as an editor or a program of somebody else would.
//
// It is the second opinion on a file: [schema.ReadFile] reads by the types of the program, this package by the schema that they
// publish, with a validator that knows nothing of fettle. The verdict is the schema's alone; the words and places are the reader's,
// which tells the same faults in the language of the shop. Both come to the same verdict but for what a JSON Schema cannot say; the
// list stands in schema/README.md.
//
// The program and the tests use different validators. The program takes github.com/google/jsonschema-go, which costs next to
// nothing until it is asked. The tests ask github.com/santhosh-tekuri/jsonschema as well, which names every place that is wrong and
// holds the schemas themselves to the meta-schema, but takes several milliseconds at every start of a program that it is linked
// into, asked or not; a hook that runs at every commit must not pay that. The tests hold both, and ajv, to one verdict.
package check

import (
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"
	"sync"

	"github.com/google/jsonschema-go/jsonschema"

	"fettle/schema"
)

// A Problem is one thing that is wrong with a file that its published schema refuses, at a line and column that count from 1,
// columns in code points.
type Problem struct {
	schema.Problem
	Line, Column int
}

// File holds the bytes of a file against the schema that its member "kind" names. It returns what is wrong in the order of the
// file, nothing where it keeps to the schema. What is no strict JSON, or of no known kind, is reported as the reader reports it.
// The error is about the schema itself and never about the file.
func File(path string, data []byte) ([]Problem, error) {
	f := schema.ReadFile(path, data)
	if f.Value == nil {
		return placed(f, f.Problems), nil
	}
	published, err := resolve(f.Kind)
	if err != nil {
		return nil, err
	}
	return placed(f, judge(f, published)), nil
}

// judge asks the schema for the verdict and the reader for the words. A refusal stands, even where the reader has no word for it.
func judge(f *schema.File, published *jsonschema.Resolved) []schema.Problem {
	root := f.Root()
	refusal := published.Validate(plain(root))
	if refusal != nil && len(f.Problems) > 0 {
		return f.Problems
	}
	if refusal != nil {
		start := root.At.Start
		return []schema.Problem{{Rule: schema.RuleBadValue, At: schema.Span{Start: start, End: start + 1},
			Message: fmt.Sprintf("the published schema of kind %q refuses what the reader takes: %v", f.Kind, refusal),
			Help:    "The two ought to agree, so this is a fault of fettle. Please report it, with the file."}}
	}
	var strict []schema.Problem // no schema sees the second of two members of one name
	for _, p := range f.Problems {
		if p.Rule == schema.RuleDuplicateKey {
			strict = append(strict, p)
		}
	}
	return strict
}

func placed(f *schema.File, problems []schema.Problem) []Problem {
	var out []Problem
	for _, p := range problems {
		line, column := f.Position(p.At.Start)
		out = append(out, Problem{p, line, column})
	}
	return out
}

var (
	resolvedMu sync.Mutex
	resolved   = map[string]*jsonschema.Resolved{}
)

// resolve makes the published schema of a kind ready for use. It loads nothing: each schema stands for itself.
func resolve(kind string) (*jsonschema.Resolved, error) {
	resolvedMu.Lock()
	defer resolvedMu.Unlock()
	if known := resolved[kind]; known != nil {
		return known, nil
	}
	text, ok := schema.Published(kind)
	if !ok {
		return nil, fmt.Errorf("no schema is published for kind %q; there are: %s", kind, strings.Join(schema.PublishedKinds(), ", "))
	}
	var published jsonschema.Schema
	if err := json.Unmarshal(text, &published); err != nil {
		return nil, fmt.Errorf("published schema of kind %q: %w", kind, err)
	}
	ready, err := published.Resolve(nil)
	if err != nil {
		return nil, fmt.Errorf("published schema of kind %q: %w", kind, err)
	}
	resolved[kind] = ready
	return ready, nil
}

// plain turns a tree into what a validator takes, as most programs that read JSON would: numbers become floats, and of two members
// of one name there is only one, here the first.
func plain(n *schema.Node) any {
	switch n.Kind {
	case schema.Object:
		members := make(map[string]any, len(n.Kids))
		for _, kid := range n.Kids {
			if _, again := members[kid.Key]; !again {
				members[kid.Key] = plain(kid)
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
		return float(n.Text)
	case schema.True, schema.False:
		return n.Kind == schema.True
	}
	return nil
}

// float is the double next to a number. One beyond all doubles becomes the greatest: of an infinite one, jsonschema-go thinks as
// of zero and lets it pass, and others break off.
func float(digits string) float64 {
	f, _ := strconv.ParseFloat(digits, 64) // the reader has held it to the grammar; out of range is ±Inf
	return max(-math.MaxFloat64, min(f, math.MaxFloat64))
}
