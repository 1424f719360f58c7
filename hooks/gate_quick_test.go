package hooks_test

import (
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/history"
	"fettle/history/git"
	"fettle/hooks"
	"fettle/schema"
)

const iris = "iris.brandt@northgate.example"

// received judges a push to main as a server does, which remembers.
func (s *shop) received(old, new string) *hooks.Ruling {
	s.t.Helper()
	repo, err := git.Open(s.Dir, git.NoReplace())
	if err != nil {
		s.t.Fatal(err)
	}
	defer repo.Close()
	r, err := hooks.JudgeRange(repo, main, old, new, hooks.GateOptions{At: s.now.Add(time.Hour), Render: render, Memory: true})
	if err != nil {
		s.t.Fatal(err)
	}
	return r
}

// gateMemory are the files in which the gate of a repository remembers, by name.
func (s *shop) gateMemory() map[string][]byte {
	s.t.Helper()
	files, err := filepath.Glob(filepath.Join(s.open().GitDir, "fettle", "gate-*"))
	if err != nil {
		s.t.Fatal(err)
	}
	out := map[string][]byte{}
	for _, file := range files {
		if out[file], err = os.ReadFile(file); err != nil {
			s.t.Fatal(err)
		}
	}
	return out
}

// What is about conditions is judged from memory, their decisions too; what is about more is not, and no push that is refused.
func TestGateJudgesFromMemory(t *testing.T) {
	s := newShop(t)
	old := s.head()
	pressure := 20
	for _, c := range []struct {
		name, want string
		quick      bool
		push       func()
	}{
		{"reasoned and approved", "", true, func() { s.reason(); s.approve(oxygen3, jonas) }},
		{"permitted", "", true, func() { s.reason(); s.permit(oxygen3, 2*time.Hour) }},
		{"neither", "no-reason 3mm, unapproved 3mm", false, func() {}},
		{"by who wrote it", "own-approval 3mm, unapproved 3mm", false, func() { s.reason(); s.approve(oxygen3, mara) }},
		{"untried", "no-trial 3mm", false, func() { s.reason(); s.approveUntried(oxygen3, jonas) }},
		{"a machine, too", "", false, func() {
			s.Write("machines/bay-2.json", strings.Replace(s.Read("machines/bay-2.json"), `["bay-2"]`, `["bay-2", "bay-2-north"]`, 1))
			s.approveSubject(schema.SubjectMachine, "bay-2", jonas)
			s.reason()
			s.tryOn("bay-2", oxygen3, "good")
			s.approveUntried(oxygen3, jonas)
		}},
		{"nothing on the twin", "no-trial 3mm", false, func() {
			s.reason()
			s.tryOn("bay-2", oxygen3, "good")
			s.approveUntried(oxygen3, jonas)
		}},
		{"another plate of the set on the twin", "", true, func() {
			s.reason()
			s.tryOn("bay-2", oxygen3, "good")
			s.tryOn("bay-2-north", "bay-2/carbon-steel/oxygen/2mm", "good")
			s.approveUntried(oxygen3, jonas)
		}},
		{"a decision taken back", "", false, func() {
			p := s.approve(oxygen3, jonas)
			s.reason()
			s.keep("approved")
			r := schema.ReadRecord(p, []byte(s.Read(p)))
			c := s.common(schema.KindWithdrawal, jonas)
			s.add(s.record(&schema.Withdrawal{Common: c, Record: schema.Of(string(r.Digest))}, jonas))
			s.permit(oxygen3, 2*time.Hour)
		}},
	} {
		pressure++
		s.edit(oxygen3, fmt.Sprintf("0.%d bar", pressure))
		c.push()
		tip := s.keep(c.name)
		r := s.received(old, tip)
		if got := rules(r); got != c.want || r.Quick() != c.quick {
			t.Errorf("%s: got %q, want %q; from memory: %v", c.name, got, c.want, r.Quick())
		}
		if !r.Refused() {
			old = tip
			continue
		}
		for file, data := range s.gateMemory() { // of what is refused nothing stays
			if digest := s.Run("rev-parse", tip+":records"); strings.Contains(string(data), digest) {
				t.Errorf("%s: %s is of the push that was refused", c.name, filepath.Base(file))
			}
		}
		s.Run("reset", "-q", "--hard", old)
	}
}

