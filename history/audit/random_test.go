package audit_test

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"path"
	"slices"
	"sort"
	"strings"
	"testing"
	"time"

	"fettle/history/git/gittest"
)

// A shop makes a random history with the real git, of everything that people do to a library.
type shop struct {
	*gittest.Repo
	t    *testing.T
	r    *rand.Rand
	root string
	n    int // for names that are new
}

// spellings are values, each in several spellings that mean the same.
var spellings = map[string][][]string{
	"cut.pressure":    {{"0.25 bar", "250 mbar", "25 kPa"}, {"0.3 bar", "300 mbar"}, {"35 kPa", "0.35 bar"}, {"12 bar", "12.0 bar"}},
	"cut.speed":       {{"3.4 m/min", "3.40 m/min"}, {"3 m/min", "50 mm/s"}, {"2.8 m/min"}, {"6 m/min", "100 mm/s"}},
	"cut.power":       {{"1.8 kW", "1800 W"}, {"2 kW", "2000 W"}, {"2.2 kW"}},
	"cut.focus":       {{"2 mm", "0.2 cm", "2.0 mm"}, {"-1 mm", "-0.1 cm"}, {"0 mm", "0.0 mm"}},
	"cut.mode":        {{"continuous"}, {"pulsed"}},
	"nozzle.form":     {{"single"}, {"double"}},
	"nozzle.orifice":  {{"1.2 mm", "1200 um"}, {"1.5 mm"}, {"0.05 in", "1.27 mm"}},
	"nozzle.standoff": {{"1 mm", "1.0 mm"}, {"0.8 mm", "800 um"}},
	"kerf":            {{"0.30 mm", "0.3 mm", "300 um"}, {"0.25 mm"}},
	"lead_in.speed":   {{"1.5 m/min", "25 mm/s"}, {"1.2 m/min"}},
	"note":            {{"as the maker says"}, {"night shift tried this"}},
	"process":         {{"cut"}},
	"extra.beam":      {{"soft"}, {"hard"}},
}

var thicknesses = [][]string{{"3 mm", "0.3 cm"}, {"4 mm"}, {"5 mm", "5.0 mm"}, {"6 mm"}, {"8 mm"}, {"1/8 in", "3.175 mm"}, {"10 mm", "1 cm"}, {"12.7 mm", "1/2 in"}}

func pick[T any](r *rand.Rand, list []T) T { return list[r.IntN(len(list))] }

type object = map[string]any

func (s *shop) condition() object {
	c := object{"thickness": pick(s.r, pick(s.r, thicknesses))}
	for field := range sorted(spellings) {
		if required := strings.HasPrefix(field, "nozzle.") || slices.Contains([]string{"cut.power", "cut.speed", "cut.pressure", "cut.focus"}, field); required || s.r.IntN(4) == 0 {
			put(c, field, pick(s.r, pick(s.r, spellings[field])))
		}
	}
	if s.r.IntN(3) == 0 {
		c["variant"] = pick(s.r, []string{"pickled", "fine"})
	}
	s.pierce(c)
	if s.r.IntN(3) == 0 {
		c["quality"] = object{"roughness_range": 1 + s.r.IntN(4)}
	}
	return c
}

func (s *shop) pierce(c object) {
	stages := []any{}
	for range s.r.IntN(3) {
		stages = append(stages, object{"power": pick(s.r, []string{"900 W", "0.9 kW", "0 W"}), "time": pick(s.r, []string{"0.1 s", "100 ms", "0.2 s"})})
	}
	c["pierce"] = stages
}

func put(c object, field string, v any) {
	name, rest, nested := strings.Cut(field, ".")
	if !nested {
		c[name] = v
		return
	}
	if _, ok := c[name].(object); !ok {
		c[name] = object{}
	}
	put(c[name].(object), rest, v)
}

func sorted[V any](m map[string]V) func(func(string, V) bool) {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	return func(yield func(string, V) bool) {
		for _, k := range keys {
			if !yield(k, m[k]) {
				return
			}
		}
	}
}

// sets reads the condition sets on disk that can be read.
func (s *shop) sets() map[string]object {
	out := map[string]object{}
	for line := range strings.Lines(s.Run("ls-files", "--cached", "--others", "--exclude-standard", "--", s.root+"sets")) {
		p := strings.TrimSpace(line)
		data, err := os.ReadFile(s.Path(p))
		var set object
		if err == nil && json.Unmarshal(data, &set) == nil && set["kind"] == "condition-set" {
			out[p] = set
		}
	}
	return out
}

func (s *shop) write(p string, set object) {
	indent := pick(s.r, []string{"", " ", "  ", "  ", "  ", "\t"})
	var data []byte
	if indent == "" {
		data, _ = json.Marshal(set)
	} else {
		data, _ = json.MarshalIndent(set, "", indent)
	}
	s.Write(p, string(data)+pick(s.r, []string{"", "\n", "\n", "\n\n"}))
}

