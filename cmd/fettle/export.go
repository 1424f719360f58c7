package main

import (
	"fmt"
	"slices"

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
			ValidArgsFunction: a.complete(unsavedIDs),
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
	work, saved, err := s.both()
	if err != nil {
		return err
	}
	standing := s.standing(&s.committed)
	if standing.Trouble != "" && !current {
		return refusef("fettle verify tells more. Values without regard to approval: fettle export --current", "%s", standing.Trouble)
	}
	rows := approvedRows(standing, saved)
	if current {
		rows = currentRows(standing, work)
	}
	if len(typed) > 0 {
		ids := make([]schema.ID, len(rows))
		for i, row := range rows {
			ids[i] = row.ID
		}
		if ids, err = a.resolve(typed, ids); err != nil {
			return err
		}
		rows = slices.DeleteFunc(rows, func(r table.Row) bool { return !slices.Contains(ids, r.ID) })
	}
	if len(rows) == 0 {
		if current {
			return refusef("Read a spreadsheet in: fettle import FILE", "the library holds no conditions")
		}
		return refusef("What stands in the files now: fettle export --current", "no condition is approved")
	}
	if a.format == "json" {
		return a.json(exportJSON(rows))
	}
	if bom {
		fmt.Fprint(a.out, "\ufeff")
	}
	return table.Export(rows, a.out)
}

// approvedRows are the recipes in force, also of conditions that were edited or taken out since.
func approvedRows(standing *history.Standing, saved *schema.Library) []table.Row {
	var rows []table.Row
	for _, p := range standing.Positions(saved) {
		if v := p.Approved(); v != nil {
			rows = append(rows, table.Row{ID: p.ID, Values: v, Status: approvedStatus(p.Status)})
		}
	}
	return rows
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
func currentRows(standing *history.Standing, work *schema.Library) []table.Row {
	var rows []table.Row
	for _, r := range work.Recipes {
		status := notApproved
		if p := standing.Position(work, r.ID); p.Status == history.Approved {
			status = "approved"
		} else if p.Status == history.Stale {
			status = notApproved + ", machine changed since"
		}
		rows = append(rows, table.Row{ID: r.ID, Values: r.Values(), Status: status})
	}
	return rows
}

// exportReport is an export for programs.
type exportReport struct {
	Format     int              `json:"format"`
	Conditions []exportedRecipe `json:"conditions"`
}

type exportedRecipe struct {
	ID     string            `json:"id"`
	Status string            `json:"status"`
	Digest string            `json:"digest"`
	Grade  string            `json:"grade,omitempty"`
	Fields map[string]string `json:"fields"`
}

func exportJSON(rows []table.Row) exportReport {
	report := exportReport{Format: 1, Conditions: []exportedRecipe{}}
	for _, row := range rows {
		out := exportedRecipe{ID: row.ID.String(), Status: row.Status, Digest: string(row.Values.Digest()), Grade: row.Values.Grade.V, Fields: map[string]string{}}
		for _, f := range schema.Fields(&row.Values.Condition) {
			out.Fields[f.Path] = f.Text
		}
		report.Conditions = append(report.Conditions, out)
	}
	return report
}
