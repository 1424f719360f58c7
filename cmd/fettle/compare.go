package main

import (
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"fettle/cmd/fettle/table"
	"fettle/history"
	"fettle/history/audit"
	"fettle/schema"
)

// compareFlags say what is compared with what.
type compareFlags struct {
	table.Options
	unit, span string
	take       []string
}

func init() {
	commands = append(commands, func(a *app) *cobra.Command {
		var f compareFlags
		cmd := &cobra.Command{Use: "compare FILE --unit U | A B | --range A..B", Short: "what a machine really holds against what is approved; two machines; two commits",
			Long: "compare FILE --unit U reads a table that the machine wrote out (CSV) and holds it against what is approved: conditions that are missing, that\n" +
				"nobody approved, that are not what is approved, or that are what was approved once. How the table names its columns, materials and gases, and in\n" +
				"which steps the machine keeps its values, stands in the machine profile under \"export\".\n" +
				"compare A B: two machines by their conditions, or two real machines that share a profile by what was loaded on each.\n" +
				"compare --range A..B: two commits.\nExit code 0 where nothing differs, 1 where something does, 2 where something could not be read: fit for a job at night.",
			Example: "  fettle compare bay-2.csv --unit bay-2\n  fettle compare bay-2.csv --unit bay-2 --take bay-2/carbon-steel/oxygen/10mm\n  fettle compare bay-2 bay-5\n  fettle compare --range v1..HEAD",
			RunE: func(cmd *cobra.Command, args []string) error {
				if err := a.oneOf("text", "json"); err != nil {
					return err
				}
				return a.compare(args, f)
			}}
		fl := cmd.Flags()
		fl.StringVar(&f.unit, "unit", "", "the real machine that the table is from")
		fl.StringVar(&f.span, "range", "", "two commits: A..B")
		fl.StringSliceVar(&f.take, "take", nil, "take the values of these conditions from the table into the files, as edits that are not saved")
		fl.StringVar(&f.Focus, "focus", "", "which way positive focus counts in the table: up or down")
		fl.StringVar(&f.Decimal, "decimal", "", "comma or point, where the table does not show which")
		fl.StringVar(&f.Material, "material", "", "material, where the table has no column for it")
		fl.StringVar(&f.Gas, "gas", "", "gas, likewise")
		fl.StringSliceVar(&f.Skip, "skip", nil, "columns to leave out, by letter or header")
		a.completeUnits(cmd)
		return cmd
	})
}

func (a *app) compare(args []string, f compareFlags) error {
	s, err := a.open()
	if err != nil {
		return err
	}
	s.apart() // what is compared is read when it is known
	if _, _, err := s.both(); err != nil {
		return err
	}
	if len(f.take) > 0 && (f.span != "" || len(args) != 1) {
		return troublef("Such as: fettle compare FILE --unit U --take ID", "--take takes values from a table")
	}
	switch {
	case f.span != "":
		return s.compareCommits(f.span, args)
	case len(args) == 2:
		return s.compareMachines(args[0], args[1])
	case len(args) == 1:
		return s.compareTable(args[0], f)
	}
	return troublef("fettle compare FILE --unit U\nfettle compare MACHINE MACHINE\nfettle compare --range A..B", "what is to be compared?")
}

// A drift is how one condition on a machine stands to what is approved.
type drift struct {
	id      schema.ID
	status  string // same, changed, stale, provisional, unapproved, missing, extra
	row     int
	changes []history.FieldChange // approved → on the machine
	recipe  schema.Digest         // that the machine holds, where it is a known one
	says    []string              // in words, what it is
}

// The statuses of a drift.
const (
	driftSame        = "same"
	driftChanged     = "changed"     // values that no recipe here has
	driftStale       = "stale"       // what was approved, or saved, once
	driftUnapproved  = "unapproved"  // what is saved now and nobody approved
	driftProvisional = "provisional" // the same with a permit
	driftMissing     = "missing"     // approved, and not on the machine
	driftExtra       = "extra"       // on the machine, and nothing of the id is approved
)

// A machineTable is a table of a machine as it was read.
type machineTable struct {
	file     string
	unit     string
	machine  *schema.Machine
	scanned  *table.Scanned
	readings []audit.Reading
	steps    audit.Steps
}

