package lint

import (
	"embed"
	"fmt"
	"io/fs"
	"regexp"
	"strings"
	"sync"

	"fettle/schema"
	"fettle/schema/quantity"
)

//go:embed example
var exampleFiles embed.FS

// exampleID is the condition that the edits of an example are about where they say nothing else.
const exampleID = "bay-2/carbon-steel/oxygen/6mm"

// An Example is a library with an edit: what the Bad and Good of a rule stand for. The library is the small one in the folder
// example, in which no rule has anything to say but notes.
type Example struct {
	Text    string          // as the rule has it
	Edit    string          // the part that a person would type: Text without where to look
	Field   string          // where the finding is expected: the first field, or the one behind "at"
	Before  *schema.Library // the library without the edit
	After   *schema.Library
	Options Options
}

// Findings are those that the edit brings.
func (e Example) Findings() []Finding { return Run(e.After, e.Options).New().Findings }

// An edit is one part of an example, separated by semicolons:
//
//	cut.power=8 kW             a member of the 6 mm condition; nothing behind = removes it
//	cut.power:=8               the same in JSON
//	8mm:cut.power=8 kW         of another condition of the set
//	8mm:all=6mm                the whole recipe of another
//	inert:cut.power=8 kW       of the 3 mm stainless steel that is cut with nitrogen
//	set:gas=argon              of the set; machine: and settings: likewise
//	text:"a" => "b"            the text of the set file; \n is a new line
//	without:machines/x.json    a file that is not there
//	change:cause=correction    what the history says of the change: cause, ruled_out, reasoned, status, own_approval, untried, trial, against, and
//	                           window=FIELD LOW to HIGH
//	record:altered=PATH        a record that was altered or removed
//	at cut.power               where to look, where that is not the first field
var editForm = sync.OnceValue(func() *regexp.Regexp {
	return regexp.MustCompile(`^(?s)(?:(machine|set|settings|inert|change|record|text|without|[0-9.]+mm):)?(.*?)$`)
})

// Example applies an edit to the example library: [Rule.Bad], [Rule.Good] or another of that form. Only rules about changes are
// told that it is a change.
func (r Rule) Example(text string) (Example, error) {
	e := Example{Text: text, Before: exampleLibrary(), Field: "\x00"}
	files := exampleSource()
	change := Change{Reasoned: true, Cause: "trial-result", RuledOut: []string{"loaded-condition", "nozzle-wear"}}
	var shown []string
	changes := false
	for _, part := range strings.Split(text, ";") {
		part = strings.TrimSpace(part)
		if part == "at" || strings.HasPrefix(part, "at ") {
			e.Field = strings.TrimSpace(part[2:])
			continue
		}
		shown = append(shown, part)
		m := editForm().FindStringSubmatch(part)
		prefix, rest := m[1], m[2]
		field, value, _ := strings.Cut(rest, "=")
		var err error
		switch prefix {
		case "change":
			changes = true
			err = change.set(field, value)
		case "record":
			e.Options.Records = append(e.Options.Records, RecordChange{Path: value, Removed: field == "removed", Kind: "approval", By: "Jonas Falk", At: "14 July 2026"})
		case "without":
			delete(files, rest)
		case "text":
			old, now, _ := strings.Cut(rest, "=>")
			path := "sets/bay-2/carbon-steel-oxygen.json"
			file := string(files[path])
			if old, now = strings.TrimSpace(old), strings.TrimSpace(now); !strings.Contains(file, old) {
				err = fmt.Errorf("%q does not stand in %s", old, path)
			}
			files[path] = []byte(strings.Replace(file, old, strings.ReplaceAll(now, `\n`, "\n"), 1))
		default:
			if e.Field == "\x00" {
				e.Field = strings.TrimSuffix(field, ":")
			}
			err = edit(files, prefix, field, value)
		}
		if err != nil {
			return Example{}, fmt.Errorf("%s: %w", part, err)
		}
	}
	e.Edit = strings.Join(shown, "; ")
	if e.Field == "\x00" {
		e.Field = ""
	}
	var err error
	if e.After, err = schema.ReadLibrary(files); err != nil {
		return Example{}, err
	}
	if id, err := schema.ParseID(exampleID); err == nil {
		before, after := e.Before.Recipe(id), e.After.Recipe(id)
		e.Options.Base = e.Before
		if r.Family == "change" && before != nil && after != nil && (changes || before.Digest() != after.Digest()) {
			change.ID, change.Before, change.After, change.Approved = id, before.Values(), after.Values(), before.Values()
			e.Options.Changes = []Change{change}
		}
	}
	return e, nil
}

