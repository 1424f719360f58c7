package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"iter"
	"strings"

	"github.com/spf13/cobra"

	"fettle/cmd/fettle/table"
	"fettle/history"
	"fettle/schema"
)

func init() {
	commands = append(commands, func(a *app) *cobra.Command {
		var current, bom bool
		cmd := &cobra.Command{Use: "export [ID...]", Short: "conditions as CSV, units in the header row; approved values unless --current",
			Long: "Writes conditions as CSV that a spreadsheet opens and fettle import takes back exactly.\n" +
				"Without --current it gives what is approved, whatever was edited since. With --current it gives what stands in the files now, edits that\n" +
				"are not saved included, and marks each row that is NOT APPROVED.",
			Example:           "  fettle export > approved.csv\n  fettle export bay-2/carbon-steel/oxygen/ --current > today.csv",
			ValidArgsFunction: a.complete(inFiles),
			RunE: func(cmd *cobra.Command, args []string) error {
				if err := a.oneOf("text", "json"); err != nil {
					return err
				}
				return a.export(args, current, bom)
			}}
		cmd.Flags().BoolVar(&current, "current", false, "what stands in the files now; rows that are not approved say so")
		cmd.Flags().BoolVar(&bom, "bom", false, "begin with a byte order mark, which some spreadsheet programs need for letters such as ö")
		return cmd
	})
}

// notApproved is what a row says that nobody may cut with.
const notApproved = "NOT APPROVED"

func (a *app) export(typed []string, current, bom bool) error {
	s, err := a.open()
	if err != nil {
		return err
	}
	of := inForceNow
	if current {
		of = inFiles
	}
	if s.meant(typed, onRecord|unsaved, of); len(typed) == 0 {
		s.apart()
	}
	if _, _, err := s.both(); err != nil {
		return err
	}
	if standing := s.standing(&s.committed); standing.Trouble != "" && !current {
		return refusef("fettle verify tells more. Values without regard to approval: fettle export --current", "%s", standing.Trouble)
	}
	wanted := map[schema.ID]bool{}
	if len(typed) > 0 {
		ids, err := s.resolve(typed, s.ids(of))
		if err != nil {
			return err
		}
		for _, id := range ids {
			wanted[id] = true
		}
	}
	each := func(do func(table.Row) error) error {
		return s.eachSets(len(typed) == 0, func(q *shop, in func(schema.ID) bool) error {
			for row := range q.rows(current) {
				if in(row.ID) && (len(typed) == 0 || wanted[row.ID]) {
					if err := do(row); err != nil {
						return err
					}
				}
			}
			return nil
		})
	}
	any := false
	if err := each(func(table.Row) error { any = true; return errEnough }); err != nil && err != errEnough {
		return err
	}
	if !any {
		if current {
			return refusef("Read a spreadsheet in: fettle import FILE", "the library holds no conditions")
		}
		return refusef("What stands in the files now: fettle export --current", "no condition is approved")
	}
	if a.format == "json" {
		return a.exportJSON(each)
	}
	if bom {
		fmt.Fprint(a.out, "\ufeff")
	}
	return table.ExportEach(each, a.out)
}

// errEnough ends going through rows.
var errEnough = errors.New("one is enough")

// rows are the conditions that an export is of, in the order of their ids.
func (s *shop) rows(current bool) iter.Seq[table.Row] {
	if current {
		return currentRows(s.standing(&s.committed), s.unsaved.lib)
	}
	return approvedRows(s.standing(&s.committed), s.committed.lib)
}

// approvedRows are the recipes in force, also of conditions that were edited or taken out since.
func approvedRows(standing *history.Standing, saved *schema.Library) iter.Seq[table.Row] {
	return func(yield func(table.Row) bool) {
		for _, p := range standing.Positions(saved) {
			if v := p.Approved(); v != nil && !yield(table.Row{ID: p.ID, Values: v, Status: approvedStatus(p.Status)}) {
				return
			}
		}
	}
}

// approvedStatus says how the row of an approved recipe stands to what the library holds.
func approvedStatus(s history.Status) string {
	switch s {
	case history.Stale:
		return "approved, machine changed since"
	case history.Removed:
		return "approved, no longer in the library"
	}
	return "approved"
}

// currentRows are what stands in the files, with those marked that are not what is approved.
func currentRows(standing *history.Standing, work *schema.Library) iter.Seq[table.Row] {
	return func(yield func(table.Row) bool) {
		for _, r := range work.Recipes {
			status := notApproved
			if p := standing.Position(work, r.ID); p.Status == history.Approved {
				status = "approved"
			} else if p.Status == history.Stale {
				status = notApproved + ", machine changed since"
			}
			if !yield(table.Row{ID: r.ID, Values: r.Values(), Status: status}) {
				return
			}
		}
	}
}

// An exportedRecipe is one condition of an export for programs.
type exportedRecipe struct {
	ID     string            `json:"id"`
	Status string            `json:"status"`
	Digest string            `json:"digest"`
	Grade  string            `json:"grade,omitempty"`
	Fields map[string]string `json:"fields"`
}

// exportJSON writes an export for programs, one condition after the other, as [app.json] writes a whole: {"format": 1, "conditions": [...]}.
func (a *app) exportJSON(each func(do func(table.Row) error) error) error {
	a.wrote = true
	out := bufio.NewWriter(a.out)
	out.WriteString("{\n  \"format\": 1,\n  \"conditions\": [")
	next := "\n    "
	err := each(func(row table.Row) error {
		r := exportedRecipe{ID: row.ID.String(), Status: row.Status, Digest: string(row.Values.Digest()), Grade: row.Values.Grade.V, Fields: map[string]string{}}
		for _, f := range schema.Fields(&row.Values.Condition) {
			r.Fields[f.Path] = f.Text
		}
		var b strings.Builder
		enc := json.NewEncoder(&b)
		enc.SetEscapeHTML(false)
		enc.SetIndent("    ", "  ")
		if err := enc.Encode(r); err != nil {
			return err
		}
		out.WriteString(next + escaped(strings.TrimSuffix(b.String(), "\n")))
		next = ",\n    "
		return nil
	})
	if err != nil {
		return err
	}
	out.WriteString("\n  ]\n}\n")
	return out.Flush()
}