// readTable reads what a machine wrote out.
func (s *shop) readTable(file string, unit string, opt table.Options) (*machineTable, error) {
	lib := s.unsaved.lib // of which conditions are not asked
	m, err := machineOf(lib, unit)
	if err != nil {
		return nil, err
	}
	data, err := s.readSheet(file)
	if err != nil {
		return nil, err
	}
	export := m.Export.V
	opt.Machine = m.Name.V
	opt.Columns, opt.Names = map[string]string{}, map[string]string{}
	for _, row := range export.Columns {
		opt.Columns[row.Name] = row.V
	}
	for _, row := range export.Names {
		opt.Names[row.Name] = row.V
	}
	if opt.Decimal == "" {
		opt.Decimal = export.Decimal.V
	}
	t := &machineTable{file: file, unit: unit, machine: m, scanned: table.Scan(data, lib, opt)}
	if problems := t.scanned.Problems; len(problems) > 0 {
		var lines []string
		for i, p := range problems {
			if i == 12 {
				lines = append(lines, fmt.Sprintf("and %d more", len(problems)-i))
				break
			}
			line := "  " + p.String()
			for help := range strings.Lines(p.Help) {
				line += "\n      " + strings.TrimSpace(help)
			}
			lines = append(lines, line)
		}
		return nil, troublef(strings.Join(lines, "\n")+"\nHow this machine names its columns, materials and gases is said in machines/"+m.Name.V+".json: \"export\".",
			"%s: %s to settle before anything can be compared", file, counted(len(problems), "thing"))
	}
	for _, row := range t.scanned.Rows {
		t.readings = append(t.readings, audit.Reading{ID: row.ID, Row: row.Row, Fields: row.Fields})
	}
	t.steps = audit.ShownSteps(t.readings)
	if err := t.steps.ReadSteps(export.Resolution, table.Dimension); err != nil {
		return nil, troublef("Such as: \"resolution\": {\"cut.pressure\": \"0.01 bar\"}", "machines/%s.json: %w", m.Name.V, err)
	}
	return t, s.aboutTable(t)
}

// aboutTable goes on with the conditions of the machine and of its table, where the library was not all read.
func (s *shop) aboutTable(t *machineTable) error {
	if s.part == nil {
		return nil
	}
	sets, _, err := s.sets()
	if err != nil {
		return err
	}
	sets = slices.DeleteFunc(sets, func(set [3]string) bool { return set[0] != t.machine.Name.V })
	for i := range t.readings {
		sets = append(sets, setOf(t.readings[i].ID))
	}
	return s.turn(s.part.origin.ofSets(sets))
}

// trailOfTable is the history of the conditions in a table.
func (s *shop) trailOfTable(t *machineTable) (*audit.Trail, error) {
	if s.part == nil {
		return s.trail("")
	}
	ids := make([]schema.ID, len(t.readings))
	for i := range t.readings {
		ids[i] = t.readings[i].ID
	}
	return s.toldTrail("", ids)
}

// driftsOf works out how every condition on the machine stands.
func (s *shop) driftsOf(t *machineTable) ([]drift, error) {
	standing := s.standing(&s.committed)
	var out []drift
	seen := map[schema.ID]bool{}
	var trail *audit.Trail
	for i := range t.readings {
		r := &t.readings[i]
		seen[r.ID] = true
		position := standing.Position(s.committed.lib, r.ID)
		approved := position.Approved()
		d := drift{id: r.ID, row: r.Row}
		if approved == nil && standing.Anchor == nil && position.Now != nil {
			approved = position.Now.Values() // nothing is adopted: what is saved is all there is
		}
		if approved != nil {
			if d.changes = t.steps.Drift(approved, r, t.scanned.Paths); len(d.changes) == 0 {
				d.status, d.recipe = driftSame, approved.Digest()
				if position.Status == history.Stale {
					d.says = append(d.says, "as approved, and the machine changed since it was")
				}
				out = append(out, d)
				continue
			}
		}
		if trail == nil {
			var err error
			if trail, err = s.trailOfTable(t); err != nil {
				return nil, err
			}
		}
		s.explainDrift(&d, t, r, position, approved, trail)
		out = append(out, d)
	}
	for _, p := range standing.Positions(s.committed.lib) {
		if p.ID.Machine == t.machine.Name.V && !seen[p.ID] && p.Approved() != nil {
			out = append(out, drift{id: p.ID, status: driftMissing, recipe: p.Approved().Digest()})
		}
	}
	slices.SortStableFunc(out, func(a, b drift) int { return a.id.Compare(b.id) })
	return out, nil
}