// What the gate remembers may be altered, cut, of another repository or of another day: it says the same, and makes good ones again.
func TestGateAndBadMemory(t *testing.T) {
	other := newShop(t)
	other.edit(oxygen6, "0.33 bar")
	other.reason()
	from := other.head()
	other.received(from, other.keep("elsewhere"))

	s := newShop(t)
	old := s.head()
	s.edit(oxygen3, "0.26 bar")
	s.reason()
	s.approve(oxygen3, jonas)
	next := s.keep("x")
	s.received(old, next)
	stale := s.gateMemory()
	old = next
	s.edit(oxygen3, "0.27 bar")
	s.reason()
	bad := s.keep("not approved")
	s.approve(oxygen3, jonas)
	good := s.keep("approved")
	s.received(old, good)
	fresh := s.gateMemory()
	if len(fresh) != 3 || len(other.gateMemory()) != 3 {
		t.Fatal("nothing is remembered")
	}
	quick := 0
	try := func(what string, memory map[string][]byte) {
		t.Helper()
		for file, data := range memory {
			if err := os.WriteFile(filepath.Join(s.open().GitDir, "fettle", filepath.Base(file)), data, 0o666); err != nil {
				t.Fatal(err)
			}
		}
		if got := rules(s.received(old, bad)); got != "unapproved 3mm" {
			t.Errorf("%s: a bad push: %q", what, got)
		}
		r := s.received(old, good)
		if r.Refused() {
			t.Errorf("%s: a good push is refused: %s", what, rules(r))
		}
		if r.Quick() {
			quick++
		}
		if !s.received(old, good).Quick() {
			t.Errorf("%s: nothing new is remembered", what)
		}
	}
	try("as it is", fresh)
	try("of the push before", stale)
	try("of another repository", other.gateMemory())
	for file, data := range other.gateMemory() {
		try("half of another repository", map[string][]byte{file: data})
	}
	for file, data := range fresh {
		for _, n := range []int{0, 1, len(data) / 2, len(data) - 1} {
			try("cut", map[string][]byte{file: data[:n]})
		}
		try("doubled", map[string][]byte{file: slices.Concat(data, data)})
		random := rand.New(rand.NewPCG(3, 5))
		for range 40 {
			flipped := slices.Clone(data)
			flipped[random.IntN(len(data))] ^= 1 << random.IntN(8)
			try("a bit altered", map[string][]byte{file: flipped})
		}
	}
	if quick < 2 {
		t.Error("nothing was judged from memory")
	}
	for _, file := range slices.Collect(maps.Keys(fresh)) { // and where nothing can be remembered, all is read
		os.Remove(file)
	}
	if err := os.Chmod(filepath.Join(s.open().GitDir, "fettle"), 0o555); err != nil {
		t.Fatal(err)
	}
	defer os.Chmod(filepath.Join(s.open().GitDir, "fettle"), 0o777)
	if r := s.received(old, good); r.Refused() {
		t.Errorf("a repository that may only be read: %s", rules(r))
	}
}

