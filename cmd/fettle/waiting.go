package main

import (
	"fmt"
	"path"
	"slices"
	"strings"
	"time"

	"fettle/cmd/fettle/view"
	"fettle/history"
	"fettle/history/git"
	"fettle/hooks"
	"fettle/schema"
)

// A sentBranch is one that waits for a decision, as it was fetched last.
type sentBranch struct {
	*line
	by         []string  // who saved what is not here, whoever began first
	at         time.Time // when that was done last
	conditions []sentCondition
	others     []string // other parts of the library that it changes: "machine bay-2", "settings"
	trouble    string   // why it cannot be read or brought in, or ""
	broken     bool     // it can be read, and must not come in as it is; then trouble says why
}

// A sentCondition is one that a branch changes, or makes stale by another profile of its machine.
type sentCondition struct {
	id     schema.ID
	status history.Status // there, by the decisions of here and there
}

// open reports whether anything of the branch waits for a decision still.
func (b *sentBranch) open() bool {
	return b.trouble != "" || len(b.others) > 0 || slices.ContainsFunc(b.conditions, func(c sentCondition) bool {
		return c.status != history.Approved && c.status != history.Rejected
	})
}

// mostSent is how many branches are looked into; there are hardly ever more than a handful, and each costs a look.
const mostSent = 20

// sentBranches are the branches that wait for a decision, here or fetched, and hold what the last commit here does not: the newest first.
// Left is how many more there are.
func (s *shop) sentBranches() (sent []sentBranch, left int, err error) {
	if _, err := s.saved(); err != nil {
		return nil, 0, err
	}
	branches, err := s.repo.Branches()
	if err != nil {
		return nil, 0, err
	}
	var names []string
	if branches = slices.DeleteFunc(branches, func(b git.Branch) bool { return !strings.HasPrefix(b.Name, waitingPrefix) }); len(branches) == 0 {
		return nil, 0, nil
	}
	open := func(string) bool { return true }
	if len(s.notHere()) > 0 { // else they are looked at one by one, and in time most of them are long here
		beyond, err := s.repo.Beyond("HEAD", "refs/heads/"+waitingPrefix, "refs/remotes/")
		if err != nil {
			return nil, 0, err
		}
		open = func(ref string) bool { return slices.Contains(beyond, ref) }
	}
	for _, b := range branches {
		if open(b.Ref) && !slices.Contains(names, b.Name) {
			names = append(names, b.Name)
		}
	}
	if len(names) == 0 {
		return nil, 0, nil
	}
	for _, name := range names {
		l, err := s.lineOf(branches, name, "")
		b := sentBranch{line: l}
		if l == nil { // in several repositories
			b.line = &line{name: name}
		}
		if err != nil {
			b.trouble = err.Error()
		} else if more, err := s.describe(&b); err != nil || !more {
			if err != nil {
				return nil, 0, err
			}
			continue
		}
		sent = append(sent, b)
	}
	slices.SortStableFunc(sent, func(a, b sentBranch) int { return b.at.Compare(a.at) })
	if len(sent) > mostSent {
		sent, left = sent[:mostSent], len(sent)-mostSent
	}
	for i := range sent {
		if sent[i].trouble == "" {
			if err := s.readSent(&sent[i]); err != nil {
				sent[i].trouble = err.Error()
			}
		}
	}
	return sent, left, nil
}

// describe says who saved on a branch, and when last. It is false where all of it is here already.
func (s *shop) describe(b *sentBranch) (bool, error) {
	log, err := s.repo.Log(git.LogOptions{Revs: append([]string{b.tip}, s.notHere()...), MaxCount: 100})
	if err != nil || len(log) == 0 {
		return false, err
	}
	b.at = log[0].Author.When
	for _, entry := range slices.Backward(log) {
		if !slices.Contains(b.by, entry.Author.Name) {
			b.by = append(b.by, entry.Author.Name)
		}
	}
	return true, nil
}

// notHere leaves out what is saved here, where anything is.
func (s *shop) notHere() []string {
	if _, _, unborn, _, err := s.repo.Head(); err != nil || unborn {
		return nil
	}
	return []string{"^HEAD"}
}

