package main

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"fettle/history/git/gittest"
	"fettle/schema"
)

// A partTest holds what commands say of some conditions by a part of a library to what they say by all of it.
type partTest struct {
	*testing.T
	repo  *gittest.Repo
	parts int  // how often a part sufficed
	said  int  // how often there was anything to compare
	asked bool // somebody sits there
}

// run runs a command in this process, by a part or by the whole.
func (t *partTest) run(entire bool, args ...string) string {
	t.Helper()
	var out bytes.Buffer
	a := &app{in: strings.NewReader(""), out: &out, err: &out, now: clock, entire: entire, terminal: t.asked}
	root := a.root(args)
	root.SetArgs(append([]string{"-C", t.repo.Dir}, args...))
	root.SetOut(&out)
	root.SetErr(&out)
	code := a.exit(root.Execute())
	return fmt.Sprintf("%s\nexit %d", out.String(), code)
}

// ids are those that stand anywhere, in the files or in the last commit, and those that are gone and in force still.
func (t *partTest) ids() []schema.ID {
	t.Helper()
	s, err := (&app{dir: t.repo.Dir, now: clock}).open()
	if err != nil {
		t.Fatal(err)
	}
	defer s.repo.Close()
	if _, _, err := s.both(); err != nil {
		t.Fatal(err)
	}
	return s.ids(inFiles | inSaved | onceInUse)
}

// short is an id as a person types it.
func short(id schema.ID) string {
	return id.Machine + "/" + id.Material[:2] + "/" + id.Thickness + "mm"
}

// compare holds every command on every id to the whole.
func (t *partTest) compare(where string, ids []schema.ID, commands ...string) {
	t.Helper()
	for _, id := range ids {
		for _, command := range commands {
			next := id
			next.Thickness += "5" // of 3mm 35mm, of 1.5mm 1.55mm
			args := strings.Fields(strings.NewReplacer("ID", id.String(), "FAMILY", id.Family(), "NEXT", next.String(), "SHORT", short(id), "SET", strings.Join([]string{id.Machine, id.Material, id.Gas}, "/"), "MACHINE", id.Machine).Replace(command))
			want := t.run(true, args...)
			if got := t.run(false, args...); got != want {
				t.Fatalf("%s: fettle %s says by a part\n%s\nand by the whole library\n%s", where, strings.Join(args, " "), got, want)
			}
			t.said++
		}
		s, err := (&app{dir: t.repo.Dir, now: clock}).open()
		if err != nil {
			t.Fatal(err)
		}
		if s.about([]string{id.String()}, unsaved|machines); s.part != nil {
			t.parts++
		}
		s.repo.Close()
	}
}

var partCommands = []string{"review ID --format json", "review ID", "review ID --format html", "show ID --format json", "show ID", "show ID --format html", "explain energy-short --on ID --format json",
	"trend FAMILY --format json", "trend ID", "suggest NEXT --format json"}

// namedCommands are those that are told what is meant by short names, too.
var namedCommands = []string{"lint ID", "lint SHORT --format json", "show SHORT", "show NEXT", "show MACHINE/", "explain energy-short --on SHORT",
	"triage ID --symptom dross", "triage SHORT --symptom dross", "trial show ID", "trial show SET/ --format json", "trial show SHORT", "trial show", "review SHORT", "export SET/", "export SHORT --current", "export ID --format json"}

// remembered are the files that stand below the directory of git for a later call.
func (t *partTest) remembered() []string {
	found, err := filepath.Glob(filepath.Join(t.repo.Dir, ".git", "fettle", "*-*"))
	if err != nil {
		t.Fatal(err)
	}
	return found
}

// damage makes something of what is remembered wrong.
func (t *partTest) damage(r *rand.Rand) {
	t.Helper()
	files := t.remembered()
	if len(files) == 0 {
		return
	}
	file := files[r.IntN(len(files))]
	data, err := os.ReadFile(file)
	if err != nil || len(data) == 0 {
		t.Fatal(err, len(data))
	}
	switch r.IntN(4) {
	case 0:
		data = data[:r.IntN(len(data))]
	case 1:
		data[r.IntN(len(data))] ^= byte(1 + r.IntN(255))
	case 2:
		data = bytes.Replace(data, []byte("oxygen"), []byte("oxides"), -1)
	default:
		data = nil
	}
	if err := os.WriteFile(file, data, 0o666); err != nil {
		t.Fatal(err)
	}
}

var (
	partNumber = regexp.MustCompile(`"-?[0-9.]+ (bar|mm|kW|m/min|s)"`)
	partName   = regexp.MustCompile(`"(machine|material|gas|name|thickness)": "[^"]*"`)
	partLine   = regexp.MustCompile(`(?m)^ *"[a-z_]+": [^\n{\[]*,\n`)
)

