package triage

import (
	_ "embed"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"sync"

	"fettle/schema"
	"fettle/schema/quantity"
)

//go:embed knowledge.txt
var builtIn string

// LibraryFile is where a library keeps lines of its own.
const LibraryFile = "triage.txt"

// Knowledge is what is known of bad cuts.
type Knowledge struct {
	checks   map[string]*Check
	symptoms map[string]*Symptom
	steps    map[string]*Step
	cautions []Caution
}

// A Line is one thing that is known, with where it comes from: "practice" for common practice in the trade, or "source: …".
type Line struct{ Text, Mark string }

// A Check is a thing to look at before a recipe is touched.
type Check struct {
	Word     string // of schema.RuledOut
	Minutes  int
	How      []Line
	Clears   []Line // what rules it out
	Cautions []string
}

// A Symptom is what is known of something that can be seen on a cut.
type Symptom struct {
	Word  string // of schema.Symptoms
	Looks []Line
	Stop  []Line   // what is done before anything else
	First []string // checks, in order
	Leads []Line   // why this order goes before that of other symptoms; none for most
	Notes map[string][]Line
	Fits  []Fit
	Tries []Fit // Strength is empty
}

// A Fit says that a change of a recipe brings a symptom about, or, as a try, that it may help.
type Fit struct {
	Field    string // cut.pressure; pierce.time means any stage
	Change   string // up, down or other
	Gas      string // any, oxygen or inert
	Strength string // strong, fair or weak
	Why      Line
}

// A Step is one careful change of a field, and what to cut to see it.
type Step struct {
	Field string
	Size  quantity.Value // a ratio of the present value, or an amount
	Cut   Line
}

// A Caution is a word of safety.
type Caution struct {
	Name string
	Line
}

// Words of a [Fit].
const (
	Up     = "up"
	Down   = "down"
	Other  = "other"
	Strong = "strong"
	Fair   = "fair"
	Weak   = "weak"
	Oxygen = "oxygen"
	Inert  = "inert"
)

var common = sync.OnceValue(func() *Knowledge {
	k := newKnowledge()
	if err := k.read("knowledge.txt", builtIn, nil); err != nil {
		panic(err) // a test reads it
	}
	return k
})

// Common is what every shop has in common.
func Common() *Knowledge { return common() }

// Read returns the common knowledge with what a library adds to it; the text is that of its file triage.txt, or "". The error names the line.
func Read(text string) (*Knowledge, error) {
	if strings.TrimSpace(text) == "" {
		return common(), nil
	}
	own := newKnowledge()
	if err := own.read(LibraryFile, text, common()); err != nil {
		return nil, err
	}
	return common().with(own), nil
}

func newKnowledge() *Knowledge {
	return &Knowledge{checks: map[string]*Check{}, symptoms: map[string]*Symptom{}, steps: map[string]*Step{}}
}

// Check returns what is known of a check, nil for nothing.
func (k *Knowledge) Check(word string) *Check { return k.checks[word] }

// Symptom returns what is known of a symptom, an empty one for nothing.
func (k *Knowledge) Symptom(word string) *Symptom {
	if s := k.symptoms[word]; s != nil {
		return s
	}
	return &Symptom{Word: word}
}

// Caution returns a word of safety.
func (k *Knowledge) Caution(name string) Line {
	i := slices.IndexFunc(k.cautions, func(c Caution) bool { return c.Name == name })
	if i < 0 {
		return Line{}
	}
	return k.cautions[i].Line
}

// with puts lines of a library before the common ones.
func (k *Knowledge) with(own *Knowledge) *Knowledge {
	out := newKnowledge()
	for word, c := range k.checks {
		out.checks[word] = c
	}
	for word, c := range own.checks {
		merged := *c
		if base := k.checks[word]; base != nil {
			if len(merged.How) == 0 {
				merged.How = base.How
			}
			if len(merged.Clears) == 0 {
				merged.Clears = base.Clears
			}
			for _, name := range base.Cautions {
				if !slices.Contains(merged.Cautions, name) {
					merged.Cautions = append(slices.Clip(merged.Cautions), name)
				}
			}
		}
		out.checks[word] = &merged
	}
	for word, s := range k.symptoms {
		out.symptoms[word] = s
	}
	for word, s := range own.symptoms {
		merged := *s
		if base := k.symptoms[word]; base != nil {
			if len(merged.First) == 0 {
				merged.First = base.First
			}
			merged.Looks = slices.Concat(s.Looks, base.Looks)
			merged.Stop = slices.Concat(base.Stop, s.Stop)
			merged.Leads = slices.Concat(base.Leads, s.Leads)
			merged.Fits = slices.Concat(s.Fits, base.Fits)
			merged.Tries = slices.Concat(s.Tries, base.Tries)
			merged.Notes = map[string][]Line{}
			for _, notes := range []map[string][]Line{s.Notes, base.Notes} {
				for check, lines := range notes {
					merged.Notes[check] = append(merged.Notes[check], lines...)
				}
			}
		}
		out.symptoms[word] = &merged
	}
	for field, s := range k.steps {
		out.steps[field] = s
	}
	for field, s := range own.steps {
		out.steps[field] = s
	}
	out.cautions = slices.Concat(own.cautions, k.cautions)
	return out
}

