package main

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"fettle/history"
	"fettle/history/audit"
	"fettle/schema"
)

// loadFlags say what went onto a machine.
type loadFlags struct {
	unit, at, text, recipe, list, scan string
	approved, current, noCommit        bool
}

func init() {
	commands = append(commands, func(a *app) *cobra.Command {
		var f loadFlags
		cmd := &cobra.Command{Use: "load ID... --unit U", Short: "write down what went onto a machine",
			Long: "Writes down which recipes went onto a real machine, so that an audit can say later what a part was cut with. It sends nothing to the machine.\n" +
				"Where what is saved is not what is approved, say which of the two went on: --approved or --current. An older one: --recipe with its digest.\n" +
				"Many at once: --list FILE, a CSV file with the columns id and, if wanted, unit, at and recipe; or --scan FILE, a table that the machine\n" +
				"wrote out, of which each row is written down that is a recipe known here.",
			Example: "  fettle load bay-2/carbon-steel/oxygen/10mm --unit bay-2\n  fettle load bay-2/carbon-steel/ --unit bay-2 --approved --at '2026-11-12 06:00'\n" +
				"  fettle load --list loaded.csv --unit bay-2",
			ValidArgsFunction: a.complete(inSaved),
			RunE: func(cmd *cobra.Command, args []string) error {
				if err := a.oneOf("text", "json"); err != nil {
					return err
				}
				return a.loadRecipes(args, f)
			}}
		fl := cmd.Flags()
		fl.StringVar(&f.unit, "unit", "", "the real machine")
		fl.StringVar(&f.at, "at", "", "when it went on, if not just now: 2026-11-12 14:00, in the time of this computer")
		fl.BoolVar(&f.approved, "approved", false, "what is approved went on, whatever was edited since")
		fl.BoolVar(&f.current, "current", false, "what is saved now went on, approved or not")
		fl.StringVar(&f.recipe, "recipe", "", "an older recipe went on: the beginning of its digest")
		fl.StringVar(&f.list, "list", "", "CSV file with columns id, unit, at, recipe; only id is needed")
		fl.StringVar(&f.scan, "scan", "", "table that the machine wrote out")
		fl.StringVar(&f.text, "because", "", "in your own words")
		fl.BoolVar(&f.noCommit, "no-commit", false, "only stage the record; the next commit saves it")
		a.completeUnits(cmd)
		return cmd
	})
}

// completeUnits completes --unit with the real machines of the library.
func (a *app) completeUnits(cmd *cobra.Command) {
	cmd.RegisterFlagCompletionFunc("unit", func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
		s, err := a.open()
		if err != nil {
			return nil, cobra.ShellCompDirectiveNoFileComp
		}
		s.apart()
		lib, err := s.work()
		if err != nil {
			return nil, cobra.ShellCompDirectiveNoFileComp
		}
		return unitsOf(lib), cobra.ShellCompDirectiveNoFileComp
	})
}

// unitsOf are the real machines of a library, sorted.
func unitsOf(lib *schema.Library) []string {
	var units []string
	for _, name := range lib.MachineNames() {
		units = append(units, lib.Machine(name).UnitNames()...)
	}
	return unique(units)
}

// machineOf returns the profile of a real machine.
func machineOf(lib *schema.Library, unit string) (*schema.Machine, error) {
	for _, name := range lib.MachineNames() {
		if m := lib.Machine(name); slices.Contains(m.UnitNames(), unit) {
			return m, nil
		}
	}
	units := unitsOf(lib)
	help := "The machines here: " + strings.Join(units, ", ")
	if m := lib.Machine(unit); m != nil {
		help = "It is a profile that several machines share: " + strings.Join(m.UnitNames(), ", ")
	} else if near := schema.Nearest(unit, units); near != "" {
		help = "Did you mean " + near + "?\n" + help
	}
	if unit == "" {
		return nil, troublef(help, "which machine? Add --unit")
	}
	return nil, troublef(help, "there is no machine %q here", unit)
}

// past reads a moment that cannot lie ahead.
func (s *shop) past(flag, typed string) (time.Time, error) { return s.pastMoment(flag, typed, false) }

// pastEnd is [shop.past] for the end of something: of an hour that the clock shows twice it is the later one.
func (s *shop) pastEnd(flag, typed string) (time.Time, error) {
	return s.pastMoment(flag, typed, strings.Contains(typed, ":"))
}

func (s *shop) pastMoment(flag, typed string, end bool) (time.Time, error) {
	t, err := moment(flag, typed, end)
	if err == nil && t.After(s.now().Add(5*time.Minute)) {
		return t, troublef("Here it is "+clockText(s.now())+".", "%s %s lies in the future", flag, clockText(t))
	}
	return t, err
}