// spoil edits files as people and programs do.
func (t *partTest) spoil(r *rand.Rand) {
	t.Helper()
	var files []string
	for _, pattern := range []string{"sets/*/*.json", "sets/*/*.json", "sets/*/*.json", "machines/*.json", "fettle.json"} {
		found, _ := filepath.Glob(filepath.Join(t.repo.Dir, filepath.FromSlash(pattern)))
		files = append(files, found...)
	}
	file := files[r.IntN(len(files))]
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	swap := func(of *regexp.Regexp, to func(old string) string) {
		if at := of.FindAllIndex(data, -1); len(at) > 0 {
			m := at[r.IntN(len(at))]
			data = slices.Concat(data[:m[0]], []byte(to(string(data[m[0]:m[1]]))), data[m[1]:])
		}
	}
	switch r.IntN(9) {
	case 0, 1, 2:
		swap(partNumber, func(old string) string {
			_, unit, _ := strings.Cut(strings.Trim(old, `"`), " ")
			return fmt.Sprintf(`"%.3g %s"`, []float64{0.02, 0.4, 1.7, 3, 12}[r.IntN(5)], unit)
		})
	case 3:
		swap(partName, func(old string) string {
			name, _, _ := strings.Cut(old, ": ")
			return name + `: "` + []string{"bay-2", "bay-5", "oxygen", "nitrogen", "carbon-steel", "stainless-steel", "3 mm", "12 mm"}[r.IntN(8)] + `"`
		})
	case 4:
		swap(partLine, func(string) string { return "" })
	case 5:
		swap(partLine, func(old string) string { return old + old })
	case 6:
		file = strings.TrimSuffix(file, ".json") + "-again.json"
	case 7:
		data = data[:r.IntN(len(data)+1)]
	default:
		if filepath.Base(file) != schema.SettingsFile {
			if err := os.Remove(file); err != nil {
				t.Fatal(err)
			}
			return
		}
	}
	if err := os.WriteFile(file, data, 0o666); err != nil {
		t.Fatal(err)
	}
}

// aFewAtOnce has as little as possible read together, so that small libraries take many steps.
func aFewAtOnce(t *testing.T) {
	sets, cards := setsAtOnce, cardsAtOnce
	t.Cleanup(func() { setsAtOnce, cardsAtOnce = sets, cards })
	setsAtOnce, cardsAtOnce = 2, 3
}

// TestPartSaysWhatWholeSays: through the history of the sample shop, forth and back, and with edits of all kinds on top, saved past the
// check and not saved, with what is remembered from other states, damaged, gone or of another clone.
func TestPartSaysWhatWholeSays(t *testing.T) {
	aFewAtOnce(t)
	t.Setenv("SOURCE_DATE_EPOCH", "1793606400")
	p := &partTest{T: t, repo: sampleHistory(t)}
	commits := strings.Fields(p.repo.Run("rev-list", "--reverse", "HEAD"))
	last := commits[len(commits)-1]
	rounds := 12
	if testing.Short() {
		rounds = 6
	}
	sheet := filepath.Join(t.TempDir(), "sheet.csv")
	rows := strings.Split(strings.TrimSuffix(p.run(true, "export", "--current"), "\nexit 0"), "\n")
	for i := range rows[1:] { // what is there, other values and other conditions
		rows[1+i] = strings.Replace(rows[1+i], []string{",3,", ",3,", ",0.3"}[i%3], []string{",3,", ",3.03,", ",0.4"}[i%3], 1)
	}
	if err := os.WriteFile(sheet, []byte(strings.Join(rows, "\n")), 0o666); err != nil {
		t.Fatal(err)
	}
	other := map[string][]byte{} // what a clone of another state remembers
	for round := range rounds {
		r := rand.New(rand.NewPCG(11, uint64(round)))
		at := commits[len(commits)*(round%8+1)/8-1]
		if round%3 == 2 {
			at = commits[r.IntN(len(commits))]
		}
		p.repo.Run("reset", "-q", "--hard", at)
		p.repo.Run("clean", "-qfd")
		if _, err := os.Stat(filepath.Join(p.repo.Dir, "fettle.json")); err != nil {
			continue
		}
		for range r.IntN(3) {
			p.spoil(r)
		}
		p.repo.Run("add", "-A")
		p.repo.Run("commit", "-q", "--no-verify", "--allow-empty", "-m", "past the check")
		for range r.IntN(3) {
			p.spoil(r)
		}
		switch round % 4 {
		case 1:
			p.damage(r)
		case 2:
			for _, file := range p.remembered() {
				data, err := os.ReadFile(file)
				if err == nil && other[file] != nil {
					err = os.WriteFile(file, other[file], 0o666)
				}
				if err != nil {
					t.Fatal(err)
				}
				other[file] = data
			}
		case 3:
			for _, file := range p.remembered() {
				if data, err := os.ReadFile(file); err != nil || other[file] == nil {
					other[file] = data
				}
			}
		}
		ids := p.ids()
		r.Shuffle(len(ids), func(i, j int) { ids[i], ids[j] = ids[j], ids[i] })
		where := fmt.Sprintf("round %d", round)
		p.compare(where, ids[:min(len(ids), 3)], partCommands...)
		p.asked = round%2 == 0
		p.compare(where, ids[:min(len(ids), 1)], namedCommands...)
		p.asked = false
		p.repo.Run("branch", "-qf", "waiting/later", last)
		whole := []string{"status --format json", "status", "export", "export --format json", "export --current", "compare --range " + last + "..HEAD", "compare bay-2 bay-5",
			"import " + sheet + []string{"", " --format json"}[round%2], "trend bay-2/", "trend steel", "escape",
			[]string{"review --branch later", "review --branch later --format json", "review --branch later --format html", "review --branch later bay-2/"}[round%4],
			[]string{"review --range " + last + "..HEAD", "review --range HEAD.." + last + " --format json", "review --range HEAD~1..HEAD --format html", "review --range " + last + "..HEAD --format markdown"}[round%4]}
		if round%2 == 0 {
			whole = append(whole, "review", "review --format json", "review --format html", "review --format markdown", "reason", "approve")
		}
		for _, line := range whole {
			args := strings.Fields(line)
			if want, got := p.run(true, args...), p.run(false, args...); got != want {
				t.Fatalf("round %d: %v says by parts\n%s\nand by the whole library\n%s", round, args, got, want)
			}
		}
	}
	p.repo.Run("reset", "-q", "--hard", last)
	p.compare("the last", p.ids(), partCommands[0])
	if p.parts < p.said/8 {
		t.Errorf("a part sufficed %d times in %d: the test compares the whole with itself", p.parts, p.said)
	}
}