// explainDrift says what a machine holds that is not what is approved.
func (s *shop) explainDrift(d *drift, t *machineTable, r *audit.Reading, position history.Position, approved *schema.Values, trail *audit.Trail) {
	d.status = driftChanged
	if approved == nil {
		d.status = driftExtra
	}
	now := position.Now
	if now != nil && len(t.steps.Drift(now.Values(), r, t.scanned.Paths)) == 0 {
		d.recipe = now.Digest()
		d.status = driftUnapproved
		d.says = append(d.says, "it is what is saved now, which is not approved")
		if permit := trail.Ledger.Permit(r.ID.String(), d.recipe, t.unit, s.now()); permit != nil {
			d.status = driftProvisional
			d.says = []string{"it is what is saved now, provisional until " + s.moment(permit.Until.V)}
		}
		return
	}
	versions := trail.Versions(r.ID.String())
	for i := len(versions) - 1; i >= 0; i-- {
		v := versions[i]
		values := trail.Recipe(r.ID.String(), v.Digest)
		if values == nil || len(t.steps.Drift(values, r, t.scanned.Paths)) > 0 {
			continue
		}
		d.recipe = v.Digest
		if approved != nil {
			d.status = driftStale
		}
		words := fmt.Sprintf("it is what was saved on %s by %s  %s", s.day(v.Committed), auditPerson(v.By), v.Digest.Short())
		if once := position.State.Once(v.Digest); len(once) > 0 {
			words = fmt.Sprintf("it is an older recipe, approved on %s by %s  %s", s.day(once[0].Record.Time()), spoken(once[0].Person), v.Digest.Short())
		} else if d.status == driftStale {
			words += "; it was never approved"
		}
		d.says = append(d.says, words)
		return
	}
	switch {
	case now == nil && approved == nil:
		d.says = append(d.says, "no such condition is in the library, and none ever was")
		if len(versions) > 0 {
			d.says = []string{"the condition was taken out of the library"}
		}
	case approved == nil:
		d.says = append(d.says, "the condition is in the library with other values, and it was never approved")
	default:
		d.says = append(d.says, "no recipe that was ever saved has these values")
	}
}

func (s *shop) compareTable(file string, f compareFlags) error {
	if _, err := os.Stat(file); err != nil && f.unit == "" && (s.unsaved.lib.Machine(file) != nil || slices.Contains(unitsOf(s.unsaved.lib), file)) {
		return troublef("fettle compare "+file+" OTHER-MACHINE, or fettle compare FILE --unit "+file, "%s is a machine; what is it to be compared with?", file)
	}
	t, err := s.readTable(file, f.unit, f.Options)
	if err != nil {
		return err
	}
	if len(f.take) > 0 {
		return s.takeFrom(t, f.take)
	}
	drifts, err := s.driftsOf(t)
	if err != nil {
		return err
	}
	differs := slices.ContainsFunc(drifts, func(d drift) bool { return d.status != driftSame })
	if s.format == "json" {
		if err := s.json(s.compareJSON(t, drifts)); err != nil {
			return err
		}
	} else {
		s.printDrifts(t, drifts)
	}
	if differs {
		return errFound
	}
	return nil
}

// printDrifts prints what differs, the worst first.
func (s *shop) printDrifts(t *machineTable, drifts []drift) {
	count := map[string]int{}
	for _, d := range drifts {
		count[d.status]++
	}
	s.say("%s against what is approved: %s in %s, %d as approved", t.unit, counted(len(t.readings), "condition"), clean(t.file), count[driftSame])
	if s.standing(&s.committed).Anchor == nil {
		s.say("nothing is adopted yet, so this is against what is saved")
	}
	titles := []struct{ status, words string }{
		{driftChanged, "changed: not what is approved (approved -> on the machine)"},
		{driftStale, "stale: an older recipe is still on the machine (approved -> on the machine)"},
		{driftUnapproved, "not approved: the machine runs what nobody has decided on (approved -> on the machine)"},
		{driftProvisional, "provisional (approved -> on the machine)"},
		{driftExtra, "extra: on the machine, and nothing of it is approved"},
		{driftMissing, "missing: approved, and not on the machine"},
	}
	for _, title := range titles {
		if count[title.status] == 0 {
			continue
		}
		s.say("\n%s", title.words)
		if title.status == driftMissing {
			s.printMissing(t, drifts)
			continue
		}
		for _, d := range drifts {
			if d.status != title.status {
				continue
			}
			row := ""
			if d.row > 0 {
				row = fmt.Sprintf("   row %d", d.row)
			}
			s.say("  %s%s", d.id, row)
			if d.status != driftExtra {
				for _, line := range s.changeLines(d.changes) {
					s.say("      %s", line)
				}
			}
			for _, w := range d.says {
				s.say("      %s", w)
			}
		}
	}
	for _, d := range drifts {
		if d.status == driftSame && len(d.says) > 0 {
			s.say("\nnote  %s: %s", d.id, strings.Join(d.says, "; "))
		}
	}
	s.sayUnseen(t, drifts)
	first := func(statuses ...string) *drift {
		for i := range drifts {
			if slices.Contains(statuses, drifts[i].status) {
				return &drifts[i]
			}
		}
		return nil
	}
	if d := first(driftChanged, driftStale); d != nil {
		s.say("\nnext  load what is approved again (fettle export gives it), or, if the machine is right, take its values in and have them decided:")
		s.say("      fettle compare %s --unit %s --take %s", clean(t.file), t.unit, d.id)
	}
	if d := first(driftUnapproved); d != nil {
		s.say("\nnext  fettle review %s", d.id)
	}
}