// clockText is a moment with its zone, as people read it: Monday 16 November 2026 06:00 CET.
func clockText(t time.Time) string { return t.Local().Format("Monday 2 January 2006 15:04 MST") }

// A planned load is one recipe that is to be written down.
type plannedLoad struct {
	unit   string
	at     time.Time // the zero time for now
	id     schema.ID
	recipe schema.Digest
	notes  []string
}

func (a *app) loadRecipes(typed []string, f loadFlags) error {
	s, err := a.open()
	if err != nil {
		return err
	}
	switch {
	case f.list == "" && f.scan == "":
		s.meant(typed, onRecord|unsaved, onceInUse)
	case f.list == "" && len(typed) == 0:
		s.apart()
	}
	if _, _, err := s.both(); err != nil {
		return err
	}
	ways := 0
	for _, given := range []bool{len(typed) > 0, f.list != "", f.scan != ""} {
		if given {
			ways++
		}
	}
	if ways != 1 {
		return troublef("Such as: fettle load bay-2/carbon-steel/oxygen/10mm --unit bay-2", "say what went on in one way: ids, --list FILE or --scan FILE")
	}
	if f.approved && f.current || f.recipe != "" && (f.approved || f.current) {
		return troublef("", "--approved, --current and --recipe are different recipes; choose one")
	}
	at, err := s.past("--at", f.at)
	if err != nil {
		return err
	}
	var plan []plannedLoad
	switch {
	case f.list != "":
		plan, err = s.planList(f, at)
	case f.scan != "":
		plan, err = s.planScan(f, at)
	default:
		plan, err = s.planIDs(typed, f, at)
	}
	if err != nil {
		return err
	}
	return s.writeLoads(plan, f)
}

// planIDs works out what the ids on the command line mean.
func (s *shop) planIDs(typed []string, f loadFlags, at time.Time) ([]plannedLoad, error) {
	ids, err := s.resolve(typed, s.ids(onceInUse))
	if err != nil {
		return nil, err
	}
	unit := f.unit
	if m := s.committed.lib.Machine(ids[0].Machine); unit == "" && m != nil && len(m.UnitNames()) == 1 {
		unit = m.UnitNames()[0]
	}
	if _, err := machineOf(s.committed.lib, unit); err != nil {
		return nil, err
	}
	var plan []plannedLoad
	var open []string
	for _, id := range ids {
		p, err := s.planOne(id, unit, f)
		var r *refusal
		if errors.As(err, &r) && len(ids) > 1 {
			open = append(open, "  "+r.message)
			continue
		}
		if err != nil {
			return nil, err
		}
		p.at = at
		plan = append(plan, p)
	}
	if len(open) > 0 {
		return nil, refusef(strings.Join(open, "\n")+"\nNothing was written. Say which went on for all of them: --approved or --current; or load them one by one.",
			"for %d of %s it is not clear which recipe went on", len(open), counted(len(ids), "condition"))
	}
	return plan, nil
}

// planOne works out which recipe of a condition went on.
func (s *shop) planOne(id schema.ID, unit string, f loadFlags) (plannedLoad, error) {
	p := plannedLoad{unit: unit, id: id}
	m, err := machineOf(s.committed.lib, unit)
	if err != nil {
		return p, err
	}
	if m.Name.V != id.Machine {
		return p, refusef("Its conditions begin with "+m.Name.V+"/.", "%s is of machine %s, and %s runs on the profile of %s", id, id.Machine, unit, m.Name.V)
	}
	standing := s.standing(&s.committed)
	position := standing.Position(s.committed.lib, id)
	inForce, approved := position.State.Digest()
	approved = approved && inForce != ""
	saved := position.Digest
	switch {
	case f.recipe != "":
		if p.recipe, err = s.findRecipe(id, f.recipe); err != nil {
			return p, err
		}
	case f.approved && !approved:
		return p, refusef("fettle review "+id.String()+" shows how it stands.", "%s has no approved recipe", id)
	case f.approved, approved && inForce == saved:
		p.recipe = inForce
	case saved == "":
		return p, refusef("Say so if it went on all the same: --approved", "%s is no longer in the library", id)
	case f.current, standing.Anchor == nil:
		p.recipe = saved
	default:
		help := "What is saved now: --current. An older recipe: --recipe DIGEST"
		if approved {
			help = "What is approved: --approved. " + help
		}
		return p, refusef(help, "%s is saved with values that are not approved; which recipe went on?", id)
	}
	p.notes = s.loadNotes(&p, position, f)
	return p, nil
}

