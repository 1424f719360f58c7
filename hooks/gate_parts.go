package hooks

import (
	"maps"
	"slices"
	"strings"

	"fettle/history"
	"fettle/history/git"
	"fettle/lint"
	"fettle/schema"
)

// partsFrom is how many sets must bear on a push for a gate to judge it some sets at a time: the first push of a library, one that changes
// the settings, or one that brings years.
const partsFrom = 64

// partsAtOnce is how many sections are held at a time.
const partsAtOnce = 4

// A push in parts is judged as [running.judgeRead] judges it, and what is found is the same, but no more than a few sets are held at a time.
type inParts struct {
	*running
	*library
	Survey
	anchor   string
	standing *history.Standing
	whole    Case                        // with libraries without sets
	touched  touched                     // beside sets
	all      bool                        // every condition is judged, since a file cannot be read whole
	large    []string                    // files that are too large to be read
	unread   bool                        // such a file was met
	asked    map[string]bool             // machines of which conditions are judged
	approved map[family][]*schema.Record // approvals that come, by what they are of
	accepts  func(string, lint.Severity, schema.ID, func() schema.Digest) bool
	out      *verdict
	parts    []lint.Part // without findings
}

// A remnant is what a verdict that was come to in parts says in place of libraries and changes, which were let go.
type remnant struct {
	contents map[*schema.File]string // of files that findings point into: the id of what was in them
	minor    map[[3]string]bool      // rule, condition and field of findings that stop nothing
	waiting  []string                // conditions that changed and that nobody approved, of a branch that is not protected
	may      []string                // who may approve every one of them
	approved map[string]bool         // those of them that have a recipe in force
	missing  bool                    // approvals of some are missing, beside what is said of them

	// Of a gate that only prints: reasons and approvals that are missing, by rank, as many as may be shown, and how many more there are.
	first  [ranks][]lint.Finding
	hidden [ranks]int
}

// snapshot is a tree as a survey looks at it.
type snapshot struct{ *tree }

func (snapshot) Name() string { return "what was pushed" }

func (t *tree) contents() contents {
	c := contents{paths: t.Files()}
	c.ids = make([]string, len(c.paths))
	for i, p := range c.paths {
		c.ids[i] = t.ids[p]
	}
	return c
}

// inParts comes to the verdict on a push some sets at a time. It is nil where few sets bear on it: then they are read at once.
func (r *running) inParts(l *library, anchor string) (*verdict, error) {
	if !r.pushed || len(l.parents) > 0 || l.prepare == nil {
		return nil, nil
	}
	sets := 0
	for p, id := range l.now.ids {
		if isSet(p) && (l.bearing == nil || l.bearing.bearsOn(l.bearing.of[id])) {
			sets++
		}
	}
	for p, id := range l.before.ids {
		if isSet(p) && l.now.ids[p] == "" && (l.bearing == nil || l.bearing.bearsOn(l.bearing.of[id])) {
			sets++
		}
	}
	if sets < r.partsFrom {
		return nil, nil
	}
	p := &inParts{running: r, library: l, anchor: anchor}
	if err := p.open(); err != nil {
		return nil, err
	}
	for {
		if err := p.run(); err != nil {
			return nil, err
		}
		if !p.unread || p.all {
			break
		}
		p.all = true // what cannot be read whole may hide a condition from the comparison
	}
	if l.bearing == nil || p.suffices() {
		return p.out, nil
	}
	l.bearing = nil
	return r.inParts(l, anchor)
}

