package main

import (
	"bytes"
	"encoding/json"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"fettle/cmd/fettle/demo"
	"fettle/history/git/gittest"
)

// TestDemoIsWhatTheCommandsWrite plays the story of the sample with the commands that people would have used, and compares every
// commit: the whole tree with all records in it, who and when, and the title. Left out is what no command writes yet (permits, loads,
// causes, escapes) and the words beside a single step of a trial, for which the command has no flag.
func TestDemoIsWhatTheCommandsWrite(t *testing.T) {
	if testing.Short() {
		t.Skip("starts git some hundred times")
	}
	p := &player{T: t, repo: gittest.New(t)}
	var err error
	if p.story, err = demo.Northgate(); err != nil {
		t.Fatal(err)
	}
	leaveOut(t, p.story)
	shop, err := p.story.Build(filepath.Join(t.TempDir(), "shop"))
	if err != nil {
		t.Fatal(err)
	}
	p.keys = shop.Keys
	p.built = gittest.At(t, shop.Dir)
	for _, e := range p.story.Events {
		p.play(e)
	}
	commands, sample := commitLines(p.repo), commitLines(p.built)
	for i := range max(len(commands), len(sample)) {
		if i >= len(commands) || i >= len(sample) || commands[i] != sample[i] {
			t.Fatalf("commit %d (-commands +sample):\n%s\n%s", i+1, cmp.Diff(lineAt(commands, i), lineAt(sample, i)), cmp.Diff(written(p.repo, i), written(p.built, i)))
		}
	}
}

// lineAt is the line in a place, "" behind the last.
func lineAt(lines []string, i int) string {
	if i < len(lines) {
		return lines[i]
	}
	return ""
}

// written are the files that a commit wrote, counted from the first.
func written(r *gittest.Repo, i int) map[string]string {
	out := map[string]string{}
	commit := lineAt(strings.Fields(r.Run("rev-list", "--reverse", "HEAD")), i)
	if commit == "" {
		return out
	}
	for _, path := range strings.Fields(r.Run("show", "--format=", "--name-only", "--no-renames", commit)) {
		out[path], _ = r.Try("show", commit+":"+path)
	}
	return out
}

func commitLines(r *gittest.Repo) []string {
	return strings.Split(strings.TrimSpace(r.Run("log", "--reverse", "--date=raw", "--format=%s | %an <%ae> %ad | %cn <%ce> %cd | %T")), "\n")
}

// leaveOut drops from a story what the commands cannot write.
func leaveOut(t *testing.T, s *demo.Story) {
	s.Events = slices.DeleteFunc(s.Events, func(e *demo.Event) bool { return e.Kind == demo.Cause || e.Kind == demo.Escape })
	for _, e := range s.Events {
		e.Permit, e.Load = nil, nil
		if e.Trial == nil {
			continue
		}
		for i, raw := range e.Trial.Steps {
			var step map[string]any
			if err := json.Unmarshal(raw, &step); err != nil {
				t.Fatal(err)
			}
			delete(step, "text")
			data, err := json.Marshal(step)
			if err != nil {
				t.Fatal(err)
			}
			e.Trial.Steps[i] = data
		}
	}
}

type player struct {
	*testing.T
	story       *demo.Story
	repo, built *gittest.Repo
	keys        string
}

// fettle runs a command in this process, at a time, as the person that git is set to.
func (p *player) fettle(at time.Time, args ...string) {
	p.Helper()
	p.clock(at)
	var out bytes.Buffer
	if code := run(append([]string{"-C", p.repo.Dir}, args...), strings.NewReader(""), &out, &out); code != exitGood {
		p.Fatalf("fettle %q ended with exit code %d:\n%s", args, code, out.String())
	}
}

func (p *player) clock(at time.Time) {
	seconds := strconv.FormatInt(at.Unix(), 10)
	p.Setenv("SOURCE_DATE_EPOCH", seconds)
	p.Setenv("GIT_AUTHOR_DATE", seconds+" +0000")
	p.Setenv("GIT_COMMITTER_DATE", seconds+" +0000")
}

