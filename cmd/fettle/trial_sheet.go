package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"fettle/cmd/fettle/table"
	"fettle/cmd/fettle/view"
	"fettle/schema"
	"fettle/schema/quantity"
)

func (a *app) trialSheetCommand() *cobra.Command {
	return &cobra.Command{Use: "sheet CODE", Short: "print the sheet of a plan again: text, csv or html",
		Long: "Prints the sheet of a planned trial to take to the machine. --format html is a page for A4 with boxes to tick; --format csv opens in a\n" +
			"spreadsheet and is read back by fettle trial record --from FILE. What was written down already stands in both.",
		Annotations: map[string]string{"formats": "own"}, Args: cobra.ExactArgs(1), ValidArgsFunction: a.completePlans(false, nil),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := a.oneOf("text", "csv", "html", "json"); err != nil {
				return err
			}
			s, err := a.open()
			if err != nil {
				return err
			}
			s.apart()
			p, err := s.findPlan(args[0])
			if err != nil {
				return err
			}
			return s.printSheet(p, false)
		}}
}

// printSheet prints the sheet of a plan; fresh ones come with what to do next.
func (s *shop) printSheet(p *plan, fresh bool) error {
	switch s.format {
	case "json":
		return s.json(planJSON(p))
	case "csv":
		fields, units := planColumns(p)
		return table.WriteTrial(s.sheetTable(p), fields, units, s.out)
	case "html":
		return s.sheetPage(p).HTML(s.out)
	}
	if fresh {
		s.tell("")
	}
	for _, line := range s.sheetPage(p).Lines() {
		s.tell("%s", line)
	}
	if fresh {
		s.tell("")
		s.tell("on paper   fettle trial sheet %s --format html >sheet.html", p.code())
		s.tell("as table   fettle trial sheet %s --format csv >sheet.csv", p.code())
		s.tell("when cut   fettle trial record %s", p.code())
		s.tell("           fettle trial record --from sheet.csv")
	}
	return nil
}

// planColumns are the varied values of a plan and the unit of each column.
func planColumns(p *plan) (fields []string, units map[string]string) {
	units = map[string]string{}
	for _, v := range p.Varied.V {
		fields = append(fields, v.Field.V)
		if dim, ok := table.Dimension(v.Field.V); ok && len(v.Values.V) > 0 {
			if q, err := quantity.Parse(dim, v.Values.V[0]); err == nil {
				units[v.Field.V] = q.Unit()
			}
		}
	}
	return fields, units
}