// readSent finds out what a branch changes since it parted from what is saved here, and how that stands by the decisions of both. Only
// the files that differ are read.
func (s *shop) readSent(b *sentBranch) error {
	base := ""
	if len(s.notHere()) > 0 {
		var err error
		if base, err = s.repo.MergeBase("HEAD", b.tip); err != nil {
			return err
		}
	}
	before := git.Empty()
	if base != "" {
		var err error
		if before, err = s.repo.Commit(base, s.sub); err != nil {
			return err
		}
	}
	now, err := s.repo.Commit(b.tip, s.sub)
	if err != nil {
		return err
	}
	touched := map[string]bool{schema.SettingsFile: true} // which every recipe with a mix of the shop's own needs
	decided, lost := false, 0
	var records []*schema.Record
	for _, c := range git.Compare(before, now) {
		switch {
		case !schema.IsRecordPath(c.Path):
			touched[c.Path] = true
		case c.OldHash != "":
			lost++
		case c.NewHash != "" && s.committed.snap.Hash(c.Path) == "":
			r, err := schema.ReadRecordFrom(now, c.Path)
			if err != nil {
				continue // a review of the branch says what is wrong with it
			}
			records = append(records, r)
			decided = decided || r.Kind == schema.KindApproval || r.Kind == schema.KindRejection || r.Kind == schema.KindWithdrawal || r.Kind == schema.KindAdoption
		}
	}
	for _, p := range now.Files() { // what a machine cuts may be stale by another profile of it
		if parts := strings.Split(p, "/"); parts[0] == "sets" && len(parts) > 2 && touched["machines/"+parts[1]+".json"] {
			touched[p] = true
		}
	}
	was, err := schema.ReadLibrary(only{before, touched})
	if err != nil {
		return err
	}
	is, err := schema.ReadLibrary(only{now, touched})
	if err != nil {
		return err
	}
	standing, err := s.standingWith(records, decided, was, is)
	if err != nil {
		return err
	}
	for _, d := range history.Compare(was, is) {
		if !d.NoteOnly {
			b.conditions = append(b.conditions, sentCondition{d.ID, standing.Position(is, d.ID).Status})
		}
	}
	for _, r := range is.Recipes {
		listed := slices.ContainsFunc(b.conditions, func(c sentCondition) bool { return c.id == r.ID })
		if !listed && standing.Position(is, r.ID).Status == history.Stale && standing.Position(was, r.ID).Status != history.Stale {
			b.conditions = append(b.conditions, sentCondition{r.ID, history.Stale})
		}
	}
	for p := range touched {
		switch name := strings.TrimSuffix(path.Base(p), ".json"); {
		case before.Hash(p) == now.Hash(p):
		case p == schema.SettingsFile:
			b.others = append(b.others, schema.SubjectSettings)
		case p == schema.RosterFile:
			b.others = append(b.others, schema.SubjectRoster)
		case p == schema.PeopleFile:
			b.others = append(b.others, schema.SubjectPeople)
		case strings.HasPrefix(p, "machines/"):
			b.others = append(b.others, schema.SubjectMachine+" "+name)
		}
	}
	waits := standing.Others(is)
	b.others = slices.DeleteFunc(b.others, func(other string) bool { // decided there
		return !slices.ContainsFunc(waits, func(p history.Position) bool { return strings.TrimSuffix(p.Kind+" "+p.Name, " "+p.Kind) == other })
	})
	slices.Sort(b.others)
	unread := func(f *schema.File) bool { return len(f.Problems) > 0 && before.Hash(f.Path) != now.Hash(f.Path) }
	switch i := slices.IndexFunc(is.Files, unread); {
	case lost > 0:
		b.broken, b.trouble = true, counted(lost, "record")+" that stood before, gone or altered in it: it must not come in like this"
	case i >= 0:
		b.broken, b.trouble = true, is.Files[i].Path+": "+is.Files[i].Problems[0].Message
	}
	return nil
}

// standingWith is where the conditions of libraries stand by what is decided here, and, where a branch decided something, by its records.
func (s *shop) standingWith(records []*schema.Record, decided bool, libs ...*schema.Library) (*history.Standing, error) {
	standing := s.standing(&s.committed)
	if !decided && s.part == nil {
		return standing, nil
	}
	if !decided {
		records = nil
	}
	var sets [][3]string
	for _, lib := range libs {
		for _, r := range lib.Recipes {
			if set := setOf(r.ID); len(sets) == 0 || !slices.Contains(sets, set) {
				sets = append(sets, set)
			}
		}
	}
	ledger, err := s.recordsOf(&s.committed, sets)
	if err != nil {
		return nil, err
	}
	id, err := libraryID(s.committed.lib)
	if err != nil && decided {
		return nil, err
	}
	anchor, err := s.anchor()
	if err != nil {
		return nil, err
	}
	if anchor == "" && decided && standing.Anchor != nil {
		anchor = string(standing.Anchor.Digest)
	}
	return ledger.With(records).Judge(id, anchor), nil
}

// only is a snapshot that holds some of its files.
type only struct {
	git.Snapshot
	files map[string]bool
}