func (p *player) play(e *demo.Event) {
	p.become(e.By)
	switch e.Kind {
	case demo.Import:
		p.start(e)
	case demo.Adopt:
		p.fettle(e.At, "adopt", "--because", e.Text)
	case demo.Changed, demo.PutBack:
		p.change(e)
	case demo.Approve:
		p.fettle(e.At, "approve", e.ID, "--because", e.Text)
	case demo.Reject:
		p.fettle(e.At, "reject", e.ID, "--because", e.Text)
	case demo.Withdraw:
		p.fettle(e.At, "withdraw", p.recordOf(e), "--because", e.Text)
	}
}

func (p *player) become(principal string) {
	i := slices.IndexFunc(p.story.People, func(x demo.Person) bool { return x.Principal == principal })
	name := p.story.People[i].Name
	p.repo.Run("config", "user.name", name)
	p.repo.Run("config", "user.email", principal)
	p.repo.Run("config", "fettle.signingKey", filepath.Join(p.keys, strings.ToLower(strings.ReplaceAll(name, " ", "-"))))
}

// start takes the files of the beginning from the sample: they are no work of a command.
func (p *player) start(e *demo.Event) {
	first := strings.Fields(p.built.Run("rev-list", "--max-parents=0", "HEAD"))[0]
	for _, path := range strings.Fields(p.built.Run("ls-tree", "-r", "--name-only", first)) {
		p.copyFile(first, path)
	}
	p.fettle(e.At, "save")
}

func (p *player) copyFile(rev, path string) {
	p.repo.Write(path, p.built.Run("show", rev+":"+path)+"\n")
}

func (p *player) change(e *demo.Event) {
	if len(e.New) > 0 { // typed into the file
		path := "sets/" + strings.Join(strings.Split(e.ID, "/")[:2], "/") + "-" + strings.Split(e.ID, "/")[2] + ".json"
		for _, commit := range strings.Fields(p.built.Run("log", "--format=%H", "--diff-filter=M", "--", path)) {
			p.copyFile(commit, path)
		}
	}
	if e.Trial != nil {
		p.trial(e)
	}
	switch {
	case e.Kind == demo.PutBack:
		p.fettle(e.At, "put-back", e.ID)
	case len(e.New) == 0:
		args := []string{"set", e.ID}
		for _, c := range e.Changes {
			args = append(args, c.Field+"="+c.To)
		}
		p.fettle(e.At, args...)
	}
	p.fettle(e.At, "save", e.ID, "--cause", e.Cause, "--because", e.Text, "--ruled-out", strings.Join(e.RuledOut, ","))
}

func (p *player) trial(e *demo.Event) {
	args := []string{"trial", "record", e.ID, "--unit", e.Trial.Unit, "--plate", e.Trial.Plate, "--lot", e.Trial.Lot, "--text", e.Trial.Text}
	for _, raw := range e.Trial.Steps {
		var s struct {
			Changed, Measured map[string]string
			Observed          []string
			Outcome           string
		}
		if err := json.Unmarshal(raw, &s); err != nil {
			p.Fatal(err)
		}
		args = append(args, "--step", strings.Join([]string{pairs(s.Changed), s.Outcome, strings.Join(s.Observed, ","), pairs(s.Measured)}, ":"))
	}
	p.fettle(e.Trial.At, args...)
}

func pairs(m map[string]string) string {
	var out []string
	for k, v := range m {
		out = append(out, k+"="+v)
	}
	slices.Sort(out)
	return strings.Join(out, ",")
}

// recordOf is the record that an event takes back, by the name of its file.
func (p *player) recordOf(e *demo.Event) string {
	i := slices.IndexFunc(p.story.Events, func(x *demo.Event) bool { return x.N == e.Of })
	at := p.story.Events[i].At
	if e.Record == "trial" {
		at = p.story.Events[i].Trial.At
	}
	found, err := filepath.Glob(filepath.Join(p.repo.Dir, "records", "*", "*", at.UTC().Format("20060102T150405Z")+"-"+e.Record+"-*.json"))
	if err != nil || len(found) != 1 {
		p.Fatalf("event %d takes back one of %v (%v)", e.N, found, err)
	}
	return filepath.Base(found[0])
}