// Random years of a shop in pushes of a few commits: whoever writes, tries, permits, approves, rejects and takes back, alone or for several
// conditions, in one line or merged. Each ruling is held to one from memory by afterGate.
func TestGateSaysTheSameFromMemory(t *testing.T) {
	rounds, pushes := 2, 8
	if brief() {
		rounds = 1
	}
	file := filepath.Join(t.TempDir(), "count")
	t.Setenv("FETTLE_TEST_COUNT_QUICK", file)
	passed := 0
	for round := range rounds {
		s := newShop(t)
		random := rand.New(rand.NewPCG(uint64(round), seed(t)))
		pick := func(from ...string) string { return from[random.IntN(len(from))] }
		ids := []string{oxygen3, oxygen6, "bay-2/carbon-steel/oxygen/2mm"}
		person := func() string { return pick(mara, jonas, jonas, jonas, iris) }
		old := s.head()
		for range pushes {
			for range 1 + random.IntN(3) {
				s.year(random, pick, person, ids)
				s.Run("add", "-A")
				s.Run("commit", "-q", "--no-verify", "--allow-empty", "-m", "x", "--author", pick("Mara Lind <"+mara+">", "Iris Brandt <"+iris+">"))
			}
			if random.IntN(5) == 0 { // another line from before the push, merged
				tip := s.head()
				s.Run("checkout", "-q", "--detach", old)
				s.edit(pick(ids...), fmt.Sprintf("0.%d bar", 21+random.IntN(9)))
				if s.Run("status", "--porcelain") != "" {
					s.reasonBy(person())
				}
				s.keep("aside")
				aside := s.head()
				s.Run("checkout", "-q", "main")
				if _, code := s.git("merge", "-q", "--no-verify", "--no-edit", aside); code != 0 {
					s.Run("reset", "-q", "--hard", tip)
				}
			}
			if r := s.judge(main, old, s.head()); !r.Refused() {
				passed++
			} else if random.IntN(4) > 0 {
				s.Run("reset", "-q", "--hard", old)
				continue
			}
			old = s.head()
		}
	}
	data, _ := os.ReadFile(file)
	if !strings.Contains(string(data), "gate\n") && passed > 3 {
		t.Errorf("of %d pushes that passed none was judged from memory", passed)
	}
}

func seed(t *testing.T) (n uint64) {
	fmt.Sscan(os.Getenv("FETTLE_TEST_SEED"), &n)
	return n
}

// year does one thing or two that happen to a library.
func (s *shop) year(random *rand.Rand, pick func(...string) string, person func() string, ids []string) {
	s.t.Helper()
	id := pick(ids...)
	switch random.IntN(20) {
	case 0, 1, 2, 3, 4, 12, 13, 14, 15, 16, 17:
		s.edit(id, fmt.Sprintf("0.%d bar", 21+random.IntN(9)))
		if random.IntN(5) > 0 && s.Run("status", "--porcelain") != "" {
			s.reasonBy(person())
		}
		if random.IntN(3) > 0 {
			s.try(id, pick("good", "good", "good", "bad"))
			s.approveUntried(id, person())
		}
	case 5:
		s.try(id, pick("good", "bad"))
	case 6:
		s.permit(id, 2*time.Hour)
	case 7:
		s.approveUntried(id, person())
	case 8, 9: // several in one record, following whatever
		side := s.disk()
		by := person()
		d := &schema.Decision{Common: s.common(pick(schema.KindApproval, schema.KindApproval, schema.KindRejection), by)}
		var follows []string
		standing := side.Ledger.Judge(libraryName, "")
		for _, id := range ids[:2+random.IntN(2)] {
			parsed, _ := schema.ParseID(id)
			d.Subjects.V = append(d.Subjects.V, history.ConditionSubject(side.Lib, side.Lib.Recipe(parsed)))
			for _, head := range standing.Condition(parsed).Heads {
				follows = append(follows, string(head.Record.Digest))
			}
		}
		d.Subjects = schema.Of(d.Subjects.V)
		if slices.Sort(follows); random.IntN(3) == 0 {
			follows = follows[:1]
		}
		d.Follows = schema.Of(slices.Compact(follows))
		s.add(s.record(d, by))
	case 10:
		records := s.disk().Ledger.Records
		by := person()
		s.add(s.record(&schema.Withdrawal{Common: s.common(schema.KindWithdrawal, by), Record: schema.Of(string(records[random.IntN(len(records))].Digest))}, pick(by, "")))
	default:
		if random.IntN(2) == 0 {
			s.Write("machines/bay-2.json", strings.Replace(s.Read("machines/bay-2.json"), `["bay-2"]`, `["bay-2", "bay-2-north"]`, 1))
			s.approveSubject(schema.SubjectMachine, "bay-2", jonas)
		} else {
			s.Write("notes.txt", fmt.Sprint(random.IntN(100)))
		}
	}
}
