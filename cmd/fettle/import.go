package main

import (
	"fmt"
	"io"
	"maps"
	"os"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"fettle/cmd/fettle/table"
)

// importFlags are what a person says about a sheet.
type importFlags struct {
	table.Options
	write, template bool
}

func init() {
	commands = append(commands, func(a *app) *cobra.Command {
		var f importFlags
		cmd := &cobra.Command{Use: "import FILE", Short: "take conditions in from a spreadsheet saved as CSV; shows them as read, --write keeps them",
			Long: "Reads a CSV file as spreadsheet programs write it: commas, semicolons or tabs, any common encoding, decimal point or comma, units in the\n" +
				"header row or in the cells. Shows every condition as read. Nothing is written without --write, and nothing at all while a cell cannot be read.\n" +
				"A second import updates the members that the sheet has columns for, keeps all others, and deletes nothing.",
			Example: "  fettle import --template > conditions.csv\n  fettle import conditions.csv --machine bay-2 --focus up\n  fettle import conditions.csv --machine bay-2 --focus up --write",
			Args: func(cmd *cobra.Command, args []string) error {
				if f.template && len(args) == 0 || !f.template && len(args) == 1 {
					return nil
				}
				return troublef("fettle import FILE, or fettle import --template for an example", "one file is needed; - reads what comes in")
			},
			RunE: func(cmd *cobra.Command, args []string) error {
				if err := a.oneOf("text", "json"); err != nil {
					return err
				}
				if f.template {
					return a.importTemplate()
				}
				return a.importSheet(args[0], f)
			}}
		fl := cmd.Flags()
		fl.StringVar(&f.Machine, "machine", "", "machine, where the sheet has no column for it")
		fl.StringVar(&f.Material, "material", "", "material, likewise")
		fl.StringVar(&f.Gas, "gas", "", "gas, likewise")
		fl.StringVar(&f.Focus, "focus", "", "which way positive focus counts: up (above the surface) or down (into the plate)")
		fl.StringVar(&f.Decimal, "decimal", "", "comma or point, where the sheet does not show which")
		fl.StringVar(&f.Encoding, "sheet-encoding", "", "encoding of the file, where it is not found: "+strings.Join(table.Encodings(), ", "))
		fl.StringSliceVar(&f.Skip, "skip", nil, "columns to leave out, by letter or header")
		fl.BoolVar(&f.write, "write", false, "write the conditions into the set files")
		fl.BoolVar(&f.template, "template", false, "print a header row with units and one example row")
		return cmd
	})
}

// importTemplate prints an example for the first machine of the library, or for an invented one where there is none.
func (a *app) importTemplate() error {
	machine := "bay-1"
	if s, err := a.open(); err == nil {
		s.apart()
		if lib, err := s.work(); err == nil && len(lib.Machines) > 0 {
			machine = lib.MachineNames()[0]
		}
	}
	return table.Template(machine, a.out)
}

func (a *app) importSheet(file string, f importFlags) error {
	s, err := a.open()
	if err != nil {
		return err
	}
	s.apart()
	if _, err := s.work(); err != nil {
		return err
	}
	data, err := a.readSheet(file)
	if err != nil {
		return err
	}
	if err := s.aboutSheet(data, f.Options); err != nil {
		return err
	}
	lib, err := s.work()
	if err != nil {
		return err
	}
	imp := table.Read(data, lib, f.Options)
	if len(imp.Problems) > 0 && imp.Separator == "" {
		p := imp.Problems[0]
		return troublef(p.Help, "%s: %s", file, p)
	}
	bad := len(imp.Problems) > 0
	if f.write && !bad {
		if err := s.writeAll(imp.Files); err != nil {
			return err
		}
	}
	if a.format == "json" {
		if err := a.json(importJSON(file, imp, f.write && !bad)); err != nil {
			return err
		}
	} else if bad || !a.quiet { // what is wrong is said also with -q
		a.printPreview(imp.Preview(lib.Prefs()))
	}
	if bad {
		if a.format == "text" {
			fmt.Fprintf(a.out, "\nnothing was written; %s to settle first\n", counted(len(imp.Problems), "thing"))
		}
		return errFound
	}
	if a.format == "text" {
		s.sayImported(file, imp, f.write)
	}
	return nil
}

// aboutSheet goes on with what a sheet may be written into, where the library was not all read: its sets, what stands in files that are
// called as these would be, and all that was edited since. Where a file cannot be read whole, all is looked at.
func (s *shop) aboutSheet(data []byte, opt table.Options) error {
	if s.part == nil {
		return nil
	}
	if !s.part.lookup.Sound() {
		s.wholly()
		return nil
	}
	edited, err := s.unsavedSets()
	if err != nil {
		return err
	}
	sets := slices.Concat(table.SetsOf(data, s.unsaved.lib, opt), edited)
	of := s.part.origin.ofSets(sets)
	wanted := map[[3]string]bool{}
	for _, set := range sets {
		below, err := s.part.lookup.Below("sets/"+set[0]+"/"+set[1]+"-"+set[2]+".json", s.part.snapshots[1])
		if err != nil {
			return err
		}
		maps.Copy(wanted, below)
		wanted[set] = true
	}
	of.where = func(machine, material, gas string) bool {
		return wanted[[3]string{machine, material, gas}] || machine == "" || material == "" || gas == ""
	}
	return s.turn(of)
}

