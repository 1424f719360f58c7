package check

import (
	"fmt"
	"net/url"
	"regexp"
	"strconv"
	"strings"

	"github.com/santhosh-tekuri/jsonschema/v5"

	"fettle/schema"
)

// collector turns what the validator says into problems at a place, in plain words.
type collector struct {
	file     *schema.File
	problems []Problem
}

func (c *collector) add(p schema.Problem) {
	line, column := c.file.Position(p.At.Start)
	c.problems = append(c.problems, Problem{p, line, column})
}

// collect walks down to the leaves: what stands above them only says that something below is wrong.
func (c *collector) collect(s *compiledSchema, err *jsonschema.ValidationError) {
	for _, cause := range err.Causes {
		c.collect(s, cause)
	}
	if len(err.Causes) > 0 {
		return
	}
	at := locate(c.file.Root, err.InstanceLocation)
	_, fragment, _ := strings.Cut(err.AbsoluteKeywordLocation, "#")
	keyword, rule := descend(s.tree, fragment)
	before := len(c.problems)
	switch keyword {
	case "required":
		c.missing(rule, at)
	case "additionalProperties":
		c.unknown(rule, at)
	}
	if len(c.problems) > before {
		return
	}
	p := schema.Problem{Rule: schema.RuleBadValue, At: at.node.At, Field: at.field,
		Message: "found " + found(at.node) + "; expected " + expected(keyword, rule)}
	if strings.Contains(err.KeywordLocation, "/propertyNames/") {
		p.At, p.Message = at.node.KeyAt, fmt.Sprintf("found the name %q; expected %s", at.node.Key, expected(keyword, rule))
	}
	if keyword == "type" && at.node.Kind == schema.Digits && rule.Get("examples") != nil {
		p.Rule = schema.RuleBareNumber
	}
	if examples := rule.Get("examples"); examples != nil {
		p.Help = fmt.Sprintf("Write it like %q.", examples.Kids[0].Text)
	}
	c.add(p)
}

// missing reports every member that an object lacks.
func (c *collector) missing(rule *schema.Node, at place) {
	for _, name := range rule.Get("required").Kids {
		if at.node.Get(name.Text) == nil {
			start := at.node.At.Start
			c.add(schema.Problem{Rule: schema.RuleMissingField, At: schema.Span{Start: start, End: start + 1}, Field: at.below(name.Text),
				Message: fmt.Sprintf("%q is missing", name.Text), Help: rule.Get("properties").Get(name.Text).Str("description")})
		}
	}
}

// unknown reports every member that an object may not have.
func (c *collector) unknown(rule *schema.Node, at place) {
	var names []string
	for _, property := range rule.Get("properties").Kids {
		if property.Key != "$schema" {
			names = append(names, property.Key)
		}
	}
	for _, kid := range at.node.Kids {
		if rule.Get("properties").Get(kid.Key) != nil || matchesAny(rule.Get("patternProperties"), kid.Key) {
			continue
		}
		help := "Known here: " + strings.Join(names, ", ") + "."
		if near := schema.Nearest(kid.Key, names); near != "" {
			help = fmt.Sprintf("Did you mean %q?", near)
		}
		c.add(schema.Problem{Rule: schema.RuleUnknownField, At: kid.KeyAt, Field: at.below(kid.Key), Message: fmt.Sprintf("%q is not a member here", kid.Key), Help: help})
	}
}

func matchesAny(patterns *schema.Node, name string) bool {
	if patterns == nil {
		return false
	}
	for _, pattern := range patterns.Kids {
		if matched, err := regexp.MatchString(pattern.Key, name); err == nil && matched {
			return true
		}
	}
	return false
}

// A place is a value of the file with its dotted path.
type place struct {
	node  *schema.Node
	field string
}

func (p place) below(name string) string {
	if p.field == "" {
		return name
	}
	return p.field + "." + name
}

// locate follows a JSON Pointer into the file.
func locate(root *schema.Node, pointer string) place {
	at := place{node: root}
	for _, step := range steps(pointer) {
		if at.node.Kind == schema.Array {
			i, err := strconv.Atoi(step)
			if err != nil || i >= len(at.node.Kids) {
				return at
			}
			at = place{at.node.Kids[i], at.field + "[" + step + "]"}
			continue
		}
		if step == unnamed {
			step = ""
		}
		kid := at.node.Get(step)
		if kid == nil {
			return at
		}
		at = place{kid, at.below(step)}
	}
	return at
}

// descend follows a JSON Pointer into the schema and returns its last step, a keyword, and the schema that has it.
func descend(tree *schema.Node, pointer string) (keyword string, rule *schema.Node) {
	path := steps(pointer)
	if len(path) == 0 {
		return "", tree
	}
	for _, step := range path[:len(path)-1] {
		if next := tree.Get(step); next != nil {
			tree = next
		}
	}
	return path[len(path)-1], tree
}

func steps(pointer string) []string {
	if pointer == "" {
		return nil
	}
	parts := strings.Split(strings.TrimPrefix(pointer, "/"), "/")
	for i, part := range parts {
		if plain, err := url.PathUnescape(part); err == nil {
			part = plain
		}
		parts[i] = strings.NewReplacer("~1", "/", "~0", "~").Replace(part)
	}
	return parts
}

func found(n *schema.Node) string {
	switch n.Kind {
	case schema.String:
		return strconv.Quote(n.Text)
	case schema.Digits:
		return n.Text
	case schema.Array:
		return fmt.Sprintf("a list of %d", len(n.Kids))
	}
	return n.Kind.Words()
}

// expected says in words what a keyword of a schema asks for.
func expected(keyword string, rule *schema.Node) string {
	word := rule.Get(keyword)
	switch keyword {
	case "const":
		return found(word)
	case "enum":
		var words []string
		for _, item := range word.Kids {
			words = append(words, item.Text)
		}
		return "one of: " + strings.Join(words, ", ")
	case "minimum":
		return "at least " + word.Text
	case "maximum":
		return "at most " + word.Text
	case "minItems", "maxItems":
		return word.Text + " items"
	case "maxLength":
		return "at most " + word.Text + " characters"
	case "not":
		return rule.Str("description") + ", without the process cut and without a variant called as a process"
	}
	if rule.Get("examples") != nil || rule.Get("pattern") != nil && rule.Str("description") != "" {
		return rule.Str("description")
	}
	if keyword == "pattern" {
		return "text like " + word.Text
	}
	return typeWords(word)
}

// typeWords names the types of a schema's "type" for a message.
func typeWords(n *schema.Node) string {
	names := map[string]string{"object": "an object", "array": "a list", "string": "text in quotes", "number": "a plain number", "integer": "a whole number",
		"boolean": "true or false", "null": "null"}
	if n == nil {
		return "something else"
	}
	if n.Kind == schema.String {
		return names[n.Text]
	}
	var words []string
	for _, kid := range n.Kids {
		words = append(words, names[kid.Text])
	}
	return strings.Join(words, " or ")
}
