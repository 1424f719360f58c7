package main

import (
	"os"
	"path/filepath"
	"sort"
	"strings"

	"github.com/rogpeppe/go-internal/testscript"

	"fettle/schema"
)

// Commands of stories that look at records, and that forge them as somebody with an editor and bad intent would:
//
//	newest KIND               sets $newest to the path of the newest record of a kind in this directory, $hex to its short digest
//	forge FILE OLD NEW [AS]   makes the record that FILE would be with NEW in place of every OLD and sets $forged to its path, named as its
//	                          content asks; signed by the person AS where one is named, else the signature stays as it is

func scriptNewest(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: newest KIND")
	}
	paths, err := filepath.Glob(ts.MkAbs("records/*/*/*-" + args[0] + "-*.json"))
	ts.Check(err)
	if len(paths) == 0 {
		ts.Fatalf("there is no record of kind %s", args[0])
	}
	sort.Strings(paths)
	last := paths[len(paths)-1]
	rel, err := filepath.Rel(ts.MkAbs("."), last)
	ts.Check(err)
	ts.Setenv("newest", filepath.ToSlash(rel))
	name := strings.TrimSuffix(filepath.Base(last), ".json")
	ts.Setenv("hex", name[strings.LastIndex(name, "-")+1:])
}

func scriptForge(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 3 || len(args) > 4 {
		ts.Fatalf("usage: forge FILE OLD NEW [PERSON]")
	}
	text := ts.ReadFile(args[0])
	if !strings.Contains(text, args[1]) {
		ts.Fatalf("%s does not hold %q", args[0], args[1])
	}
	r := schema.ReadRecord(args[0], []byte(strings.ReplaceAll(text, args[1], args[2])))
	if r.Body == nil {
		ts.Fatalf("%s cannot be read as a record", args[0])
	}
	forged := schema.NewRecord(r.Body)
	if len(args) == 4 {
		_, key, err := personKey(ts.Getenv("HOME"), args[3])
		ts.Check(err)
		armored, err := key.Sign(forged.Message)
		ts.Check(err)
		forged.Common.Signature = schema.Of(armored)
		forged = schema.NewRecord(r.Body)
	}
	full := ts.MkAbs(forged.Path)
	ts.Check(os.MkdirAll(filepath.Dir(full), 0o777))
	ts.Check(os.WriteFile(full, forged.Bytes(), 0o666))
	ts.Setenv("forged", forged.Path)
}
