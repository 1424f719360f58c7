package hooks_test

import (
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/history"
	"fettle/history/git"
	"fettle/history/git/gittest"
	"fettle/history/signature"
	"fettle/hooks"
	"fettle/schema"
)

// keep commits everything on disk past the hooks.
func (s *shop) keep(message string) string {
	s.t.Helper()
	s.Run("add", "-A")
	s.Run("commit", "-q", "--no-verify", "--allow-empty", "-m", message)
	return s.head()
}

// judge is what a gate says of a branch that goes from old to new; "" is a branch that is not there.
func (s *shop) judge(ref, old, new string) *hooks.Ruling {
	s.t.Helper()
	repo, err := git.Open(s.Dir, git.NoReplace())
	if err != nil {
		s.t.Fatal(err)
	}
	s.t.Cleanup(func() { repo.Close() })
	r, err := hooks.JudgeRange(repo, ref, old, new, hooks.GateOptions{At: s.now.Add(time.Hour), Render: render})
	if err != nil {
		s.t.Fatal(err)
	}
	return r
}

// rules are those that speak against a ruling, each with the condition it is about.
func rules(r *hooks.Ruling) string {
	var out []string
	for _, c := range r.Charges() {
		if c.Severity != 0 && !slices.Contains(out, strings.TrimSpace(c.Rule+" "+c.ID[strings.LastIndex(c.ID, "/")+1:])) {
			out = append(out, strings.TrimSpace(c.Rule+" "+c.ID[strings.LastIndex(c.ID, "/")+1:]))
		}
	}
	slices.Sort(out)
	return strings.Join(out, ", ")
}

const main = "refs/heads/main"

// permit writes a permit for a condition as it lies on disk, from now on.
func (s *shop) permit(id string, lasts time.Duration) {
	s.t.Helper()
	parsed, _ := schema.ParseID(id)
	c := s.common(schema.KindPermit, mara)
	s.add(s.record(&schema.Permit{Common: c, ID: schema.Of(id), Digest: schema.Of(string(s.disk().Lib.Recipe(parsed).Digest())),
		Until: schema.Of(s.now.Add(lasts).Format(time.RFC3339))}, ""))
}

