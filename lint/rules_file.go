package lint

import (
	"bytes"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"

	"fettle/schema"
)

// The rules of the family file: can it be read, does it say what the format asks for, and do its names mean something.
var fileRules = []Rule{
	{
		Name: schema.RuleSyntax, Severity: Error, Scope: PerFile, Check: problems,
		Title:  "the file cannot be read",
		Why:    "Nothing behind the slip can be trusted, so the whole file is left out until it is mended.",
		Source: "RFC 8259 (JSON), RFC 7493 (I-JSON)",
		Bad:    `text:"kerf": "0.32 mm" => "kerf" "0.32 mm"`, Good: `kerf=0.33 mm`,
	},
	{
		Name: schema.RuleDuplicateKey, Severity: Error, Scope: PerFile, Check: problems,
		Title:  "a member stands twice in one object",
		Why:    "Readers differ in which of the two they take, so two programs would cut with two recipes from one file.",
		Source: "RFC 8259 section 4, RFC 7493 section 2.3",
		Bad:    `text:"kerf": "0.32 mm" => "kerf": "0.32 mm",\n      "kerf": "0.33 mm"; at kerf`, Good: `kerf=0.33 mm`,
	},
	{
		Name: schema.RuleUnknownField, Severity: Error, Scope: PerFile | PerRecipe, Check: unknownField,
		Title:  "a member that the format does not have",
		Why:    "A mistyped member is one that nobody judges and no digest covers, while everybody believes that it counts.",
		Source: "schema/README.md",
		Bad:    `cut.presure=0.3 bar`, Good: `cut.spot=0.2 mm`,
	},
	{
		Name: schema.RuleMissingField, Severity: Error, Scope: PerFile, Check: problems,
		Title:  "a member that must be there is missing",
		Why:    "What is missing is set by whatever the machine had before, so it is no recipe.",
		Source: "schema/README.md",
		Bad:    `cut.speed=`, Good: `kerf=`,
	},
	{
		Name: schema.RuleBareNumber, Severity: Error, Scope: PerFile, Check: problems,
		Title:  "a quantity without a unit",
		Why:    "0.3 may be bar, MPa or mm. The unit is the first thing that is lost between two spreadsheets.",
		Source: "schema/README.md",
		Bad:    `cut.pressure:=0.3`, Good: `cut.pressure=30 kPa`,
	},
	{
		Name: schema.RuleUnknownUnit, Severity: Error, Scope: PerFile, Check: problems,
		Title:  "a unit that is not known",
		Why:    "A unit that is guessed at is a factor that is guessed at.",
		Source: "schema/README.md, list of units",
		Bad:    `cut.speed=2.9 m/mn`, Good: `cut.speed=48 mm/s`,
	},
	{
		Name: schema.RuleWrongDimension, Severity: Error, Scope: PerFile, Check: problems,
		Title:  "the unit of another quantity",
		Why:    "A pressure in millimetres is a value in the wrong row.",
		Source: "schema/README.md, list of units",
		Bad:    `cut.pressure=0.3 mm`, Good: `cut.pressure=4.5 psi`,
	},
	{
		Name: schema.RuleBadValue, Severity: Error, Scope: PerFile | PerSettings | PerMachine | PerRecipe, Check: badValue,
		Title: "a value that cannot be",
		Why: "A word that the format does not have, a number out of its range, or a quantity that nothing on earth can have: a speed of nothing, " +
			"a negative pressure, a kerf of no width. Far beyond what any cutting laser does is a warning: mostly a unit or a decimal point went astray.",
		Source: "schema/README.md; ISO 9013 for the ranges of quality; trade judgement for what is far beyond",
		Bad:    `cut.speed=0 m/min`, Good: `pierce[0].power=0 W`,
	},
	{
		Name: schema.RuleDuplicateID, Severity: Error, Scope: PerFile, Check: problems,
		Title:  "one condition stands twice",
		Why:    "Nobody can say which of the two is loaded.",
		Source: "schema/README.md, ids",
		Bad:    `thickness=3 mm`, Good: `variant=pickled; thickness=3 mm`,
	},
	{
		Name: schema.RuleMisplacedFile, Severity: Error, Scope: PerFile, Check: problems,
		Title:  "a file lies where its content does not belong",
		Why:    "People and programs find a condition by where it lies.",
		Source: "schema/README.md, files of a library",
		Bad:    `set:machine=bay-1`, Good: `machine:note=moved in 2024`,
	},
	{
		Name: "empty-set", Severity: Note, Scope: PerSet, Check: emptySet,
		Title:  "a set without conditions",
		Why:    "It says nothing yet. Was it meant to hold something, or was everything in it lost? A set that is no longer used is deleted.",
		Source: "trade judgement",
		Bad:    `set:conditions:=[]; at conditions`, Good: `set:note=empty but for the rest`,
	},
	{
		Name: "not-formatted", Severity: Warning, Scope: PerFile, Check: notFormatted,
		Title:  "not in the house layout",
		Why:    "In the house layout a change of one value is a change of one line, so that a review shows the change and nothing else.",
		Source: "schema/README.md, layout",
		Bad:    `text:"gas": "oxygen", => "gas":"oxygen",; at`, Good: `set:note=laid out`,
	},
	{
		Name: "unknown-machine", Severity: Error, Scope: PerSet, Check: unknownMachine,
		Title:  "no profile of this machine",
		Why:    "Without a profile no limit of the machine can be checked, and the conditions belong to nobody.",
		Source: "machines/ of the library",
		Bad:    `without:machines/bay-2.json; at machine`, Good: `without:machines/bay-1.json`,
	},
	{
		Name: "unknown-material", Severity: Error, Scope: PerSet | PerSettings, Check: unknownMaterial,
		Title:  "a material that is not known",
		Why:    "A material without constants cannot be judged: melting point, heat and reflection differ by a factor of ten among metals.",
		Source: "known materials, and materials of fettle.json",
		Bad:    `set:material=carbon-stel`, Good: `set:material=carbon-steel`,
	},
	{
		Name: "unknown-gas", Severity: Error, Scope: PerSet | PerSettings | PerMachine | PerRecipe, Check: unknownGas,
		Title:  "a gas that is not known",
		Why:    "Whether a gas burns, shields or smothers is what most limits hang on.",
		Source: "known gases, and mixes of fettle.json",
		Bad:    `pierce[0].gas=oxgen`, Good: `pierce[0].gas=oxygen`,
	},
	{
		Name: "unknown-rule", Severity: Error, Scope: PerSettings, Check: unknownRule,
		Title:  "the settings name a rule that does not exist",
		Why:    "A rule that was meant to be stricter, and is not, is worse than none: everybody relies on it.",
		Source: "lint/README.md",
		Bad:    `settings:rules.larg-step.severity=error; at rules.larg-step`, Good: `settings:rules.large-step.severity=error`,
	},
}