// open reads records, settings, machines and rosters, and sorts the sets.
func (p *inParts) open() error {
	ledger, err := p.store.ledger(p.now)
	if err != nil {
		return err
	}
	before, err := p.store.ledger(p.before)
	if err != nil {
		return err
	}
	p.standing = ledger.Judge(p.id(), p.anchor)
	p.whole = Case{Anchor: p.anchor, At: p.running.At, standing: p.standing}
	p.whole.Before = Side{Ledger: before, Hashes: hashesOf(before, p.before), Source: p.before}
	p.whole.Now = Side{Ledger: ledger, Hashes: map[string]string{}, Source: p.now}
	for path, id := range p.now.ids {
		if schema.IsRecordPath(path) {
			p.whole.Now.Hashes[path] = id
		}
	}
	p.Survey = Survey{Forgetful: true, known: schema.NewKnown()}
	p.cache = readVerdicts(&p.Survey)
	of := p.bearing
	if of == nil {
		of = &narrowing{store: p.store, families: map[family]bool{}, of: map[string]family{}}
	}
	if err := of.learn(p.before, p.now); err != nil {
		return err
	}
	for side, t := range []*tree{p.before, p.now} {
		some, err := p.bearing.only(t)
		if err != nil {
			return err
		}
		p.ids[side] = some.contents()
		for path, id := range some.ids {
			if isSet(path) {
				p.cache.list(path, id, of.of[id])
			}
		}
		frame := withoutRecords(t)
		maps.DeleteFunc(frame.ids, func(path, _ string) bool { return isSet(path) })
		if err := p.store.fill(all, frame); err != nil {
			return err
		}
		if side == 1 {
			p.tooLarge(frame)
		}
		if p.frames[side], err = schema.ReadFrame(p.store.known.Of(frame)); err != nil {
			return err
		}
	}
	for path := range p.whole.Now.Hashes { // see store.ledger
		if data, read := p.store.content[p.now.ids[path]]; read && data == nil {
			p.large = append(p.large, path)
		}
	}
	clear(p.store.listed)
	p.inTerm = InForce(p.standing, p.frames[1])
	p.touched = touchedBeside(p.frames[0], p.frames[1])
	p.accepts = Acceptance(p.standing, ledger, p.running.At)
	p.whole.Before.Lib, p.whole.Now.Lib = p.frames[0], p.frames[1]
	p.whole.came = append([]*schema.Record{}, p.whole.added()...)
	p.approved = map[family][]*schema.Record{}
	for _, r := range p.whole.came {
		if _, ok := r.Body.(*schema.Decision); !ok || r.Kind != schema.KindApproval {
			continue
		}
		seen := map[family]bool{}
		for _, subject := range history.Subjects(r) {
			id, _ := schema.ParseID(subject.ID)
			if f := familyOf(id); !seen[f] {
				seen[f] = true
				p.approved[f] = append(p.approved[f], r)
			}
		}
	}
	return nil
}

// tooLarge notes files that were read and are too large for it.
func (p *inParts) tooLarge(t *tree) {
	for path, id := range t.ids {
		if data, read := t.store.content[id]; read && data == nil {
			p.large = append(p.large, path)
		}
	}
}

// run judges all sections, and then what is in none.
func (p *inParts) run() error {
	p.parts, p.unread, p.asked = nil, !readable(p.frames[0], p.frames[1]), map[string]bool{}
	p.out = &verdict{library: p.library, running: p.running, Case: p.whole, Report: Report{Standing: p.standing}}
	p.out.rest = &remnant{contents: map[*schema.File]string{}, minor: map[[3]string]bool{}, approved: map[string]bool{}}
	if p.standing.Roster != nil {
		p.out.rest.may = p.standing.Roster.Principals()
	}
	sections, err := p.sections()
	if err != nil {
		return err
	}
	elsewhere := maps.Clone(p.approved)
	for _, x := range sections {
		for f := range p.families(x) {
			delete(elsewhere, f)
		}
	}
	if len(elsewhere) > 0 { // approvals of conditions that are nowhere
		sections = append(sections, &section{})
	}
	for chunk := range slices.Chunk(sections, partsAtOnce) {
		if err := p.judge(chunk, elsewhere); err != nil {
			return err
		}
	}
	if len(p.large) > 0 {
		return git.TooLarge(p.full(slices.Min(p.large)))
	}
	return p.join()
}

// families are what the sets of a section are of.
func (p *inParts) families(x *section) map[family]bool {
	out := map[family]bool{}
	for i, path := range x.paths {
		for side := range x.ids {
			if id := x.ids[side][i]; id != "" {
				f, _ := p.cache.family(path, id)
				out[f] = true
			}
		}
	}
	return out
}