func TestGateOnProtectedBranch(t *testing.T) {
	for _, c := range []struct {
		name, want string
		push       func(s *shop)
	}{
		{"nothing", "", func(s *shop) { s.keep("nothing") }},
		{"other files", "", func(s *shop) { s.Write("notes.txt", "x"); s.keep("notes") }},
		{"reasoned and approved", "", func(s *shop) { s.edit(oxygen3, "0.27 bar"); s.reason(); s.approve(oxygen3, jonas); s.keep("x") }},
		{"in one commit each", "", func(s *shop) {
			s.edit(oxygen3, "0.27 bar")
			s.keep("edit")
			s.reason("HEAD~1")
			s.keep("why")
			s.approve(oxygen3, jonas)
			s.keep("yes")
		}},
		{"reasoned", "unapproved 3mm", func(s *shop) { s.edit(oxygen3, "0.27 bar"); s.reason(); s.keep("x") }},
		{"neither", "no-reason 3mm, unapproved 3mm", func(s *shop) { s.edit(oxygen3, "0.27 bar"); s.keep("x") }},
		{"approved though nobody gave a reason", "", func(s *shop) { s.edit(oxygen3, "0.27 bar"); s.keep("x"); s.approve(oxygen3, jonas); s.keep("yes") }},
		{"approved, then edited again", "no-reason 3mm, unapproved 3mm", func(s *shop) {
			s.edit(oxygen3, "0.27 bar")
			s.reason()
			s.approve(oxygen3, jonas)
			s.keep("x")
			s.edit(oxygen3, "0.28 bar")
			s.keep("y")
		}},
		{"there and back", "", func(s *shop) { s.edit(oxygen3, "27 bar"); s.keep("x"); s.edit(oxygen3, "0.25 bar"); s.keep("back") }},
		{"own approval", "own-approval 3mm, unapproved 3mm", func(s *shop) { s.edit(oxygen3, "0.27 bar"); s.reason(); s.approve(oxygen3, mara); s.keep("x") }},
		{"approved without a trial", "no-trial 3mm", func(s *shop) { s.edit(oxygen3, "0.27 bar"); s.reason(); s.approveUntried(oxygen3, jonas); s.keep("x") }},
		{"approved, and the trial of another day", "", func(s *shop) {
			s.edit(oxygen3, "0.27 bar")
			s.reason()
			s.approveUntried(oxygen3, jonas)
			s.keep("x")
			s.try(oxygen3, "good")
			s.keep("y")
		}},
		{"approved, and the trial was bad", "no-trial 3mm", func(s *shop) {
			s.edit(oxygen3, "0.27 bar")
			s.reason()
			s.try(oxygen3, "bad")
			s.approveUntried(oxygen3, jonas)
			s.keep("x")
		}},
		{"approved on a good trial, and a bad one since", "", func(s *shop) {
			s.edit(oxygen3, "0.27 bar")
			s.reason()
			s.approve(oxygen3, jonas)
			s.keep("x")
			s.try(oxygen3, "bad")
			s.keep("y")
		}},
		{"a kerf approved without a trial", "", func(s *shop) {
			s.Write(oxygenSet, strings.Replace(s.Read(oxygenSet), `"kerf": "0.28 mm"`, `"kerf": "0.29 mm"`, 1))
			s.reason()
			s.approveUntried("bay-2/carbon-steel/oxygen/2mm", jonas)
			s.keep("x")
		}},
		{"by a stranger", "unapproved 3mm", func(s *shop) {
			s.edit(oxygen3, "0.27 bar")
			s.reason()
			s.approve(oxygen3, "nils.berg@elsewhere.example")
			s.keep("x")
		}},
		{"an error that somebody approved", "pressure-over-line 3mm", func(s *shop) { s.edit(oxygen3, "27 bar"); s.reason(); s.approve(oxygen3, jonas); s.keep("x") }},
		{"a note", "", func(s *shop) {
			s.Write(oxygenSet, strings.Replace(s.Read(oxygenSet), `"kerf": "0.28 mm"`, `"kerf": "0.28 mm", "note": "runs well"`, 1))
			s.keep("x")
		}},
		{"a permit", "", func(s *shop) { s.edit(oxygen3, "0.27 bar"); s.reason(); s.permit(oxygen3, 48*time.Hour); s.keep("x") }},
		{"a permit without a reason", "no-reason 3mm", func(s *shop) { s.edit(oxygen3, "0.27 bar"); s.permit(oxygen3, 48*time.Hour); s.keep("x") }},
		{"a permit that ended", "unapproved 3mm", func(s *shop) { s.edit(oxygen3, "0.27 bar"); s.reason(); s.permit(oxygen3, time.Minute); s.keep("x") }},
		{"a permit for a year", "unapproved 3mm", func(s *shop) { s.edit(oxygen3, "0.27 bar"); s.reason(); s.permit(oxygen3, 8760*time.Hour); s.keep("x") }},
		{"a permit for an error", "pressure-over-line 3mm", func(s *shop) { s.edit(oxygen3, "27 bar"); s.reason(); s.permit(oxygen3, 48*time.Hour); s.keep("x") }},
		{"a machine", "unapproved", func(s *shop) {
			s.Write("machines/bay-2.json", strings.Replace(s.Read("machines/bay-2.json"), `"3.5 bar"`, `"3.6 bar"`, 1))
			s.keep("x")
		}},
		{"the roster", "unapproved", func(s *shop) {
			s.Write("approvers", s.Read("approvers")+"# a remark\n")
			s.keep("remark")
			s.ownRoster()
			s.keep("x")
		}},
		{"the policy", "unapproved", func(s *shop) {
			s.Write("fettle.json", strings.Replace(s.Read("fettle.json"), `"refuse"`, `"allow"`, 1))
			s.keep("x")
		}},
		{"a record altered", "record-altered", func(s *shop) { p := s.aRecord(); s.Write(p, s.Read(p)+" "); s.keep("x") }},
		{"a record altered and put back", "record-altered", func(s *shop) {
			p := s.aRecord()
			was := s.Read(p)
			s.Write(p, was+" ")
			s.keep("x")
			s.Write(p, was)
			s.keep("y")
		}},
		{"a record removed and put back", "record-removed", func(s *shop) {
			p := s.aRecord()
			was := s.Read(p)
			s.Remove(p)
			s.keep("x")
			s.Write(p, was)
			s.keep("y")
		}},
		{"a record of the push itself removed", "record-removed", func(s *shop) {
			s.edit(oxygen3, "0.27 bar")
			p := s.reason()
			s.keep("x")
			s.Remove(p)
			s.edit(oxygen3, "0.25 bar")
			s.keep("y")
		}},
		{"all of it removed", "record-removed", func(s *shop) { s.Run("rm", "-q", "-r", "."); s.keep("x") }},
		{"a set that cannot be read", "syntax", func(s *shop) { s.Write(oxygenSet, s.Read(oxygenSet)[1:]); s.keep("x") }},
		{"a record of another library", "bad-value", func(s *shop) {
			s.edit(oxygen3, "0.27 bar")
			p := s.reason()
			r := schema.ReadRecord(p, []byte(s.Read(p)))
			s.Remove(p)
			s.edit(oxygen3, "0.25 bar")
			r.Common.Library = schema.Of(strings.Repeat("5", 32))
			s.add(schema.NewRecord(r.Body))
			s.keep("x")
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			s := newShop(t)
			old := s.head()
			c.push(s)
			r := s.judge(main, old, s.head())
			if got := rules(r); got != c.want {
				t.Errorf("got %q, want %q", got, c.want)
			}
			if r.Refused() != (c.want != "") {
				t.Errorf("refused is %v", r.Refused())
			}
			for _, charge := range r.Charges() {
				if charge.Commit == "" && len(charge.Rule) > 0 && charge.Path != "records" && c.name != "all of it removed" {
					t.Errorf("no commit is named for %s %s", charge.Rule, charge.Path)
				}
			}
			var out strings.Builder
			r.Print(&out)
			if r.Refused() != strings.Contains(out.String(), "main cannot take this") {
				t.Errorf("said\n%s", out.String())
			}
			for line := range strings.Lines(out.String()) {
				if command := strings.HasPrefix(line, "          "); !command && strings.HasPrefix(line, "fettle:") && len([]rune(line)) > hooks.RemoteWidth+1 {
					t.Errorf("too wide: %s", line)
				}
			}
		})
	}
}

