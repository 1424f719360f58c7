package lint

import (
	"fmt"
	"math/big"
	"strings"
	"sync"

	"fettle/schema"
	"fettle/schema/quantity"
)

// A Rule is one thing that is judged, with all that is to be said about it.
type Rule struct {
	Name     string // words with hyphens, guessable from the message
	Family   string // file, slip, machine, material, physics, trend or change
	Severity Severity
	Title    string             // what is wrong where it speaks, in a few words
	Why      string             // the reason, for a person beside a machine
	Source   string             // where the limit comes from
	Limit    string             // the default limit as text: "20 %", "3 mm", "1.25"; empty where a shop has nothing to set
	Of       quantity.Dimension // of the limit; DimNone is a plain number
	Bad      string             // an edit of the example library that it must report, see [Example]
	Good     string             // one that it must not
	Scope    Scope
	Check    func(*Pass) // nil for what the engine itself reports

	at int // in the registry
}

// Scope says what a check is called for, once each. A check with several scopes looks at which part of the [Pass] is filled.
type Scope uint8

// The scopes, and what the [Pass] holds in each beside the library.
const (
	PerFile     Scope = 1 << iota // File: every JSON file outside the records
	PerSettings                   // File, Settings
	PerMachine                    // File, Machine
	PerSet                        // File, Set, Machine, Material, Gas
	PerRecipe                     // File, Set, Machine, Material, Gas, Recipe, Family
	PerFamily                     // File, Set, Machine, Material, Gas, Family; report through [Pass.On]
	PerChange                     // Change, and all of PerRecipe where the condition still exists
	PerRecord                     // Record
)

// registry is filled by init, since some checks look other rules up.
var registry []Rule

func init() {
	for _, family := range []struct {
		name  string
		rules []Rule
	}{
		{"file", fileRules},
		{"slip", slipRules},
		{"machine", machineRules},
		{"material", materialRules},
		{"physics", physicsRules},
		{"trend", trendRules},
		{"change", changeRules},
	} {
		for _, r := range family.rules {
			r.Family, r.at = family.name, len(registry)
			registry = append(registry, r)
		}
	}
}

// Rules returns all rules by family, in the order of the rule book. The caller must not change them.
func Rules() []Rule { return registry }

// RuleNamed returns the rule with this name. Where there is none, nearest is the name it is most likely a slip of, or "".
func RuleNamed(name string) (r Rule, nearest string, ok bool) {
	if at := place(name); at >= 0 {
		return registry[at], "", true
	}
	names := make([]string, len(registry))
	for i := range registry {
		names[i] = registry[i].Name
	}
	return Rule{}, schema.Nearest(name, names), false
}

// place is where a rule stands in the rule book, -1 for what is no rule.
func place(name string) int {
	if at, ok := places()[name]; ok {
		return at
	}
	return -1
}

var places = sync.OnceValue(func() map[string]int {
	out := make(map[string]int, len(registry))
	for i := range registry {
		out[registry[i].Name] = i
	}
	return out
})

// A limit is the number that a rule compares with.
type limit struct {
	value  quantity.Value // where the rule has a dimension
	number *big.Rat       // where it has none
	plain  float64        // either, in SI
}

// ownLimits are the limits of the rules as they are without settings.
var ownLimits = sync.OnceValue(func() []limit {
	out := make([]limit, len(registry))
	for i := range registry {
		if r := &registry[i]; r.Limit != "" {
			l, err := r.readLimit(r.Limit)
			if err != nil {
				panic(fmt.Sprintf("lint: the default limit of %s: %v", r.Name, err)) // a test reads every default
			}
			out[i] = l
		}
	}
	return out
})

// readLimit reads a limit in the way the rule wants it.
func (r *Rule) readLimit(text string) (limit, error) {
	switch {
	case r.Limit == "":
		return limit{}, fmt.Errorf("%s has no limit to set", r.Name)
	case r.Of != quantity.DimNone:
		v, err := quantity.Parse(r.Of, text)
		if err != nil {
			return limit{}, err
		}
		if v.Sign() <= 0 {
			return limit{}, fmt.Errorf("%s is no limit for %s, which has to be above zero, such as %q", text, r.Name, r.Limit)
		}
		return limit{value: v, plain: v.SI()}, nil
	}
	n, ok := new(big.Rat).SetString(text)
	if !ok || n.Sign() <= 0 || len(text) > 20 || strings.ContainsAny(text, "eEpP/_xX") {
		return limit{}, fmt.Errorf("%q is no limit for %s, which takes a plain number above zero such as %q", text, r.Name, r.Limit)
	}
	plain, _ := n.Float64()
	return limit{number: n, plain: plain}, nil
}