// problems passes on what the reader found under the name of the rule.
func problems(p *Pass) {
	if p.Recipe != nil || p.Settings != nil || p.Machine != nil {
		return
	}
	for _, problem := range p.File.Problems {
		if problem.Rule != p.rule.Name {
			continue
		}
		q, at := p.inside(problem)
		q.Report(at, "%s", problem.Message).Help = problem.Help
	}
}

var inCondition = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^conditions\[(\d+)\]\.?(.*)$`) })

// inside turns a path from the root of a file into one inside the condition that it belongs to.
func (p *Pass) inside(problem schema.Problem) (*Pass, Place) {
	at := Place{problem.Field, problem.At}
	m := inCondition().FindStringSubmatch(problem.Field)
	if m == nil {
		return p, at
	}
	index, err := strconv.Atoi(m[1])
	if err != nil {
		return p, at
	}
	for _, r := range p.Library.Recipes {
		if r.File == p.File && r.Index == index {
			at.Field = m[2]
			return p.On(r), at
		}
	}
	return p, at
}

// unknownField adds the members of the machine's own that its profile does not declare.
func unknownField(p *Pass) {
	if p.Recipe == nil {
		problems(p)
		return
	}
	if p.Machine == nil {
		return
	}
	for _, row := range p.Recipe.Extra {
		if !slices.Contains(p.Machine.Extra.V, row.Name) {
			f := p.Report(Place{"extra." + row.Name, row.NameAt}, "%q is not declared by the profile of %s", row.Name, p.Machine.Name.V)
			f.Help = didYouMean(row.Name, p.Machine.Extra.V, `Declare it under "extra" of the machine profile.`)
		}
	}
}

func emptySet(p *Pass) {
	if p.Set.Conditions.Set() && len(p.Set.Conditions.V) == 0 {
		p.Report(At("conditions", p.Set.Conditions), "the set holds no condition")
	}
}

func notFormatted(p *Pass) {
	if !p.File.IsObject() || p.File.LaidOut() {
		return
	}
	want := schema.Layout(p.File.Root())
	if bytes.Equal(want, p.File.Data) { // a name stands in it twice
		return
	}
	at := 0
	for at < len(want) && at < len(p.File.Data) && want[at] == p.File.Data[at] {
		at++
	}
	end := at
	for end < len(p.File.Data) && p.File.Data[end] != '\n' {
		end++
	}
	why := "the file is not in the house layout"
	if bytes.ContainsRune(p.File.Data, '\r') {
		why += " (its lines end in CR LF)"
	}
	p.Report(Place{"", schema.Span{Start: at, End: end}}, "%s", why).Help = "fettle format " + p.File.Path
}

func unknownMachine(p *Pass) {
	name := p.Set.Machine
	if !name.Set() || p.Machine != nil {
		return
	}
	path := schema.FileOf(schema.SubjectMachine, name.V)
	if p.Library.File(path) != nil {
		p.Report(At("machine", name), "the profile of %q cannot be read", name.V).Help = "See the findings in " + path + "."
		return
	}
	var names []string
	for known := range p.Library.Machines {
		names = append(names, known)
	}
	slices.Sort(names)
	p.Report(At("machine", name), "there is no machine %q", name.V).Help = didYouMean(name.V, names, "Its profile would be "+path+".")
}

func unknownMaterial(p *Pass) {
	if p.Settings != nil {
		for _, own := range p.Settings.Materials {
			if base := own.V.Base; base.Set() && !slices.Contains(schema.Materials, base.V) {
				p.Report(At("materials."+own.Name+".base", base), "%q is no material with constants of its own", base.V).
					Help = didYouMean(base.V, schema.Materials, "")
			}
		}
		return
	}
	name := p.Set.Material
	if !name.Set() || p.Material != "" {
		return
	}
	names := slices.Clone(schema.Materials)
	if s := p.Library.Settings.Value; s != nil {
		for _, own := range s.Materials {
			if own.Name == name.V {
				return // its base is the finding
			}
			names = append(names, own.Name)
		}
	}
	p.Report(At("material", name), "there is no material %q", name.V).
		Help = didYouMean(name.V, names, `A material of the shop's own is added under "materials" of fettle.json, with the known one that it is judged as.`)
}