// printMissing lists what is not on the machine; a set of which it holds nothing at all in one line.
func (s *shop) printMissing(t *machineTable, drifts []drift) {
	set := func(id schema.ID) string { return id.Machine + "/" + id.Material + "/" + id.Gas + "/" }
	held, whole := map[string]bool{}, map[string]int{}
	for _, r := range t.readings {
		held[set(r.ID)] = true
	}
	for _, d := range drifts {
		switch {
		case d.status != driftMissing:
		case held[set(d.id)]:
			s.say("  %s", d.id)
		default:
			whole[set(d.id)]++
		}
	}
	for _, name := range slices.Sorted(maps.Keys(whole)) {
		s.say("  %s   all of it, %s", name, counted(whole[name], "condition"))
	}
}

// sayUnseen says what this comparison cannot see: members without a column, and values that the table writes coarsely.
func (s *shop) sayUnseen(t *machineTable, drifts []drift) {
	var members []string
	coarse := map[string]bool{}
	for _, d := range drifts {
		v := s.valuesOf(d.id, d.recipe)
		if v == nil {
			continue
		}
		for _, f := range schema.Fields(v) {
			if path := unseenMember(f.Path, t.scanned.Paths); path != "" {
				members = append(members, path)
			}
			if slices.Contains(t.scanned.Paths, f.Path) && t.steps.Coarse(f, 0.05) {
				coarse[f.Path] = true
			}
		}
	}
	if members = unique(members); len(members) > 0 {
		s.say("\nnot compared, since the table has no column for it: %s", strings.Join(members, ", "))
	}
	var steps []string
	for _, path := range t.scanned.Paths {
		if coarse[path] {
			steps = append(steps, schema.SpokenPath(path)+" "+t.steps[path].Text())
		}
	}
	if len(steps) > 0 {
		s.say("kept or written in coarse steps; what differs by less than half a step is not seen: %s", strings.Join(steps, ", "))
	}
}

// unseenMember is the member, or the part of a recipe, that no column gives; "" for one that has a column or needs none.
func unseenMember(path string, columns []string) string {
	if !audit.Compared(path) {
		return ""
	}
	part, _, nested := strings.Cut(path, ".")
	if i := strings.IndexByte(part, '['); i >= 0 {
		part = part[:i]
	}
	inPart := false
	for _, c := range columns {
		if c == path || strings.HasPrefix(path, c+"[") {
			return ""
		}
		inPart = inPart || strings.HasPrefix(c, part)
	}
	if nested && !inPart {
		return part
	}
	return schema.SpokenPath(path)
}

func (s *shop) compareJSON(t *machineTable, drifts []drift) any {
	type change struct {
		Field    string  `json:"field"`
		Approved *string `json:"approved"`
		Machine  *string `json:"machine"`
	}
	type condition struct {
		ID      string   `json:"id"`
		Status  string   `json:"status"`
		Row     *int     `json:"row"`
		Recipe  *string  `json:"recipe"`
		Changes []change `json:"changes"`
		Says    []string `json:"says"`
	}
	out := struct {
		Format     int               `json:"format"`
		File       string            `json:"file"`
		Unit       string            `json:"unit"`
		Machine    string            `json:"machine"`
		Columns    []string          `json:"columns"`
		Steps      map[string]string `json:"steps"`
		Conditions []condition       `json:"conditions"`
	}{1, t.file, t.unit, t.machine.Name.V, append([]string{}, t.scanned.Paths...), map[string]string{}, []condition{}}
	for path, step := range t.steps {
		out.Steps[path] = step.Text()
	}
	for _, d := range drifts {
		c := condition{ID: d.id.String(), Status: d.status, Recipe: some(string(d.recipe)), Changes: []change{}, Says: append([]string{}, d.says...)}
		if d.row > 0 {
			c.Row = &d.row
		}
		for _, f := range d.changes {
			c.Changes = append(c.Changes, change{f.Path, some(f.From.Text), some(f.To.Text)})
		}
		out.Conditions = append(out.Conditions, c)
	}
	return out
}