// reader reads one file of knowledge.
type reader struct {
	*Knowledge
	base    *Knowledge // what it adds to, nil for nothing
	line    int
	check   *Check
	symptom *Symptom
}

// read reads a file. The error says which line is wrong and what was expected there.
func (k *Knowledge) read(name, text string, base *Knowledge) error {
	r := &reader{Knowledge: k, base: base}
	for line := range strings.Lines(text) {
		r.line++
		line = strings.TrimRight(line, " \t\r\n")
		trimmed := strings.TrimSpace(line)
		if trimmed == "" || strings.HasPrefix(trimmed, "#") {
			continue
		}
		word, rest, _ := strings.Cut(trimmed, " ")
		var err error
		if inside := line != trimmed; inside {
			err = r.inside(word, strings.TrimSpace(rest))
		} else {
			err = r.top(word, strings.TrimSpace(rest))
		}
		if err != nil {
			return fmt.Errorf("%s:%d: %w", name, r.line, err)
		}
	}
	return nil
}

func (r *reader) top(word, rest string) error {
	r.check, r.symptom = nil, nil
	switch word {
	case "check":
		name, minutes, _ := strings.Cut(rest, " ")
		n, err := strconv.Atoi(strings.TrimSpace(minutes))
		if err != nil || n < 1 {
			return fmt.Errorf("a check has a word and its minutes, such as \"check nozzle-wear 3\"; found %q", rest)
		}
		if err := known(name, schema.RuledOut, "a thing that can be ruled out"); err != nil {
			return err
		}
		if r.checks[name] != nil {
			return fmt.Errorf("check %s stands here twice", name)
		}
		r.check = &Check{Word: name, Minutes: n}
		r.checks[name] = r.check
		return nil
	case "symptom":
		if err := known(rest, schema.Symptoms, "a symptom"); err != nil {
			return err
		}
		if r.symptoms[rest] != nil {
			return fmt.Errorf("symptom %s stands here twice", rest)
		}
		r.symptom = &Symptom{Word: rest, Notes: map[string][]Line{}}
		r.symptoms[rest] = r.symptom
		return nil
	case "caution":
		name, text, ok := strings.Cut(rest, ":")
		line, err := marked(text)
		if !ok || err != nil {
			return orForm(err, "caution NAME: words [practice]")
		}
		r.cautions = append(r.cautions, Caution{strings.TrimSpace(name), line})
		return nil
	case "step":
		head, text, _ := strings.Cut(rest, ":")
		field, size, ok := strings.Cut(strings.TrimSpace(head), " ")
		line, err := marked(text)
		if !ok || err != nil {
			return orForm(err, "step FIELD SIZE: what to cut [practice]")
		}
		if err := knownField(field); err != nil {
			return err
		}
		v, err := stepSize(strings.TrimSpace(size), field)
		if err != nil {
			return err
		}
		r.steps[field] = &Step{Field: field, Size: v, Cut: line}
		return nil
	}
	return fmt.Errorf("%q begins no block; one of check, symptom, step, caution does", word)
}

// stepSize reads a share of the present value or an amount of the field's own kind.
func stepSize(text, field string) (quantity.Value, error) {
	if strings.HasSuffix(text, "%") {
		return quantity.Parse(quantity.DimRatio, text)
	}
	for _, dim := range []quantity.Dimension{quantity.DimLength, quantity.DimPressure, quantity.DimSpeed, quantity.DimPower, quantity.DimTime, quantity.DimFrequency} {
		if v, err := quantity.Parse(dim, text); err == nil && v.Sign() > 0 && takes(field, text) {
			return v, nil
		}
	}
	return quantity.Value{}, fmt.Errorf("%q is no step of %s; write a share such as 5 %%, or an amount with its unit", text, field)
}

func (r *reader) inside(word, rest string) error {
	switch {
	case r.check != nil:
		return r.inCheck(word, rest)
	case r.symptom != nil:
		return r.inSymptom(word, rest)
	}
	return fmt.Errorf("the line is set in and belongs to no check or symptom")
}

func (r *reader) inCheck(word, rest string) error {
	switch word {
	case "how", "clears":
		line, err := marked(rest)
		if err != nil {
			return err
		}
		if word == "how" {
			r.check.How = append(r.check.How, line)
		} else {
			r.check.Clears = append(r.check.Clears, line)
		}
		return nil
	case "caution":
		for _, name := range list(rest) {
			if r.Caution(name).Text == "" && (r.base == nil || r.base.Caution(name).Text == "") {
				return fmt.Errorf("there is no caution %q above", name)
			}
			r.check.Cautions = append(r.check.Cautions, name)
		}
		return nil
	}
	return fmt.Errorf("%q is no line of a check; one of how, clears, caution is", word)
}