// Of two machines that share a profile each has to show one good cut of the set, and a machine that comes with the push has time for that.
func TestGateAndTwins(t *testing.T) {
	t.Parallel()
	const profile = "machines/bay-2.json"
	twins := func(s *shop) {
		s.Write(profile, strings.Replace(s.Read(profile), `["bay-2"]`, `["bay-2", "bay-2-north"]`, 1))
		s.approveSubject(schema.SubjectMachine, "bay-2", jonas)
		s.keep("a twin")
	}
	change := func(s *shop, unit string) {
		s.edit(oxygen3, "0.27 bar")
		s.reason()
		s.tryOn("bay-2", oxygen3, "good")
		if unit != "" {
			s.tryOn(unit, "bay-2/carbon-steel/oxygen/2mm", "good")
		}
		s.approveUntried(oxygen3, jonas)
		s.keep("x")
	}
	for _, c := range []struct {
		name, want string
		before     func(*shop)
		push       func(*shop)
	}{
		{"nothing on the twin", "no-trial 3mm", twins, func(s *shop) { change(s, "") }},
		{"another plate of the set on the twin", "", twins, func(s *shop) { change(s, "bay-2-north") }},
		{"a twin that comes after", "", func(*shop) {}, func(s *shop) { change(s, ""); twins(s) }},
		{"no twin", "", func(*shop) {}, func(s *shop) { change(s, "") }},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newShop(t)
			c.before(s)
			old := s.head()
			c.push(s)
			if got := rules(s.judge(main, old, s.head())); got != c.want {
				t.Errorf("got %q, want %q", got, c.want)
			}
		})
	}
}

// aRecord is the path of a record that is saved already.
func (s *shop) aRecord() string {
	for p := range s.saved("HEAD").Hashes {
		return s.root + p
	}
	s.t.Fatal("there is no record")
	return ""
}

// ownRoster puts a stranger into the roster and lets them approve that.
func (s *shop) ownRoster() {
	s.t.Helper()
	const stranger = "nils.berg@elsewhere.example"
	key := s.key(stranger)
	line, err := signature.FormatLine(stranger, key.PublicKey(), "")
	if err != nil {
		s.t.Fatal(err)
	}
	s.Write("approvers", s.Read("approvers")+line+"\n")
	for _, subject := range history.CurrentSubjects(s.disk().Lib) {
		if subject.Kind.V == schema.SubjectRoster {
			s.add(s.record(&schema.Decision{Common: s.common(schema.KindApproval, stranger), Subjects: schema.Of([]schema.Subject{subject})}, stranger))
		}
	}
}