func (o only) Files() []string {
	return slices.DeleteFunc(o.Snapshot.Files(), func(p string) bool { return !o.files[p] })
}

// says tells in a few words what a branch holds and how far it is decided.
func (b *sentBranch) says() string {
	if b.trouble != "" {
		return clean(b.trouble)
	}
	const most = 4
	parts := slices.Clone(b.others)
	for i, c := range b.conditions {
		if i == most {
			parts = append(parts, fmt.Sprintf("and %d more", len(b.conditions)-most))
			break
		}
		parts = append(parts, fmt.Sprintf("%s %s", c.id, c.status))
	}
	if len(parts) == 0 {
		return "no condition changes by it"
	}
	return strings.Join(parts, ", ")
}

// next is the command that goes on with a branch.
func (b *sentBranch) next() string {
	name := hooks.Quote(clean(b.name))
	switch {
	case b.broken:
		return "fettle review --branch " + name + " tells more"
	case b.trouble != "" || b.open():
		return "fettle review --branch " + name + ", then fettle approve --branch " + name
	case slices.ContainsFunc(b.conditions, func(c sentCondition) bool { return c.status == history.Rejected }):
		return "fettle review --branch " + name + " says why it was turned down"
	}
	word := "approved"
	if len(b.conditions) == 0 {
		word = "nothing is left to decide"
	}
	return word + "; git merge " + hooks.Quote(clean(b.ref())) + " brings it in"
}

// ref is the branch as git finds it from here.
func (l *line) ref() string {
	if l.local == l.tip || l.remote == "" {
		return l.name
	}
	return l.remote + "/" + l.name
}

// sentRows are the rows of a review about branches that were sent.
func (s *shop) sentRows() (rows []view.Row) {
	sent, left, err := s.sentBranches()
	if err != nil {
		return []view.Row{{Label: "sent", Text: "what was sent to branches cannot be read: " + err.Error()}}
	}
	return rowsOfSent(sent, left)
}

func rowsOfSent(sent []sentBranch, left int) (rows []view.Row) {
	for _, b := range sent {
		rows = append(rows, view.Row{Label: "sent", Text: b.headline() + ": " + b.says()}, view.Row{Label: view.Same, Text: b.next()})
	}
	if left > 0 {
		rows = append(rows, view.Row{Label: view.Same, Text: fmt.Sprintf("and %d older ones", left)})
	}
	return rows
}

// headline names a branch, who saved on it, and when last.
func (b *sentBranch) headline() string {
	text := clean(b.name)
	if len(b.by) > 0 {
		text += fmt.Sprintf(" (%s, %s)", clean(strings.Join(b.by, " and ")), b.at.Local().Format("2 January 15:04"))
	}
	return text
}

// sentJSON are the branches that were sent, for programs.
func (s *shop) sentJSON() ([]jsonSent, error) {
	sent, _, err := s.sentBranches()
	return jsonOfSent(sent), err
}

func jsonOfSent(sent []sentBranch) []jsonSent {
	out := []jsonSent{}
	for _, b := range sent {
		j := jsonSent{Branch: b.name, Commit: b.tip, Remote: b.remote, By: append([]string{}, b.by...), Others: append([]string{}, b.others...), Conditions: []jsonSentCondition{}, Open: b.open(), Trouble: b.trouble}
		if !b.at.IsZero() {
			j.At = b.at.UTC().Format(time.RFC3339)
		}
		for _, c := range b.conditions {
			j.Conditions = append(j.Conditions, jsonSentCondition{c.id.String(), c.status})
		}
		out = append(out, j)
	}
	return out
}

type (
	jsonSent struct {
		Branch     string              `json:"branch"`
		Commit     string              `json:"commit"`
		Remote     string              `json:"remote"`
		By         []string            `json:"by"`
		At         string              `json:"at"`
		Conditions []jsonSentCondition `json:"conditions"`
		Others     []string            `json:"others"`
		Open       bool                `json:"open"`
		Trouble    string              `json:"trouble"`
	}
	jsonSentCondition struct {
		ID     string         `json:"id"`
		Status history.Status `json:"status"`
	}
)

// sentAs is the other repository and the branch there to which all that is saved here was sent, with a blank between them; "" where to none.
func (s *shop) sentAs() string {
	refs, err := s.repo.Containing("HEAD", "refs/remotes/")
	if err != nil || len(refs) == 0 {
		return ""
	}
	branches, err := s.repo.Branches()
	if err != nil {
		return ""
	}
	for _, b := range branches {
		if b.Remote != "" && strings.HasPrefix(b.Name, waitingPrefix) && slices.Contains(refs, b.Ref) {
			return b.Remote + " " + b.Name
		}
	}
	return ""
}