// sheetTable is the plan as a table, with what was written down already.
func (s *shop) sheetTable(p *plan) *table.TrialSheet {
	t := &table.TrialSheet{Code: p.code()}
	known := map[int]*schema.Entry{}
	if p.sheet != nil {
		t.Unit, t.Plate, t.Lot, t.Grade, t.Nozzle, t.Overrides = p.sheet.Unit.V, p.sheet.Plate.V, p.sheet.Lot.V, p.sheet.Grade.V, p.sheet.NozzleUsed.V, p.sheet.Overrides
		for i := range p.sheet.Entries.V {
			known[p.sheet.Entries.V[i].Coupon.V] = &p.sheet.Entries.V[i]
		}
	}
	if lib := s.unsaved.lib; t.Unit == "" && lib != nil {
		if id, err := schema.ParseID(p.ID.V); err == nil {
			if m := lib.Machine(id.Machine); m != nil && len(m.UnitNames()) == 1 {
				t.Unit = m.UnitNames()[0]
			}
		}
	}
	for _, c := range p.Coupons.V {
		row := table.TrialRow{Number: c.Number.V, Plate: c.Plate.V, Changed: c.Changed}
		if e := known[c.Number.V]; e != nil {
			row.Outcome, row.Observed, row.Measured, row.Text = e.Outcome.V, e.Observed.V, e.Measured.V, e.Text.V
			if len(e.Changed) > 0 {
				row.Changed = e.Changed
			}
			for _, photo := range e.Photos.V {
				row.Photos = append(row.Photos, photo.File.V)
			}
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

// sheetPage is the sheet as people take it to the machine.
func (s *shop) sheetPage(p *plan) *view.TrialSheet {
	prefs := s.prefs()
	filled := s.sheetTable(p)
	v := &p.Values.V
	page := &view.TrialSheet{Code: p.code(), ID: p.ID.V, Planned: fmt.Sprintf("%s by %s", s.day(p.Time()), spoken(p.By.V)), Recipe: s.oneLine(v),
		Why: p.Text.V, Symptoms: schema.Symptoms, Unit: filled.Unit, Plate: filled.Plate, Lot: filled.Lot, Grade: filled.Grade, Nozzle: filled.Nozzle}
	if page.Grade == "" && v.Grade.Set() {
		page.GradeAsked = v.Grade.V
	}
	if s.unsaved.lib != nil {
		page.Cautions = cautions(s.unsaved.lib, v)
	}
	for _, stage := range v.Pierce.V {
		page.Pierce = append(page.Pierce, stageWords(stage, prefs))
	}
	var ranges []string
	for _, varied := range p.Varied.V {
		values := varied.Values.V
		page.Fields = append(page.Fields, schema.SpokenPath(varied.Field.V))
		if len(values) > 0 {
			ranges = append(ranges, schema.SpokenPath(varied.Field.V)+" "+span(values[0], values[len(values)-1]))
		}
	}
	page.Range = strings.Join(ranges, ", ")
	page.Design = fmt.Sprintf("%s, %s, every setting %s, random order (seed %d)", p.Design.V, counted(len(p.Coupons.V), "test piece"), times(p.Repeats.V), p.Seed.V)
	for _, row := range filled.Rows {
		r := view.TrialCoupon{Number: row.Number, Plate: row.Plate, Outcome: row.Outcome, Seen: strings.Join(append(append([]string{}, row.Observed...), row.Text), " ")}
		for _, varied := range p.Varied.V {
			value, _ := row.Changed.Get(varied.Field.V)
			r.Values = append(r.Values, value)
		}
		page.Coupons = append(page.Coupons, r)
	}
	return page
}

func times(n int) string {
	switch n {
	case 1:
		return "once"
	case 2:
		return "twice"
	}
	return fmt.Sprintf("%d times", n)
}

// stageWords is a pierce stage in a line.
func stageWords(stage schema.Stage, prefs quantity.Prefs) string {
	var parts []string
	for _, f := range schema.Fields(&stage) {
		parts = append(parts, f.Path+" "+value(f, prefs))
	}
	return strings.Join(parts, ", ")
}

// planJSON is a plan for programs: the file, with where it is and its code.
func planJSON(p *plan) any {
	type coupon struct {
		Number  int               `json:"number"`
		Plate   int               `json:"plate"`
		Changed map[string]string `json:"changed"`
	}
	type field struct {
		Field  string   `json:"field"`
		Values []string `json:"values"`
	}
	out := struct {
		Format  int      `json:"format"`
		Code    string   `json:"code"`
		Path    string   `json:"path"`
		Digest  string   `json:"digest"`
		ID      string   `json:"id"`
		At      string   `json:"at"`
		By      string   `json:"by"`
		Design  string   `json:"design"`
		Repeats int      `json:"repeats"`
		Seed    int      `json:"seed"`
		Varied  []field  `json:"varied"`
		Coupons []coupon `json:"coupons"`
	}{1, p.code(), p.path, string(p.digest), p.ID.V, p.At.V, p.By.V, p.Design.V, p.Repeats.V, p.Seed.V, []field{}, []coupon{}}
	for _, v := range p.Varied.V {
		out.Varied = append(out.Varied, field{v.Field.V, v.Values.V})
	}
	for _, c := range p.Coupons.V {
		changed := map[string]string{}
		for _, row := range c.Changed {
			changed[row.Name] = row.V
		}
		out.Coupons = append(out.Coupons, coupon{c.Number.V, c.Plate.V, changed})
	}
	return out
}