// findRecipe finds an older recipe of a condition by the beginning of its digest.
func (s *shop) findRecipe(id schema.ID, typed string) (schema.Digest, error) {
	trail, err := s.toldOnce("", []schema.ID{id}, true)
	if err != nil {
		return "", err
	}
	typed = strings.ToLower(typed)
	var found []string
	for _, v := range trail.Versions(id.String()) {
		if strings.HasPrefix(string(v.Digest), typed) {
			found = append(found, string(v.Digest))
		}
	}
	help := s.versionList(trail, id)
	if len(typed) < 4 || strings.Trim(typed, "0123456789abcdef") != "" {
		return "", troublef(help, "--recipe %s is no beginning of a digest of 4 hex digits or more", typed)
	}
	switch found = unique(found); len(found) {
	case 1:
		return schema.Digest(found[0]), nil
	case 0:
		return "", troublef(help, "no recipe of %s that was ever saved begins with %s", id, typed)
	}
	return "", troublef(help, "%d recipes of %s begin with %s", len(found), id, typed)
}

// versionList lists the recipes that were saved of a condition, the newest first.
func (s *shop) versionList(trail *audit.Trail, id schema.ID) string {
	const most = 8
	var lines []string
	versions := trail.Versions(id.String())
	for i := len(versions) - 1; i >= 0; i-- {
		if len(lines) == most {
			lines = append(lines, fmt.Sprintf("and %d older", i+1))
			break
		}
		v := versions[i]
		line := fmt.Sprintf("%s  saved %s by %s", v.Digest.Short(), s.day(v.Committed), auditPerson(v.By))
		if values := trail.Recipe(id.String(), v.Digest); values != nil {
			line += ": " + s.oneLine(values)
		}
		lines = append(lines, line)
	}
	if len(lines) == 0 {
		return "None was ever saved."
	}
	return "Saved of it, the newest first:\n" + strings.Join(lines, "\n")
}

// loadNotes says what is worth knowing of the recipe that went on.
func (s *shop) loadNotes(p *plannedLoad, position history.Position, f loadFlags) []string {
	var notes []string
	standing := s.standing(&s.committed)
	inForce, approved := position.State.Digest()
	switch permit := s.committed.ledger.Permit(p.id.String(), p.recipe, p.unit, s.now()); {
	case standing.Anchor == nil:
		notes = append(notes, "nothing is adopted yet, so nothing is approved")
	case approved && inForce == p.recipe && position.Status == history.Stale:
		notes = append(notes, "approved, and the machine changed since")
	case approved && inForce == p.recipe:
	case permit != nil:
		notes = append(notes, "provisional until "+s.moment(permit.Until.V))
	case position.State.Once(p.recipe) != nil:
		notes = append(notes, "NOT APPROVED: it was once, and another recipe is since")
	default:
		notes = append(notes, "NOT APPROVED")
	}
	if work := s.unsaved.lib.Recipe(p.id); work != nil && work.Digest() != position.Digest && f.recipe == "" {
		notes = append(notes, "there are newer edits that are not saved; they are not what is written down")
	}
	return notes
}

// planList reads a CSV file of what was loaded.
func (s *shop) planList(f loadFlags, at time.Time) ([]plannedLoad, error) {
	data, err := s.readSheet(f.list)
	if err != nil {
		return nil, err
	}
	header, rows, err := readList(data)
	if err != nil {
		return nil, troublef("It needs a first row with the names of the columns: id, unit, at, recipe. Only id is needed.", "%s: %w", f.list, err)
	}
	var plan []plannedLoad
	var bad []string
	for i, row := range rows {
		p, err := s.planRow(header, row, f, at)
		if err != nil {
			bad = append(bad, fmt.Sprintf("  row %d: %v", i+2, err))
			continue
		}
		plan = append(plan, p)
	}
	if len(bad) > 0 {
		return nil, troublef(strings.Join(bad, "\n")+"\nNothing was written.", "%s: %s cannot be taken", f.list, counted(len(bad), "row"))
	}
	if len(plan) == 0 {
		return nil, troublef("", "%s has no rows below its header", f.list)
	}
	return plan, nil
}

func (s *shop) planRow(header, row []string, f loadFlags, at time.Time) (plannedLoad, error) {
	cell := func(name string) string {
		if i := slices.Index(header, name); i >= 0 && i < len(row) {
			return strings.TrimSpace(row[i])
		}
		return ""
	}
	id, err := schema.ParseID(cell("id"))
	if err != nil {
		return plannedLoad{}, err
	}
	unit := cell("unit")
	if unit == "" {
		unit = f.unit
	}
	if recipe := cell("recipe"); recipe != "" {
		f.recipe = recipe
	}
	if s.committed.lib.Recipe(id) == nil && !s.standing(&s.committed).Condition(id).Decided() {
		return plannedLoad{}, fmt.Errorf("there is no condition %s here", id)
	}
	p, err := s.planOne(id, unit, f)
	if err != nil {
		return p, err
	}
	p.at = at
	if typed := cell("at"); typed != "" {
		if p.at, err = s.past("at", typed); err != nil {
			return p, err
		}
	}
	return p, nil
}