// A branch that nobody protects may hold what is not approved, and nothing else that main does not take.
func TestGateOnOtherBranches(t *testing.T) {
	s := newShop(t)
	base := s.head()
	s.Run("checkout", "-q", "-b", "work")
	s.edit(oxygen3, "0.27 bar")
	s.reason()
	first := s.keep("reasoned")
	if got := rules(s.judge("refs/heads/work", "", first)); got != "" {
		t.Errorf("a new branch: %s", got)
	}
	s.edit(oxygen6, "0.33 bar")
	second := s.keep("no reason")
	if got := rules(s.judge("refs/heads/work", first, second)); got != "no-reason 6mm" {
		t.Errorf("the next push: %s", got)
	}
	// Pushed to the side, by whatever name, it is still news to main, and so is what it was based on.
	s.Run("branch", "-f", "side", second)
	if got := rules(s.judge(main, base, second)); got != "no-reason 6mm, unapproved 3mm, unapproved 6mm" {
		t.Errorf("main: %s", got)
	}
	if got := rules(s.judge("refs/heads/another", "", second)); got != "no-reason 6mm" {
		t.Errorf("another branch at a commit that is there already: %s", got)
	}
	if r := s.judge("refs/tags/v1", "", second); r.Refused() || r.Commits != 0 {
		t.Errorf("a tag is refused: %s", rules(r))
	}
	// Somebody may rewrite their own branch, also where that takes a record out of it.
	s.Run("reset", "-q", "--hard", base)
	s.Write("notes.txt", "x")
	if got := rules(s.judge("refs/heads/work", first, s.keep("anew"))); got != "" {
		t.Errorf("rewritten: %s", got)
	}
	if r := s.judge("refs/heads/work", second, ""); r.Refused() {
		t.Errorf("removed: %s", rules(r))
	}
	if r := s.judge(main, base, ""); !r.Refused() {
		t.Error("main may be removed")
	}
}

// protect lets the settings name other branches, approved by both.
func (s *shop) protect(names string) {
	s.t.Helper()
	s.Write("fettle.json", strings.Replace(s.Read("fettle.json"), `["main"]`, names, 1))
}

func TestGateProtectedNames(t *testing.T) {
	s := newShop(t)
	s.protect(`["main", "release/*"]`)
	s.keep("more branches")
	base := s.head()
	s.edit(oxygen3, "0.27 bar")
	s.reason()
	tip := s.keep("edit")
	for ref, want := range map[string]string{"release/5": "unapproved 3mm", "release/5/a": "", "released": "", "main": "unapproved 3mm"} {
		if got := rules(s.judge("refs/heads/"+ref, base, tip)); got != want {
			t.Errorf("%s: got %q, want %q", ref, got, want)
		}
	}
	// A push that takes the protection away is still held to it.
	s.protect(`[]`)
	s.Write("fettle.json", strings.Replace(s.Read("fettle.json"), `["main", "release/*"]`, `[]`, 1))
	if got := rules(s.judge("refs/heads/release/5", base, s.keep("open"))); got != "unapproved, unapproved 3mm" {
		t.Errorf("got %q", got)
	}
}

func TestGateAndMerges(t *testing.T) {
	s := newShop(t)
	base := s.head()
	main1 := func() string { // one side: another pressure
		s.edit(oxygen3, "0.27 bar")
		s.reason()
		return s.keep("pressure")
	}()
	side := func(reason bool) string { // the other: another speed
		s.Run("checkout", "-q", "--detach", base)
		s.replace(oxygen3, `"speed": "`, "3.7 m/min")
		if reason {
			s.reason()
		}
		return s.keep("speed")
	}
	merged := func(other, speed, pressure string) string {
		s.Run("checkout", "-q", "--detach", main1)
		s.Run("merge", "-q", "--no-commit", "-s", "ours", other)
		s.Run("checkout", other, "--", "records")
		s.Run("checkout", main1, "--", "records")
		s.replace(oxygen3, `"speed": "`, speed)
		s.edit(oxygen3, pressure)
		return s.keep("merged")
	}
	good, silent := side(true), side(false)
	for _, c := range []struct{ name, old, tip, want string }{
		{"values of both sides", base, merged(good, "3.7 m/min", "0.27 bar"), "unapproved 3mm"},
		{"from the tip of the one side", main1, merged(good, "3.7 m/min", "0.27 bar"), "unapproved 3mm"},
		{"a value of neither side", main1, merged(good, "3.6 m/min", "0.27 bar"), "no-reason 3mm, unapproved 3mm"},
		{"a side without a reason", main1, merged(silent, "3.7 m/min", "0.27 bar"), "no-reason 3mm, unapproved 3mm"},
		{"a side without a reason that the merge did not take", main1, merged(silent, "3.8 m/min", "0.27 bar"), ""},
	} {
		if got := rules(s.judge(main, c.old, c.tip)); got != c.want {
			t.Errorf("%s: got %q, want %q", c.name, got, c.want)
		}
	}
	// A merge that leaves the records of a side out.
	s.Run("checkout", "-q", "--detach", main1)
	s.Run("merge", "-q", "--no-verify", "-s", "ours", "-m", "ours", good)
	if got := rules(s.judge(main, main1, s.head())); got != "record-removed" {
		t.Errorf("records of a side left out: got %q", got)
	}
	// After the merge everything goes on from there.
	s.Run("checkout", "-q", "--detach", merged(good, "3.7 m/min", "0.27 bar"))
	s.approve(oxygen3, jonas)
	if got := rules(s.judge(main, main1, s.keep("yes"))); got != "" {
		t.Errorf("approved after the merge: %q", got)
	}
}

