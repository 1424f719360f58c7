package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"fettle/cmd/fettle/table"
	"fettle/cmd/fettle/view"
	"fettle/schema"
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
	frame, err := s.work()
	if err != nil {
		return err
	}
	data, err := a.readSheet(file)
	if err != nil {
		return err
	}
	imp := &importing{sheet: table.Open(data, frame, f.Options), json: a.format == "json", counts: map[string]int{}}
	data = nil // it is held as cells
	defer imp.close()
	if err := s.planAll(imp); err != nil {
		return err
	}
	imp.read = imp.sheet.Done()
	imp.sheet = nil
	if len(imp.read.Problems) > 0 && imp.read.Separator == "" {
		p := imp.read.Problems[0]
		return troublef(p.Help, "%s: %s", file, p)
	}
	bad := len(imp.read.Problems) > 0
	if bad {
		imp.files = nil
	}
	if f.write && !bad {
		if err := s.writeAll(imp); err != nil {
			return err
		}
	}
	back := s.buffered()
	if a.format == "json" {
		err = a.importJSON(file, imp, f.write && !bad)
	} else if bad || !a.quiet { // what is wrong is said also with -q
		err = a.printImport(imp)
	}
	if back(); err != nil {
		return err
	}
	if bad {
		if a.format == "text" {
			fmt.Fprintf(a.out, "\nnothing was written; %s to settle first\n", counted(len(imp.read.Problems), "thing"))
		}
		return errFound
	}
	if a.format == "text" {
		s.sayImported(imp, f.write)
	}
	return nil
}

// An importing is a sheet with what it does to the library, which is put aside until all of it is known: of a hundred thousand conditions
// only a few fit into memory.
type importing struct {
	sheet  *table.Sheet
	read   *table.Import // how it was read, and all that is wrong; nil until all is planned
	json   bool
	counts map[string]int // conditions by what is done to them

	fresh, updated view.Aside // for people
	conditions     view.Aside // for programs
	contents       view.Aside // of the files
	files          []importFile
}

// An importFile is a set file to write, and where its content begins and ends.
type importFile struct {
	path     string
	from, to int64
}

func (imp *importing) close() {
	for _, aside := range []*view.Aside{&imp.fresh, &imp.updated, &imp.conditions, &imp.contents} {
		_ = aside.Close()
	}
}

// planAll holds a sheet against the library, some sets at a time. Where a file cannot be read whole, all is looked at at once.
func (s *shop) planAll(imp *importing) error {
	sets := imp.sheet.Sets()
	if s.part != nil && !s.part.lookup.Sound() {
		s.wholly()
	}
	if s.part == nil {
		lib, err := s.work()
		if err != nil {
			return err
		}
		return imp.plan(lib, sets)
	}
	edited, err := s.unsavedSets()
	if err != nil {
		return err
	}
	all := slices.Concat(sets, edited)
	slices.SortFunc(all, func(a, b [3]string) int { return slices.Compare(a[:], b[:]) }) // as ids are
	all = slices.Compact(all)
	lot := setsAtOnce
	names := map[string]bool{}
	for _, set := range sets {
		if names[table.HouseFile(set)] { // two would stand in one file
			lot = len(all)
		}
		names[table.HouseFile(set)] = true
	}
	done := 0
	for chunk := range slices.Chunk(all, max(1, lot)) {
		if len(all) > len(chunk) {
			s.bar.tell(done, len(all))
		}
		lib, err := s.libraryFor(chunk)
		if err != nil {
			return err
		}
		if err := imp.plan(lib, chunk); err != nil {
			return err
		}
		done += len(chunk)
	}
	return nil
}

// libraryFor is the library on disk as far as conditions of some sets may be written into it: these sets, and what stands in files that are
// called as theirs would be.
func (s *shop) libraryFor(sets [][3]string) (*schema.Library, error) {
	of := s.part.quietly().ofSets(sets)
	wanted := map[[3]string]bool{}
	for _, set := range sets {
		below, err := s.part.lookup.Below(table.HouseFile(set), s.part.snapshots[1])
		if err != nil {
			return nil, err
		}
		maps.Copy(wanted, below)
		wanted[set] = true
	}
	of.where = func(machine, material, gas string) bool {
		return wanted[[3]string{machine, material, gas}] || machine == "" || material == "" || gas == ""
	}
	return s.within(of).work()
}