// readList reads a small CSV file with named columns. What parts the cells is what parts the header.
func readList(data []byte) (header []string, rows [][]string, err error) {
	data = bytes.TrimPrefix(data, []byte("\ufeff"))
	r := csv.NewReader(bytes.NewReader(data))
	first, _, _ := bytes.Cut(data, []byte("\n"))
	for _, sep := range []rune{';', '\t'} {
		if bytes.ContainsRune(first, sep) {
			r.Comma = sep
		}
	}
	r.FieldsPerRecord = -1
	if header, err = r.Read(); err != nil {
		if errors.Is(err, io.EOF) {
			err = errors.New("the file is empty")
		}
		return nil, nil, err
	}
	for i := range header {
		header[i] = strings.ToLower(strings.TrimSpace(header[i]))
		if !slices.Contains([]string{"id", "unit", "at", "recipe"}, header[i]) {
			return nil, nil, fmt.Errorf("the column %q is not known", header[i])
		}
	}
	if !slices.Contains(header, "id") {
		return nil, nil, errors.New("there is no column id")
	}
	rows, err = r.ReadAll()
	return header, rows, err
}

// writeLoads writes one record for each unit and time, and says what was written down.
func (s *shop) writeLoads(plan []plannedLoad, f loadFlags) error {
	type key struct {
		unit string
		at   time.Time
	}
	var order []key
	loaded := map[key][]schema.Loaded{}
	for _, p := range plan {
		k := key{p.unit, p.at}
		if loaded[k] == nil {
			order = append(order, k)
		}
		l := schema.Loaded{ID: schema.Of(p.id.String()), Digest: schema.Of(string(p.recipe))}
		for _, have := range loaded[k] {
			if have.ID.V == l.ID.V && have.Digest.V != l.Digest.V {
				return troublef("One of the two is wrong, or they went on at different times: column at.", "%s stands twice for %s with different recipes", p.id, p.unit)
			}
		}
		if !slices.Contains(loaded[k], l) {
			loaded[k] = append(loaded[k], l)
		}
	}
	var records []*schema.Record
	for _, k := range order {
		common, err := s.common(s.committed.lib, schema.KindLoad, f.text)
		if err != nil {
			return err
		}
		common.Unit = schema.Of(k.unit)
		l := &schema.Load{Common: common, Loaded: schema.Of(loaded[k])}
		if !k.at.IsZero() {
			l.Since = schema.Of(k.at.UTC().Format(time.RFC3339))
		}
		r := schema.NewRecord(l)
		if err := s.onRecord(r); err != nil {
			return err
		}
		records = append(records, r)
	}
	s.sayLoads(plan)
	return s.putAll(records, loadMessage(plan), f.noCommit)
}

func (s *shop) sayLoads(plan []plannedLoad) {
	unit, when := "", time.Time{}
	for i, p := range plan {
		if i == 0 || p.unit != unit || !p.at.Equal(when) {
			unit, when = p.unit, p.at
			since := ""
			if !p.at.IsZero() {
				since = "   since " + clockText(p.at)
			}
			s.say("on %s%s", unit, since)
		}
		s.say("    %s   %s", p.id, p.recipe.Short())
		if v := s.valuesOf(p.id, p.recipe); v != nil && len(plan) <= 12 {
			s.say("        %s", s.oneLine(v))
		}
		for _, n := range p.notes {
			s.say("        %s", n)
		}
	}
}

// valuesOf returns a recipe that the library or its records hold, without a look at the history; nil where they do not.
func (s *shop) valuesOf(id schema.ID, recipe schema.Digest) *schema.Values {
	for _, st := range []*state{&s.committed, &s.unsaved} {
		if st.lib == nil {
			continue
		}
		if r := st.lib.Recipe(id); r != nil && r.Digest() == recipe {
			return r.Values()
		}
	}
	return audit.RecordedRecipe(s.committed.ledger, id.String(), recipe)
}

func loadMessage(plan []plannedLoad) string {
	if len(plan) == 1 {
		return fmt.Sprintf("Load %s on %s\n", plan[0].id, plan[0].unit)
	}
	var units []string
	for _, p := range plan {
		units = append(units, p.unit)
	}
	return fmt.Sprintf("Load %s on %s\n", counted(len(plan), "condition"), strings.Join(unique(units), ", "))
}