func TestGateRewrites(t *testing.T) {
	s := newShop(t)
	base := s.head()
	s.edit(oxygen3, "0.27 bar")
	s.reason()
	s.approve(oxygen3, jonas)
	old := s.keep("approved")
	// The same content as another commit keeps everything.
	s.Run("commit", "-q", "--no-verify", "--amend", "-m", "in other words")
	r := s.judge(main, old, s.head())
	if r.Refused() || !r.Rewrites() {
		t.Errorf("amended: %s, rewrites %v", rules(r), r.Rewrites())
	}
	if got := rules(s.judge(main, old, base)); got != "record-removed" {
		t.Errorf("back: %q", got)
	}
	s.Run("config", "fettle.rewrite-protected", "refuse")
	if r := s.judge(main, old, s.head()); !r.Refused() {
		t.Error("rewritten against the settings of the server")
	}
	s.Run("config", "fettle.rewrite-protected", "perhaps")
	repo := s.open()
	if _, err := hooks.JudgeRange(repo, main, old, s.head(), hooks.GateOptions{Render: render}); err == nil || !strings.Contains(err.Error(), "perhaps") {
		t.Errorf("a setting that cannot be read: %v", err)
	}
	s.Run("config", "fettle.delete-protected", "allow")
	if r := s.judge(main, old, ""); r.Refused() {
		t.Error("not removed")
	}
}

// What is pushed cannot be replaced by another content that looks better, and what is no ordinary file is not passed over.
func TestGateIsNotFooled(t *testing.T) {
	s := newShop(t)
	old := s.head()
	good := s.Run("rev-parse", "HEAD:"+oxygenSet)
	s.edit(oxygen3, "27 bar")
	tip := s.keep("bad")
	s.Run("replace", s.Run("rev-parse", "HEAD:"+oxygenSet), good)
	if got := rules(s.judge(main, old, tip)); !strings.Contains(got, "pressure-over-line") {
		t.Errorf("a replaced file: %q", got)
	}
	s.Run("reset", "-q", "--hard", old)
	s.Remove("fettle.json")
	if got := rules(s.judge(main, old, s.keep("no settings"))); !strings.Contains(got, "missing-field") {
		t.Errorf("a library without settings: %q", got)
	}
	s.Run("reset", "-q", "--hard", old)
	s.Remove(oxygenSet)
	if err := os.Symlink("/etc/passwd", s.Path(oxygenSet)); err != nil {
		t.Skip(err)
	}
	tip = s.keep("a link")
	if _, err := hooks.JudgeRange(s.open(), main, old, tip, hooks.GateOptions{Render: render}); err == nil || !strings.Contains(err.Error(), "symbolic link") {
		t.Errorf("a symbolic link: %v", err)
	}
	if _, err := hooks.JudgeRange(s.open(), main, strings.Repeat("1", 40), tip, hooks.GateOptions{Render: render}); err == nil || !strings.Contains(err.Error(), "is not here") {
		t.Errorf("an old tip that is not here: %v", err)
	}
	if _, err := hooks.JudgeRange(s.open(), main, old, strings.Repeat("1", 40), hooks.GateOptions{Render: render}); err == nil {
		t.Error("a new tip that is not here passes")
	}
}