func (c *Change) set(name, value string) error {
	switch name {
	case "cause":
		c.Cause = value
	case "ruled_out":
		c.RuledOut = nil
		if value != "" {
			c.RuledOut = strings.Split(value, ",")
		}
	case "reasoned":
		c.Reasoned = value != "no"
	case "status":
		c.Status = value
	case "own_approval":
		c.OwnApproval = value
	case "untried":
		c.Untried = value
	case "trial":
		c.TrialCovers = value == "covers"
	case "against":
		c.Against = value
	case "window":
		return c.setWindow(value)
	default:
		return fmt.Errorf("%q is nothing that a change has", name)
	}
	return nil
}

// setWindow reads "cut.pressure 0.28 bar to 0.34 bar".
func (c *Change) setWindow(text string) error {
	path, edges, _ := strings.Cut(text, " ")
	low, high, ok := strings.Cut(edges, " to ")
	_, unit, _ := strings.Cut(high, " ")
	dim, known := quantity.UnitDimension(unit)
	if !ok || !known {
		return fmt.Errorf("%q is no window such as cut.pressure 0.28 bar to 0.34 bar", text)
	}
	w := Window{Path: path, Steps: 3, Cuts: 6}
	var err error
	if w.Low, err = quantity.Parse(dim, low); err != nil {
		return err
	}
	w.High, err = quantity.Parse(dim, high)
	c.Windows = append(c.Windows, w)
	return err
}

// edit sets one member in the file that the prefix names.
func edit(files memory, prefix, field, value string) error {
	path := "sets/bay-2/carbon-steel-oxygen.json"
	switch prefix {
	case "machine":
		path = "machines/bay-2.json"
	case "settings":
		path = schema.SettingsFile
	case "inert":
		path, prefix = "sets/bay-2/stainless-steel-nitrogen.json", "3mm"
	}
	var node *schema.Node
	json := value
	raw, isRaw := strings.CutSuffix(field, ":")
	switch {
	case isRaw:
		field = raw
	case value == "":
		json = ""
	case value[0] != '{' && value[0] != '[':
		node = schema.Text(value)
	}
	if node == nil && json != "" {
		f := schema.ReadFile("value", []byte(`{"value": `+json+`}`))
		if node = f.Root().Get("value"); node == nil {
			return fmt.Errorf("%s is not JSON", json)
		}
	}
	root := schema.ReadFile(path, files[path]).Root()
	on := root
	if prefix == "" {
		prefix = exampleID[strings.LastIndexByte(exampleID, '/')+1:]
	}
	if strings.HasSuffix(prefix, "mm") {
		if on = conditionOf(root, prefix); on == nil {
			return fmt.Errorf("no condition of %s", prefix)
		}
	}
	if field == "all" {
		whole := conditionOf(schema.ReadFile(path, files[path]).Root(), value)
		if whole == nil {
			return fmt.Errorf("no condition of %s", value)
		}
		thickness := on.Str("thickness")
		on.Kids = whole.Kids
		field, node = "thickness", schema.Text(thickness)
	}
	if err := on.SetPath(field, node); err != nil {
		return err
	}
	files[path] = schema.Layout(root)
	return nil
}

// conditionOf finds the condition of a thickness such as 6mm in a set.
func conditionOf(root *schema.Node, thickness string) *schema.Node {
	list := root.Get("conditions")
	if list == nil {
		return nil
	}
	for _, c := range list.Kids {
		if strings.ReplaceAll(c.Str("thickness"), " ", "") == thickness {
			return c
		}
	}
	return nil
}

// memory is a snapshot of a library in memory.
type memory map[string][]byte

func (m memory) Files() []string {
	names := make([]string, 0, len(m))
	for name := range m {
		names = append(names, name)
	}
	return names
}

func (m memory) Read(path string) ([]byte, error) { return m[path], nil }

func exampleSource() memory {
	files := memory{}
	err := fs.WalkDir(exampleFiles, "example", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := exampleFiles.ReadFile(path)
		files[strings.TrimPrefix(path, "example/")] = data
		return err
	})
	if err != nil {
		panic("lint: the embedded example: " + err.Error())
	}
	return files
}

var exampleLibrary = sync.OnceValue(func() *schema.Library {
	lib, err := schema.ReadLibrary(exampleSource())
	if err != nil {
		panic("lint: the embedded example: " + err.Error())
	}
	return lib
})