// components may be part of a mix, beside the gases that are cut with.
var components = []string{"oxygen", "nitrogen", "argon", "air", "hydrogen", "helium", "carbon-dioxide"}

func unknownGas(p *Pass) {
	if p.Recipe != nil && !slices.ContainsFunc(p.blocks(), (*block).ownGas) { // nearly always
		return
	}
	known := p.gasNames()
	help := `A mix is added under "gases" of fettle.json, with its shares by volume.`
	switch {
	case p.Settings != nil:
		for _, mix := range p.Settings.Gases {
			for _, part := range mix.V {
				if !slices.Contains(components, part.Name) {
					p.Report(Place{"gases." + mix.Name + "." + part.Name, part.NameAt}, "%q is no gas to mix from", part.Name).Help = didYouMean(part.Name, components, "")
				}
			}
		}
	case p.Recipe != nil:
		for _, b := range p.blocks() {
			if b.ownGas() && !slices.Contains(known, b.stage.Gas.V) {
				p.Report(At(b.field("gas"), b.stage.Gas), "there is no gas %q", b.stage.Gas.V).Help = didYouMean(b.stage.Gas.V, known, help)
			}
		}
	case p.Set != nil:
		if gas := p.Set.Gas; gas.Set() && !slices.Contains(known, gas.V) {
			p.Report(At("gas", gas), "there is no gas %q", gas.V).Help = didYouMean(gas.V, known, help)
		}
	default:
		for _, supply := range p.Machine.Gas {
			if !slices.Contains(known, supply.Name) {
				p.Report(Place{"gas." + supply.Name, supply.NameAt}, "there is no gas %q", supply.Name).Help = didYouMean(supply.Name, known, help)
			}
		}
	}
}

func (p *Pass) gasNames() []string {
	names := slices.Clone(schema.Gases)
	if s := p.Library.Settings.Value; s != nil {
		for _, mix := range s.Gases {
			names = append(names, mix.Name)
		}
	}
	return names
}

func unknownRule(p *Pass) {
	for _, row := range p.Settings.Rules {
		_, near, ok := RuleNamed(row.Name)
		if ok {
			continue
		}
		help := "All rules: fettle rules"
		if near != "" {
			help = fmt.Sprintf("Did you mean %q? ", near) + help
		}
		p.Report(Place{"rules." + row.Name, row.NameAt}, "there is no rule %q", row.Name).Help = help
	}
}

// didYouMean offers the nearest name, else all of them where they are few, and then what else may be done.
func didYouMean(word string, names []string, otherwise string) string {
	help := ""
	if near := schema.Nearest(word, names); near != "" {
		help = fmt.Sprintf("Did you mean %q?", near)
	} else if len(names) > 0 && len(names) <= 12 {
		help = "Known: " + strings.Join(names, ", ") + "."
	}
	return strings.TrimSpace(help + " " + otherwise)
}