// plan puts aside what a sheet does to some sets.
func (imp *importing) plan(lib *schema.Library, sets [][3]string) error {
	plan := imp.sheet.Plan(lib, sets)
	for _, status := range []string{table.New, table.Updated, table.Unchanged} {
		imp.counts[status] += plan.Count(status)
	}
	for _, f := range plan.Files {
		at := imp.contents.Size()
		if _, err := imp.contents.Write(f.New); err != nil {
			return notAside(err)
		}
		imp.files = append(imp.files, importFile{f.Path, at, imp.contents.Size()})
	}
	if !imp.json {
		fresh, updated := plan.PreviewChanges(lib.Prefs())
		_, wrong := io.WriteString(&imp.fresh, fresh)
		_, err := io.WriteString(&imp.updated, updated)
		return notAside(errors.Join(wrong, err))
	}
	for _, c := range plan.Changes {
		text, err := jsonInList(conditionJSON(c))
		if err != nil {
			return err
		}
		if imp.conditions.Size() > 0 {
			text = ",\n" + text
		}
		if _, err := io.WriteString(&imp.conditions, text); err != nil {
			return notAside(err)
		}
	}
	return nil
}

func notAside(err error) error {
	if err != nil {
		err = fmt.Errorf("what was read cannot be put aside until all is: %w", err)
	}
	return err
}

// printImport shows an import for people, as [table.Import.Preview] does.
func (a *app) printImport(imp *importing) error {
	parts := []io.Reader{strings.NewReader(imp.read.PreviewReading())}
	if len(imp.read.Problems) == 0 {
		parts = append(parts, imp.fresh.Read(0, imp.fresh.Size()), imp.updated.Read(0, imp.updated.Size()), strings.NewReader(table.PreviewUnchanged(imp.counts[table.Unchanged])))
	}
	in := bufio.NewReader(io.MultiReader(parts...))
	for {
		line, err := in.ReadString('\n')
		if line != "" {
			a.printPreview(line)
		}
		switch {
		case err == io.EOF:
			return nil
		case err != nil:
			return err
		}
	}
}

// printPreview fits a line to the screen, but for the rows of a table, which begin with a thickness.
func (a *app) printPreview(line string) {
	line = clean(strings.TrimSuffix(line, "\n"))
	if row := strings.TrimPrefix(line, "  "); row != line && row != "" && row[0] >= '0' && row[0] <= '9' {
		fmt.Fprintln(a.out, line)
		return
	}
	a.tell("%s", line)
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
func (s *shop) writeAll(imp *importing) error {
	return s.whole(func() error {
		for i, f := range imp.files {
			s.bar.tell(i, len(imp.files))
			data, err := io.ReadAll(imp.contents.Read(f.from, f.to))
			if err != nil {
				return err
			}
			if err := s.write(f.path, data); err != nil {
				return err
			}
		}
		return nil
	})
}

// sayImported ends an import with what happened and the next command.
func (s *shop) sayImported(imp *importing, written bool) {
	fresh, updated, same := imp.counts[table.New], imp.counts[table.Updated], imp.counts[table.Unchanged]
	s.say("")
	switch {
	case len(imp.files) == 0:
		s.say("the library holds all of it already; there is nothing to write")
		return
	case !written:
		s.say("%d new, %d updated, %d the same; nothing is written yet", fresh, updated, same)
		s.say("next     compare it with the sheet, then the same command with --write")
		return
	}
	for _, f := range imp.files {
		s.say("written  %s", f.path)
	}
	s.say("%d new, %d updated, %d the same; unsaved so far", fresh, updated, same)
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

// importJSON writes an import for programs, its conditions as they were put aside.
func (a *app) importJSON(file string, imp *importing, written bool) error {
	read := imp.read
	r := importReport{Format: 1, File: file, Encoding: read.Encoding, Separator: read.Separator, Decimals: read.Decimals, Written: written,
		Notes: []importNote{}, Problems: []importProblem{}, Conditions: []importCondition{}, Files: []string{}}
	for _, n := range read.Notes {
		r.Notes = append(r.Notes, importNote{n.At.String(), n.Cells, n.Text})
	}
	for _, p := range read.Problems {
		r.Problems = append(r.Problems, importProblem{p.At.Row, p.At.Col, p.At.String(), p.Column, p.Message, p.Help})
	}
	for _, f := range imp.files {
		r.Files = append(r.Files, f.path)
	}
	if imp.conditions.Size() == 0 {
		return a.json(r)
	}
	before, after, err := a.jsonAround(r)
	if err != nil {
		return err
	}
	_, err = io.Copy(a.out, io.MultiReader(strings.NewReader(before), imp.conditions.Read(0, imp.conditions.Size()), strings.NewReader(after)))
	return err
}

// conditionJSON is a condition of an import for programs.
func conditionJSON(c table.Change) importCondition {
	condition := importCondition{ID: c.ID.String(), Row: c.Row, Status: c.Status, Changes: []importChange{}}
	for _, f := range c.Fields {
		change := importChange{Field: f.Path, To: f.To.Text}
		if f.From.Path != "" {
			change.From = &f.From.Text
		}
		condition.Changes = append(condition.Changes, change)
	}
	return condition
}