// Random histories of commits and merges that add records, alter them, take them out and bring them back, judged against what
// `git ls-tree` says of each commit and its parents.
func TestGateAppendOnlyAgainstGit(t *testing.T) {
	newShop(t) // makes the template
	random := rand.New(rand.NewPCG(7, 11))
	for round := range 6 {
		s := newShop(t)
		old := s.head()
		tips := []string{old}
		names := []string{s.aRecord()}
		for range 3 + random.IntN(8) {
			at := tips[random.IntN(len(tips))]
			s.Run("checkout", "-q", "--detach", at)
			if other := tips[random.IntN(len(tips))]; random.IntN(3) == 0 && other != at {
				s.git("merge", "-q", "--no-verify", "--no-edit", "-s", []string{"ours", "ort"}[random.IntN(2)], other)
				if s.Run("status", "--porcelain") != "" {
					s.Run("reset", "-q", "--hard", at)
				}
				tips = append(tips, s.head())
				continue
			}
			name := names[random.IntN(len(names))]
			switch random.IntN(6) {
			case 0, 1, 2:
				s.edit(oxygen3, fmt.Sprintf("0.2%d bar", 1+random.IntN(8)))
				if s.Run("status", "--porcelain") != "" {
					names = append(names, s.reason())
				}
			case 3:
				if _, err := os.Stat(s.Path(name)); err == nil && random.IntN(2) == 0 {
					s.Write(name, s.Read(name)+"\n")
				}
			case 4:
				if random.IntN(2) == 0 {
					s.Remove(name)
				}
			case 5:
				s.git("checkout", tips[random.IntN(len(tips))], "--", "records")
			}
			s.keep("x")
			tips = append(tips, s.head())
		}
		for _, tip := range tips[1:] {
			want := map[string]bool{}
			for _, commit := range strings.Fields(s.Run("rev-list", tip, "^"+old)) {
				now := blobs(s, commit)
				for _, parent := range strings.Fields(s.Run("rev-parse", commit+"^@")) {
					for p, blob := range blobs(s, parent) {
						if now[p] != blob {
							want[p] = true
						}
					}
				}
			}
			for p, blob := range blobs(s, old) {
				if blobs(s, tip)[p] != blob {
					want[p] = true
				}
			}
			got := map[string]bool{}
			for _, c := range s.judge(main, old, tip).Charges() {
				if strings.HasPrefix(c.Rule, "record-") && c.Path != "records" {
					got[c.Path] = true
				}
			}
			if len(want) != len(got) {
				t.Fatalf("round %d, %s: got %v, want %v\n%s", round, tip, got, want, s.Run("log", "--graph", "--oneline", "--stat", tip, "^"+old))
			}
			for p := range want {
				if !got[p] {
					t.Errorf("round %d: %s is not told", round, p)
				}
			}
		}
	}
}

// blobs are the records of a commit as git lists them.
func blobs(s *shop, commit string) map[string]string {
	out := map[string]string{}
	for line := range strings.Lines(s.Run("ls-tree", "-r", commit, "--", "records")) {
		facts, p, _ := strings.Cut(strings.TrimSuffix(line, "\n"), "\t")
		out[p] = strings.Fields(facts)[2]
	}
	return out
}

// A push of many commits is walked through with one child and judged once.
func TestGateManyCommits(t *testing.T) {
	s := newShop(t)
	old := s.head()
	var b strings.Builder
	const n = 2000
	for i := range n {
		from := old
		if i > 0 {
			from = fmt.Sprintf(":%d", i)
		}
		fmt.Fprintf(&b, "commit refs/heads/many\nmark :%d\ncommitter A <a@b> %d +0000\ndata 1\nx\nfrom %s\nM 100644 inline notes/%d.txt\ndata 2\n%d\n\n", i+1, gittest.Start.Unix()+int64(i), from, i, i%10)
	}
	s.Input(b.String(), "fast-import", "--quiet")
	s.Run("checkout", "-q", "many")
	s.edit(oxygen3, "27 bar")
	r := s.judge(main, old, s.keep("at last"))
	if got := rules(r); got != "no-reason 3mm, pressure-over-line 3mm, unapproved 3mm" || r.Commits != n+1 {
		t.Errorf("got %q over %d commits", got, r.Commits)
	}
	if c := r.Charges()[0]; c.Commit != s.head() || c.Subject != "at last" || c.Author != gittest.Author {
		t.Errorf("it came with %+v", c)
	}
}