// TestPartDecides: what commands write by a part is what they write by the whole, to the byte of the record.
func TestPartDecides(t *testing.T) {
	aFewAtOnce(t)
	t.Setenv("SOURCE_DATE_EPOCH", "1793606400")
	p := &partTest{T: t, repo: sampleHistory(t)}
	commits := strings.Fields(p.repo.Run("rev-list", "--reverse", "HEAD"))
	later := commits[len(commits)-1]
	wrote, kinds := 0, map[string]bool{}
	for round := range 6 {
		r := rand.New(rand.NewPCG(13, uint64(round)))
		p.repo.Run("reset", "-q", "--hard", commits[len(commits)*(round+3)/9])
		if round%2 == 1 {
			p.spoil(r)
			p.repo.Run("add", "-A")
			p.repo.Run("commit", "-q", "--no-verify", "--allow-empty", "-m", "past the check")
		}
		base := strings.TrimSpace(p.repo.Run("rev-parse", "HEAD"))
		ids := p.ids()
		r.Shuffle(len(ids), func(i, j int) { ids[i], ids[j] = ids[j], ids[i] })
		waits := p.run(true, "review", "--format", "json")
		slices.SortStableFunc(ids, func(a, b schema.ID) int { // what waits first
			return strings.Count(waits, `"`+b.String()+`"`) - strings.Count(waits, `"`+a.String()+`"`)
		})
		for i, id := range ids[:min(3, len(ids))] {
			p.asked = !p.asked
			commands := []string{"approve ID", "reject ID --because no", "permit ID --until 6h --because night", "reason ID --cause trial-result --because timing", "reason --cause trial-result --because timing", "waive fume ID --until 24h --because known",
				"set ID cut.pressure=0.9bar", "set SHORT cut.pressure=9bar", "put-back ID", "put-back SHORT", "copy ID NEXT", "save --cause trial-result --because timing", "save ID --cause trial-result --because timing",
				"load ID --unit UNIT --current", "trial record ID --good", "trial plan ID --vary cut.pressure", "copy MACHINE bay-9", "approve SHORT", "copy SHORT NEXT", "undo"}
			if i == 0 {
				commands = append(commands, "approve ID --branch later", "reject SHORT --because no --branch later", "approve --branch later "+[]string{"roster", "settings", "people", "machine bay-2", "MACHINE/", "--stale bay-2/ --because lens"}[round], "adopt --because now",
					"approve "+[]string{"settings", "roster", "machine bay-2", "people", "--stale bay-2/ --because lens", "settings"}[round])
			}
			for _, command := range commands {
				next := id
				next.Thickness += "5"
				args := strings.Fields(strings.NewReplacer("ID", id.String(), "SHORT", short(id), "NEXT", next.String(), "UNIT", id.Machine, "MACHINE", id.Machine).Replace(command))
				var said [2]string
				for i, entire := range []bool{true, false} {
					p.repo.Run("reset", "-q", "--hard", base)
					p.repo.Run("clean", "-qfd")
					if slices.Contains([]string{"reason", "save", "put-back", "undo"}, args[0]) {
						p.run(true, "set", id.String(), "cut.pressure=0.9bar")
					}
					p.repo.Run("branch", "-qf", "waiting/later", later)
					said[i] = p.run(entire, args...) + p.repo.Run("log", "-1", "--format=%T %B") + p.repo.Run("log", "-1", "--format=%T %B", "waiting/later") + p.repo.Run("status", "--short")
				}
				if said[0] != said[1] {
					t.Fatalf("round %d: fettle %s does by a part\n%s\nand by the whole library\n%s", round, strings.Join(args, " "), said[1], said[0])
				}
				if strings.Contains(said[0], "records/") {
					wrote++
					kinds[args[0]] = true
				}
			}
		}
	}
	if wrote < 20 || len(kinds) < 3 {
		t.Errorf("%d records of %v were written: the test compares refusals", wrote, kinds)
	}
}