func (r *reader) inSymptom(word, rest string) error {
	s := r.symptom
	line, err := marked(rest)
	if err != nil {
		return err
	}
	switch word {
	case "leads":
		s.Leads = append(s.Leads, line)
	case "looks":
		s.Looks = append(s.Looks, line)
	case "stop":
		s.Stop = append(s.Stop, line)
	case "first":
		s.First = list(line.Text)
		for _, w := range s.First {
			if err := known(w, schema.RuledOut, "a thing that can be ruled out"); err != nil {
				return err
			}
		}
	case "note":
		check, text, _ := strings.Cut(line.Text, ":")
		if err := known(check, schema.RuledOut, "a thing that can be ruled out"); err != nil {
			return err
		}
		s.Notes[check] = append(s.Notes[check], Line{strings.TrimSpace(text), line.Mark})
	case "fit", "try":
		head, why, ok := strings.Cut(line.Text, ":")
		parts := strings.Fields(head)
		want := map[string]int{"fit": 4, "try": 3}[word]
		if !ok || len(parts) != want {
			return fmt.Errorf("a line of %s reads FIELD CHANGE GAS%s: why", word, map[string]string{"fit": " STRENGTH"}[word])
		}
		f := Fit{Field: parts[0], Change: parts[1], Gas: parts[2], Why: Line{strings.TrimSpace(why), line.Mark}}
		if err := knownField(f.Field); err != nil {
			return err
		}
		if err := known(f.Change, []string{Up, Down, Other}, "a change"); err != nil {
			return err
		}
		if err := known(f.Gas, []string{"any", Oxygen, Inert}, "a kind of gas"); err != nil {
			return err
		}
		if word == "try" {
			s.Tries = append(s.Tries, f)
			return nil
		}
		f.Strength = parts[3]
		if err := known(f.Strength, []string{Strong, Fair, Weak}, "a strength"); err != nil {
			return err
		}
		s.Fits = append(s.Fits, f)
	default:
		return fmt.Errorf("%q is no line of a symptom; one of looks, stop, first, leads, note, fit, try is", word)
	}
	return nil
}

func orForm(err error, form string) error {
	if err != nil {
		return err
	}
	return fmt.Errorf("expected: %s", form)
}

// marked takes the mark off the end of a line.
func marked(text string) (Line, error) {
	text = strings.TrimSpace(text)
	open := strings.LastIndexByte(text, '[')
	if open < 0 || !strings.HasSuffix(text, "]") {
		return Line{}, fmt.Errorf("the line does not say where it comes from; it ends with [practice] or [source: ...]")
	}
	mark := text[open+1 : len(text)-1]
	if source, ok := strings.CutPrefix(mark, "source:"); mark != "practice" && (!ok || strings.TrimSpace(source) == "") {
		return Line{}, fmt.Errorf("[%s] is no mark; a line ends with [practice] or [source: ...]", mark)
	}
	line := Line{strings.TrimSpace(text[:open]), mark}
	if line.Text == "" {
		return line, fmt.Errorf("the line says nothing")
	}
	return line, nil
}

func list(text string) []string {
	var out []string
	for _, w := range strings.Split(text, ",") {
		if w = strings.TrimSpace(w); w != "" {
			out = append(out, w)
		}
	}
	return out
}

func known(word string, words []string, what string) error {
	if slices.Contains(words, word) {
		return nil
	}
	if near := schema.Nearest(word, words); near != "" {
		return fmt.Errorf("%q is not %s; did you mean %s?", word, what, near)
	}
	return fmt.Errorf("%q is not %s; known: %s", word, what, strings.Join(words, ", "))
}

// parts are fields that stand for what came or went as a whole.
var parts = []string{"pierce", "corner", "lead_in", "contours", "gas_composition"}

// knownField checks the name of a field of a condition, where pierce.time means any stage.
func knownField(field string) error {
	if slices.Contains(parts, field) || takes(field, "1 mm") || takes(field, "1 s") {
		return nil
	}
	return fmt.Errorf("%q is no field of a condition", field)
}

// takes reports whether a condition has the field, and whether it would take the text where that has a unit.
func takes(field, text string) bool {
	path := strings.Replace(strings.Replace(field, "pierce.", "pierce[0].", 1), "contours.", "contours[0].", 1)
	n := &schema.Node{Kind: schema.Object}
	if n.SetPath(path, schema.Text(text)) != nil {
		return false
	}
	var c schema.Condition
	for _, p := range schema.Bind(n, &c) {
		if p.Rule == schema.RuleUnknownField || p.Field == path && p.Rule == schema.RuleWrongDimension && text != "1 mm" && text != "1 s" {
			return false
		}
	}
	return true
}