// judge judges some sections.
func (p *inParts) judge(chunk []*section, elsewhere map[family][]*schema.Record) error {
	store := newStore(p.repo)
	var trees [2]*tree
	for side := range trees {
		trees[side] = &tree{store, map[string]string{}}
		for _, x := range chunk {
			for i, path := range x.paths {
				if id := x.ids[side][i]; id != "" {
					trees[side].ids[path] = id
				}
			}
		}
	}
	if err := store.fill(all, trees[0], trees[1]); err != nil {
		return err
	}
	p.tooLarge(trees[1])
	survey := p.Survey
	survey.Before, survey.Now = snapshot{trees[0]}, snapshot{trees[1]}
	options, changes := make([]lint.Options, len(chunk)), make([][]lint.Change, len(chunk))
	libs := make([]*schema.Library, len(chunk)) // what is judged
	if err := schema.AtOnce(len(chunk), func(i int) (err error) {
		x := chunk[i]
		x.changed = true
		if x.libs, err = survey.libraries(x); err != nil {
			return err
		}
		x.compared = history.Differing(x.libs[0], x.libs[1])
		return nil
	}); err != nil {
		return err
	}
	for i, x := range chunk {
		p.unread = p.unread || !readable(x.libs[0], x.libs[1])
		c := p.whole
		c.Before.Lib, c.Now.Lib = x.libs[0], x.libs[1]
		families := p.families(x)
		if len(x.paths) == 0 {
			families = map[family]bool{}
			for f := range elsewhere {
				families[f] = true
			}
		}
		c.about = func(id schema.ID) bool { return families[familyOf(id)] }
		c.came = []*schema.Record{}
		for f := range families {
			for _, r := range p.approved[f] {
				if !slices.Contains(c.came, r) {
					c.came = append(c.came, r)
				}
			}
		}
		slices.SortFunc(c.came, func(a, b *schema.Record) int { return strings.Compare(a.Path, b.Path) })
		if err := p.prepare(&c, p.standing); err != nil {
			return err
		}
		for _, d := range x.compared {
			if !d.NoteOnly {
				change := c.change(d, p.standing)
				if change.Before == nil && len(change.Windows) == 0 {
					change.Fields = []lint.FieldChange{} // no rule looks at them
				}
				changes[i] = append(changes[i], change)
			}
		}
		lib, severity := c.heldTo(p.standing, x.libs[1])
		libs[i] = lib
		options[i] = lint.Options{Base: x.libs[0], InForce: p.inTerm, Severity: severity, Changes: slices.Concat(changes[i], c.ownApprovals(p.standing), c.untried(p.standing))}
		if !p.all {
			options[i].Only = p.touched.only(options[i].Changes, x.compared)
		}
	}
	_ = schema.AtOnce(len(chunk), func(i int) error {
		chunk[i].part = lint.RunPart(libs[i], options[i])
		return nil
	})
	for i, x := range chunk {
		p.keep(x, options[i].Only, changes[i])
		x.part.Findings, x.compared, x.libs = nil, nil, [2]*schema.Library{}
		p.parts = append(p.parts, x.part)
	}
	clear(p.store.pasts)
	return nil
}

// keep takes over what was found in a section, and nothing that holds on to what was read of it.
func (p *inParts) keep(x *section, only func(*schema.Recipe) bool, changes []lint.Change) {
	for _, r := range x.libs[1].Recipes {
		if only == nil || only(r) {
			p.asked[strings.Clone(r.ID.Machine)] = true
		}
	}
	report := Report{Differences: x.compared}
	for _, f := range x.part.Findings {
		report.Findings = append(report.Findings, f.Finding)
	}
	lost := report.lost()
	x.part.Findings = slices.DeleteFunc(x.part.Findings, func(f lint.PartFinding) bool {
		return lost.finding(f.Finding) || f.MayBeAccepted() && p.accepts(f.Rule, f.Severity, f.Recipe, func() schema.Digest { return f.Digest })
	})
	worst := map[string]int{} // see [onePerCondition]
	if p.brief {
		for i := range x.part.Findings {
			f := &x.part.Findings[i].Finding
			if w, known := worst[f.ID]; f.Severity == lint.Error && !f.Old && f.ID != "" && (!known || rank(f) < w) {
				worst[f.ID] = rank(f)
			}
		}
	}
	own := schema.Texts{}
	t := p.out.rest
	for _, f := range x.part.Findings {
		at := rank(&f.Finding)
		switch w, known := worst[f.ID]; {
		case f.Severity < lint.Error || f.Old:
			t.minor[[3]string{f.Rule, own.Own(f.ID), own.Own(f.Field)}] = true
			continue
		case known && at > w:
			t.missing = t.missing || at == 3
			continue
		}
		f.ID, f.Field, f.Message = own.Own(f.ID), own.Own(f.Field), own.Own(f.Message)
		f.File = p.without(x, f.File)
		if p.brief && f.ID != "" && at > 1 {
			t.first[at] = append(t.first[at], f.Finding)
		} else {
			p.out.Findings = append(p.out.Findings, f.Finding)
		}
	}
	for at, list := range t.first {
		if lint.Sort(list); len(list) > most {
			t.hidden[at] += len(list) - most
			clear(list[most:])
			t.first[at] = list[:most]
		}
	}
	for _, c := range changes {
		id := c.ID.String()
		if lost[id] {
			continue
		}
		if c.Approved != nil {
			t.approved[id] = true
		}
		if c.Status != string(history.Approved) {
			t.may = slices.DeleteFunc(t.may, func(n string) bool { return !slices.Contains(c.MayApprove, n) })
			if c.Status != "" && !p.protected {
				t.waiting = append(t.waiting, id)
			}
		}
	}
}