func (s *shop) name(machine string) string {
	s.n++
	return fmt.Sprintf("%ssets/%s/%s-%d.json", s.root, machine, pick(s.r, []string{"a", "m", "z"}), s.n)
}

func (s *shop) newSet() {
	machine := pick(s.r, []string{"bay-2", "bay-5"})
	set := object{"kind": "condition-set", "format": 1, "machine": machine, "material": pick(s.r, []string{"brass", "copper"}), "gas": pick(s.r, []string{"nitrogen", "mix-a"})}
	if s.r.IntN(2) == 0 {
		set["grade"] = "S355J2"
	}
	var conditions []any
	for range 1 + s.r.IntN(4) {
		conditions = append(conditions, s.condition())
	}
	set["conditions"] = conditions
	s.write(s.name(machine), set)
}

// edit does one thing that people do, to the work tree.
func (s *shop) edit() {
	sets := s.sets()
	var paths []string
	for p := range sorted(sets) {
		paths = append(paths, p)
	}
	if len(paths) == 0 {
		s.newSet()
		return
	}
	p := pick(s.r, paths)
	set := sets[p]
	conditions, _ := set["conditions"].([]any)
	machine := set["machine"].(string)
	switch s.r.IntN(23) {
	case 0, 1, 2, 3, 4, 5:
		if len(conditions) > 0 {
			var fields []string
			for field := range sorted(spellings) {
				fields = append(fields, field)
			}
			field := pick(s.r, fields)
			put(pick(s.r, conditions).(object), field, pick(s.r, pick(s.r, spellings[field])))
		}
		s.write(p, set)
	case 6:
		s.write(p, set) // laid out anew
	case 7: // moved, and edited on the way
		s.Remove(p)
		if s.r.IntN(2) == 0 && len(conditions) > 0 {
			put(pick(s.r, conditions).(object), "cut.speed", pick(s.r, pick(s.r, spellings["cut.speed"])))
		}
		s.write(s.name(machine), set)
	case 8: // split
		cut := s.r.IntN(len(conditions) + 1)
		other := object{}
		for k, v := range set {
			other[k] = v
		}
		set["conditions"], other["conditions"] = conditions[:cut:cut], conditions[cut:]
		s.write(p, set)
		s.write(s.name(machine), other)
	case 9:
		set["conditions"] = append(conditions, s.condition())
		s.write(p, set)
	case 10:
		if len(conditions) > 0 {
			i := s.r.IntN(len(conditions))
			set["conditions"] = slices.Delete(conditions, i, i+1)
		}
		s.write(p, set)
	case 11:
		if len(conditions) > 0 {
			pick(s.r, conditions).(object)["thickness"] = pick(s.r, pick(s.r, thicknesses))
		}
		s.write(p, set)
	case 12:
		if len(conditions) > 0 {
			s.pierce(pick(s.r, conditions).(object))
		}
		s.write(p, set)
	case 13:
		data := s.Read(p)
		s.Write(p, data[:s.r.IntN(len(data))])
	case 14:
		set["grade"] = pick(s.r, []string{"S355J2", "S235JR"})
		s.write(p, set)
	case 15:
		s.settings()
	case 16: // the same conditions in a second file
		s.write(s.name(machine), set)
	case 17:
		s.Remove(p)
	case 18:
		s.Write("README.md", fmt.Sprint("nothing of the library ", s.r.Int()))
	case 20, 21, 22:
		s.machine()
	case 19:
		s.n++
		s.Write(fmt.Sprintf("%srecords/2026/07/%d.json", s.root, s.n), "{}")
	}
}

// machine writes a profile: values in other spellings, members that come and go, sometimes nothing that can be read.
func (s *shop) machine() {
	name := pick(s.r, []string{"bay-2", "bay-5"})
	p := s.root + "machines/" + name + ".json"
	if s.r.IntN(8) == 0 {
		s.Write(p, pick(s.r, []string{"", "{", `{"kind":"library"}`}))
		return
	}
	m := object{"kind": "machine", "format": 1, "name": name, "laser": object{"rated_power": pick(s.r, []string{"6 kW", "6000 W", "8 kW"})},
		"head": object{"nozzles": []any{object{"form": "double", "orifice": pick(s.r, []string{"1.2 mm", "1200 um", "1.5 mm"})}}},
		"gas":  object{"oxygen": object{"line_pressure": pick(s.r, []string{"3.5 bar", "350 kPa", "4 bar"})}}}
	if s.r.IntN(2) == 0 {
		put(m, "laser.core_diameter", pick(s.r, []string{"0.1 mm", "100 um", "0.15 mm"}))
	}
	if s.r.IntN(3) == 0 {
		m["revision"] = 1 + s.r.IntN(2)
	}
	if s.r.IntN(3) == 0 {
		m["note"] = pick(s.r, []string{"lens changed", "as delivered"})
	}
	s.write(p, m)
}

