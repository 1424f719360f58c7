package main

import (
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"github.com/rogpeppe/go-internal/testscript"
)

// scriptRefused is the command of stories about bad input:
//
//	refused CODE COMMAND ...   as exits, and nothing may be half done: every file of this directory, the last commit and what is staged
//	                           are as before; and what is said tells how to go on
func scriptRefused(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: refused CODE COMMAND ...")
	}
	before := everything(ts)
	scriptExits(ts, false, args)
	after := everything(ts)
	for _, name := range slices.Sorted(maps.Keys(after)) {
		if before[name] != after[name] {
			ts.Fatalf("%s was changed or made by %s", name, strings.Join(args[1:], " "))
		}
	}
	for name := range before {
		if _, there := after[name]; !there {
			ts.Fatalf("%s is gone after %s", name, strings.Join(args[1:], " "))
		}
	}
	said := ts.ReadFile("stderr") + ts.ReadFile("stdout")
	if !regexp.MustCompile(`(?m)^ {6,}[^ ]|\b(fettle|git) [a-z][a-z-]+`).MatchString(said) {
		ts.Fatalf("%s says nothing about what to do next:\n%s", strings.Join(args[1:], " "), said)
	}
}

// scriptJSON is the command of stories that programs read:
//
//	json CODE COMMAND ...   runs the command with --format json, as exits, and wants one JSON object of format 1 and nothing else
func scriptJSON(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: json CODE COMMAND ...")
	}
	scriptExits(ts, false, append(slices.Clone(args), "--format", "json"))
	var one struct {
		Format int `json:"format"`
	}
	decoder := json.NewDecoder(strings.NewReader(ts.ReadFile("stdout")))
	if err := decoder.Decode(&one); err != nil {
		ts.Fatalf("%s: %v", strings.Join(args[1:], " "), err)
	}
	if decoder.More() {
		ts.Fatalf("%s prints more than one value", strings.Join(args[1:], " "))
	}
	if one.Format != 1 {
		ts.Fatalf("%s is of format %d", strings.Join(args[1:], " "), one.Format)
	}
	if said := ts.ReadFile("stderr"); said != "" {
		ts.Fatalf("%s also says, beside the JSON: %s", strings.Join(args[1:], " "), said)
	}
}

// everything is what a command could have touched: the files of this directory, each by a digest of its content, and how git stands.
func everything(ts *testscript.TestScript) map[string]string {
	dir := ts.MkAbs(".")
	out := map[string]string{}
	ts.Check(filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() && (d.Name() == ".git" || d.Name() == ".home") {
			return fs.SkipDir
		}
		info, err := d.Info()
		if err != nil || !info.Mode().IsRegular() {
			return err
		}
		data, err := os.ReadFile(path)
		out[path] = fmt.Sprintf("%x %v", sha256.Sum256(data), info.Mode())
		return err
	}))
	for _, ask := range [][]string{{"rev-parse", "-q", "--verify", "HEAD"}, {"status", "--porcelain", "--branch", "--untracked-files=all"}, {"for-each-ref"}, {"stash", "list"}} {
		if _, err := os.Stat(filepath.Join(dir, ".git")); err != nil {
			break
		}
		cmd := exec.Command("git", append([]string{"--no-optional-locks"}, ask...)...)
		cmd.Dir, cmd.Env = dir, append(os.Environ(), "HOME="+ts.Getenv("HOME"), "XDG_CONFIG_HOME="+ts.Getenv("XDG_CONFIG_HOME"), "GIT_CONFIG_NOSYSTEM=1")
		said, _ := cmd.Output() // before the first commit there is no HEAD, and no answer: the same before and after
		out["git "+strings.Join(ask, " ")] = string(said)
	}
	return out
}