// without is a file of a section without its content, which is read again where it is shown.
func (p *inParts) without(x *section, f *schema.File) *schema.File {
	if f == nil {
		return nil
	}
	for side, lib := range x.libs {
		for _, file := range lib.Files {
			if file.Path != f.Path || !sameBytes(file.Data, f.Data) {
				continue
			}
			i := slices.Index(x.paths, f.Path)
			if x.emptied == nil {
				x.emptied = map[[2]string]*schema.File{}
			}
			at := [2]string{f.Path, x.ids[side][i]}
			if x.emptied[at] == nil {
				x.emptied[at] = &schema.File{Path: x.paths[i]}
				p.out.rest.contents[x.emptied[at]] = at[1]
			}
			return x.emptied[at]
		}
	}
	return f
}

// shown is a finding with the content of the file that it points into.
func (t *remnant) shown(repo *git.Repo, f lint.Finding) lint.Finding {
	if t == nil || t.contents[f.File] == "" {
		return f
	}
	if data, err := repo.PastBlob(t.contents[f.File]); err == nil {
		f.File = &schema.File{Path: f.File.Path, Data: data}
	}
	return f
}

// named are the names of the families before and now.
func (p *inParts) named() (stood, now []string) {
	for _, part := range p.parts {
		now, stood = append(now, part.Families...), append(stood, part.Stood...)
	}
	slices.Sort(now)
	slices.Sort(stood)
	return slices.Compact(stood), slices.Compact(now)
}

// suffices is [narrowing.suffices].
func (p *inParts) suffices() bool {
	stood, now := p.named()
	settings := p.frames[1].Settings.Value
	return (!p.unread || p.inTerm == nil) && (settings == nil || len(settings.Trend) == 0 || slices.Equal(stood, now))
}

// join adds what is in no section.
func (p *inParts) join() error {
	stood, now := p.named()
	c := p.whole
	c.Before.Lib, c.Now.Lib = p.frames[0].Named(stood), p.frames[1].Named(now)
	if err := p.prepare(&c, p.standing); err != nil {
		return err
	}
	lib, severity := c.heldTo(p.standing, c.Now.Lib)
	asked := map[string]bool{schema.SettingsFile: true}
	for name := range p.asked {
		if m, ok := p.frames[1].Machines[name]; ok {
			asked[m.File.Path] = true
		}
	}
	v := p.out
	for _, f := range lint.Join(lib, lint.Options{Base: c.Before.Lib, Records: c.records(), Severity: severity}, p.parts, nil).Findings {
		switch {
		case !p.all && !asked[f.Path] && !schema.IsRecordPath(f.Path):
		case f.Severity < lint.Error || f.Old:
			v.rest.minor[[3]string{f.Rule, f.ID, f.Field}] = true
		default:
			v.Findings = append(v.Findings, f)
		}
	}
	for at, list := range v.rest.first {
		v.Findings = append(v.Findings, list...)
		v.rest.first[at] = nil
	}
	lint.Sort(v.Findings)
	v.Case = c
	v.Report.add(c.broken())
	v.Report.add(c.untrusted(p.standing))
	v.Report.add(p.clashes)
	v.Findings = slices.DeleteFunc(v.Findings, func(f lint.Finding) bool { return f.Severity < lint.Error || f.Old })
	return nil
}