// printPreview fits all but the rows of a table, which begin with a thickness, to the screen.
func (a *app) printPreview(text string) {
	for line := range strings.Lines(clean(text)) {
		line = strings.TrimSuffix(line, "\n")
		if row := strings.TrimPrefix(line, "  "); row != line && row != "" && row[0] >= '0' && row[0] <= '9' {
			fmt.Fprintln(a.out, line)
			continue
		}
		a.tell("%s", line)
	}
}

// readSheet reads the file, or what comes in for "-".
func (a *app) readSheet(file string) ([]byte, error) {
	in := a.in
	a.bar.end() // it may be typed
	if file != "-" {
		f, err := os.Open(file)
		if err != nil {
			return nil, troublef("Give the path of a CSV file; fettle import --template shows one.", "the sheet cannot be read: %w", err)
		}
		defer f.Close()
		if info, err := f.Stat(); err == nil && info.IsDir() {
			return nil, troublef("Give the path of a CSV file in it.", "%s is a directory", file)
		}
		in = f
	}
	data, err := io.ReadAll(io.LimitReader(in, table.MaxSize+1))
	if err != nil {
		return nil, troublef("", "%s cannot be read: %w", file, err)
	}
	return data, nil
}

// writeAll writes all files or none.
func (s *shop) writeAll(files []table.File) error {
	return s.whole(func() error {
		for _, f := range files {
			if err := s.write(f.Path, f.New); err != nil {
				return err
			}
		}
		return nil
	})
}

// sayImported ends an import with what happened and the next command.
func (s *shop) sayImported(file string, imp *table.Import, written bool) {
	fresh, updated := imp.Count(table.New), imp.Count(table.Updated)
	s.say("")
	switch {
	case len(imp.Files) == 0:
		s.say("the library holds all of it already; there is nothing to write")
		return
	case !written:
		s.say("%d new, %d updated, %d the same; nothing is written yet", fresh, updated, imp.Count(table.Unchanged))
		s.say("next     compare it with the sheet, then the same command with --write")
		return
	}
	for _, f := range imp.Files {
		s.say("written  %s", f.Path)
	}
	s.say("%d new, %d updated, %d the same; unsaved so far", fresh, updated, imp.Count(table.Unchanged))
	s.say("next     fettle lint")
	adopted := true
	if _, _, err := s.both(); err == nil {
		adopted = s.standing(&s.committed).Anchor != nil
	}
	if adopted {
		s.say("         fettle save --cause supplier-table --because \"...\"   (all causes: fettle save --help)")
		return
	}
	s.say("         fettle save")
	s.say("         fettle adopt --because \"what we cut with today\"")
}

// importReport is an import for programs.
type importReport struct {
	Format     int               `json:"format"`
	File       string            `json:"file"`
	Encoding   string            `json:"encoding"`
	Separator  string            `json:"separator"`
	Decimals   string            `json:"decimals"`
	Notes      []importNote      `json:"notes"`
	Problems   []importProblem   `json:"problems"`
	Conditions []importCondition `json:"conditions"`
	Files      []string          `json:"files"`
	Written    bool              `json:"written"`
}

type importNote struct {
	Cell  string `json:"cell"`
	Cells int    `json:"cells"`
	Text  string `json:"text"`
}

type importProblem struct {
	Row     int    `json:"row"`
	Column  int    `json:"column"`
	Cell    string `json:"cell"`
	Header  string `json:"header"`
	Message string `json:"message"`
	Help    string `json:"help"`
}

type importCondition struct {
	ID      string         `json:"id"`
	Row     int            `json:"row"`
	Status  string         `json:"status"`
	Changes []importChange `json:"changes"`
}

type importChange struct {
	Field string  `json:"field"`
	From  *string `json:"from"`
	To    string  `json:"to"`
}

func importJSON(file string, imp *table.Import, written bool) importReport {
	r := importReport{Format: 1, File: file, Encoding: imp.Encoding, Separator: imp.Separator, Decimals: imp.Decimals, Written: written,
		Notes: []importNote{}, Problems: []importProblem{}, Conditions: []importCondition{}, Files: []string{}}
	for _, n := range imp.Notes {
		r.Notes = append(r.Notes, importNote{n.At.String(), n.Cells, n.Text})
	}
	for _, p := range imp.Problems {
		r.Problems = append(r.Problems, importProblem{p.At.Row, p.At.Col, p.At.String(), p.Column, p.Message, p.Help})
	}
	for _, c := range imp.Changes {
		condition := importCondition{ID: c.ID.String(), Row: c.Row, Status: c.Status, Changes: []importChange{}}
		for _, f := range c.Fields {
			change := importChange{Field: f.Path, To: f.To.Text}
			if f.From.Path != "" {
				change.From = &f.From.Text
			}
			condition.Changes = append(condition.Changes, change)
		}
		r.Conditions = append(r.Conditions, condition)
	}
	for _, f := range imp.Files {
		r.Files = append(r.Files, f.Path)
	}
	return r
}
