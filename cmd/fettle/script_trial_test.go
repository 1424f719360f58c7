package main

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/rogpeppe/go-internal/testscript"

	"fettle/schema"
)

// Commands of stories about trials:
//
//	plancode                            sets $plan to the code of the newest plan in trials/ and $planfile to its path
//	fill FILE COLUMN LOW HIGH NAME=VALUE ...   fills in the rows of a sheet whose number in a column lies from LOW to HIGH
//	fill FILE first NAME=VALUE ...      fills in the first row

func scriptPlanCode(ts *testscript.TestScript, neg bool, args []string) {
	paths, err := filepath.Glob(ts.MkAbs(schema.TrialDir + "*.json"))
	ts.Check(err)
	newest, at := "", ""
	for _, p := range paths {
		data, err := os.ReadFile(p)
		ts.Check(err)
		if plan, ok := schema.ReadFile(p, data).Value.(*schema.TrialPlan); ok && plan.At.V >= at {
			newest, at = p, plan.At.V
			ts.Setenv("plan", string(plan.PlanDigest()[:8]))
		}
	}
	if neg || len(args) > 0 || newest == "" {
		ts.Fatalf("usage: plancode, where there is a plan")
	}
	ts.Setenv("planfile", schema.TrialDir+filepath.Base(newest))
}

func scriptFill(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 3 {
		ts.Fatalf("usage: fill FILE COLUMN LOW HIGH NAME=VALUE ... | fill FILE first NAME=VALUE ...")
	}
	file := ts.MkAbs(args[0])
	rows, err := csv.NewReader(strings.NewReader(ts.ReadFile(args[0]))).ReadAll()
	ts.Check(err)
	column := func(name string) int {
		i := slices.IndexFunc(rows[0], func(h string) bool { return h == name || strings.HasPrefix(h, name+" [") })
		if i < 0 {
			ts.Fatalf("there is no column %q in %v", name, rows[0])
		}
		return i
	}
	pairs, fits := args[2:], func(i int) bool { return i == 1 }
	if args[1] != "first" {
		at := column(args[1])
		low, err := strconv.ParseFloat(args[2], 64)
		ts.Check(err)
		high, err := strconv.ParseFloat(args[3], 64)
		ts.Check(err)
		pairs, fits = args[4:], func(i int) bool {
			v, err := strconv.ParseFloat(rows[i][at], 64)
			return err == nil && v >= low && v <= high
		}
	}
	filled := 0
	for i := 1; i < len(rows); i++ {
		if !fits(i) {
			continue
		}
		filled++
		for _, pair := range pairs {
			name, value, _ := strings.Cut(pair, "=")
			rows[i][column(name)] = value
		}
	}
	if filled == 0 {
		ts.Fatalf("no row of %s fits", args[0])
	}
	var b strings.Builder
	ts.Check(csv.NewWriter(&b).WriteAll(rows))
	ts.Check(os.WriteFile(file, []byte(b.String()), 0o666))
}