func (s *shop) settings() {
	if s.r.IntN(5) == 0 {
		s.Write(s.root+"fettle.json", pick(s.r, []string{"", "{", `{"kind":"machine"}`}))
		return
	}
	share := 1 + s.r.IntN(3)
	s.Write(s.root+"fettle.json", fmt.Sprintf(`{"kind":"library","format":1,"id":"7f3c1e9a5b2d48069c4ae1d07b86f25d","name":"Northgate","gases":{"mix-a":{"nitrogen":"%d %%","hydrogen":"%d %%"}}}`, 100-share, share))
}

func (s *shop) commit() {
	s.Commit("work")
	s.Tick(pick(s.r, []time.Duration{0, time.Hour, time.Minute, -2 * time.Hour, 30 * time.Hour}))
}

// work makes some commits on the branch at hand.
func (s *shop) work(commits int) {
	for range commits {
		if s.r.IntN(10) == 0 {
			if _, err := s.Try("revert", "--no-edit", pick(s.r, []string{"HEAD", "HEAD~1"})); err != nil {
				s.Try("revert", "--abort")
				s.Try("reset", "-q", "--hard")
			}
			continue
		}
		for range 1 + s.r.IntN(2) {
			s.edit()
		}
		s.commit()
	}
}

// merge merges branches in one of the ways in which people do.
func (s *shop) merge(branches ...string) {
	args := []string{"merge", "-q", "--no-ff", "--no-edit"}
	evil := false
	switch s.r.IntN(6) {
	case 0:
		args = append(args, "-s", "ours")
	case 1:
		if len(branches) == 1 {
			args = append(args, "-X", pick(s.r, []string{"ours", "theirs"}))
		}
	case 2:
		evil = true
	}
	args = append(args, "--no-commit")
	if out, err := s.Try(append(args, branches...)...); err != nil {
		if len(branches) > 1 || s.Run("ls-files", "-u") == "" && !strings.Contains(out, "CONFLICT") {
			s.Try("merge", "--abort")
			s.Try("reset", "-q", "--hard")
			return
		}
		s.settle()
	}
	if evil {
		s.edit()
	}
	s.commit()
}

// settle ends the conflicts of a merge, each file on its own: as here, as there, or as neither.
func (s *shop) settle() {
	seen := map[string]bool{}
	for line := range strings.Lines(s.Run("ls-files", "-u")) {
		_, p, _ := strings.Cut(strings.TrimSuffix(line, "\n"), "\t")
		if seen[p] {
			continue
		}
		seen[p] = true
		side := pick(s.r, []string{"--ours", "--theirs"})
		if _, err := s.Try("checkout", side, "--", p); err != nil {
			s.Remove(p)
		}
	}
	if s.r.IntN(3) == 0 {
		s.edit()
	}
}

// crissCross lets two branches merge each other as they were before, work on, and merge again: then there is more than one common base.
func (s *shop) crissCross(name string) {
	s.Run("checkout", "-q", "-b", name)
	s.work(2)
	there := s.Run("rev-parse", "HEAD")
	s.Run("checkout", "-q", "main")
	s.work(2)
	here := s.Run("rev-parse", "HEAD")
	s.merge(there)
	s.work(1)
	s.Run("checkout", "-q", name)
	s.merge(here)
	s.work(1)
	s.Run("checkout", "-q", "main")
	s.merge(name)
}

func (s *shop) history(rounds int) {
	s.settings()
	s.newSet()
	s.newSet()
	s.commit()
	for i := range rounds {
		s.work(1 + s.r.IntN(3))
		if i == rounds/2 {
			s.crissCross(fmt.Sprint("cross-", i))
		}
		if s.r.IntN(3) == 0 {
			continue
		}
		branches := []string{fmt.Sprint("side-", i)}
		if s.r.IntN(5) == 0 {
			branches = append(branches, fmt.Sprint("other-", i))
		}
		back := pick(s.r, []string{"HEAD", "HEAD", "HEAD~1", "HEAD~2"})
		for _, b := range branches {
			if _, err := s.Try("checkout", "-q", "-b", b, back); err != nil {
				s.Run("checkout", "-q", "-b", b)
			}
			s.work(1 + s.r.IntN(3))
			s.Run("checkout", "-q", "main")
		}
		s.work(s.r.IntN(3))
		s.merge(branches...)
	}
}

func newShop(t *testing.T, seed uint64) *shop {
	s := &shop{Repo: gittest.New(t), t: t, r: rand.New(rand.NewPCG(seed, 7))}
	if seed%3 == 2 {
		s.root = "cutting/library/"
	}
	s.Run("config", "merge.conflictStyle", "merge")
	s.Run("config", "core.quotePath", "false")
	s.history(8)
	return s
}

func (s *shop) dir() string { return strings.TrimSuffix(path.Clean("/" + s.root)[1:], "/") }
