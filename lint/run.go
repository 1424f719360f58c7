package lint

import (
	"cmp"
	"slices"
	"strings"

	"fettle/schema"
	"fettle/schema/quantity"
)

// Options say what to judge and against what.
type Options struct {
	// Only restricts the result to these conditions, their sets, their machines and the settings. Families are still judged as a
	// whole. Nil is all.
	Only func(*schema.Recipe) bool

	// Base is the snapshot before the change. What stood there in a condition that is the same now is marked old. It is judged by
	// the severities and limits of the new settings, so that a stricter rule does not stop whoever sets it.
	Base *schema.Library

	// InForce holds settings and machines as they were last approved, where those of the library differ: both are judged, and the
	// stricter counts, until the change is approved. Conditions in it are not looked at. Nil where nothing waits.
	InForce *schema.Library

	// Changes and Records are what the history knows.
	Changes []Change
	Records []RecordChange

	// Severity replaces the severity of rules, after the settings: a gate that must not let an unapproved condition pass makes
	// that an error.
	Severity map[string]Severity

	// Accepted says of a finding on a condition that somebody took responsibility for it (a waiver, a warning known at
	// adoption). Rules about changes and files are never asked.
	Accepted func(rule string, severity Severity, r *schema.Recipe) bool

	// Same says that Base is what is judged, with the very settings and machines: then all that is found stood before.
	Same bool
}

// Run judges a library. It never fails: what cannot be judged is a finding too.
func Run(lib *schema.Library, opts Options) Result {
	s := newRun(lib, lib.Settings.Value, opts)
	s.same = sameFiles(lib, opts)
	s.all()
	if opts.InForce != nil {
		s.alsoInForce()
	}
	s.sleeping()
	s.selected()
	switch {
	case opts.Base == nil:
	case opts.Same && opts.InForce == nil:
		for _, f := range s.found {
			f.Old = true
		}
	default:
		s.markOld()
	}
	result := Result{Files: len(lib.Files), Conditions: s.conditions, Sleeping: s.asleep, Accepted: s.accepted}
	for _, f := range s.found {
		result.Findings = append(result.Findings, *f)
	}
	sortFindings(result.Findings)
	return result
}

// sameFiles names the files that need not be looked at as files where not everything is asked for: those that are not asked for, and those
// that were read once for both snapshots and have the same problems in both, since they can hold nothing new. Looking at all of them is
// what a hook would wait for.
func sameFiles(lib *schema.Library, opts Options) map[string]bool {
	if opts.Only == nil {
		return nil
	}
	asked := askedFiles(lib, opts.Only)
	before := map[string]*schema.File{}
	if opts.Base != nil {
		for _, file := range opts.Base.Files {
			before[file.Path] = file
		}
	}
	same := make(map[string]bool, len(lib.Files))
	for _, file := range lib.Files {
		was := before[file.Path]
		same[file.Path] = !asked[file.Path] || was != nil && was.Value != nil && was.Value == file.Value && slices.Equal(was.Problems, file.Problems)
	}
	return same
}

// askedFiles are the files of some conditions, of their machines, and the settings.
func askedFiles(lib *schema.Library, only func(*schema.Recipe) bool) map[string]bool {
	files := map[string]bool{schema.SettingsFile: true}
	for _, r := range lib.Recipes {
		if only(r) {
			files[r.File.Path] = true
			if m, ok := lib.Machines[r.ID.Machine]; ok {
				files[m.File.Path] = true
			}
		}
	}
	return files
}

// A run is one judgement of one snapshot.
type run struct {
	lib        *schema.Library
	opts       Options
	prefs      quantity.Prefs
	severities []Severity // of the rules as they stand in the registry
	limits     []limit
	families   [][]*schema.Recipe
	same       map[string]bool                // files not to look at as files
	condition  blocked                        // that was asked for last
	views      map[*schema.Recipe]*familyView // by the first of the family
	found      []*Finding
	asleep     []Sleep
	conditions int
	accepted   int
}

// newRun prepares a run. The rule settings are given apart: a base is judged by those of the library that is compared with it.
func newRun(lib *schema.Library, settings *schema.Settings, opts Options) *run {
	s := &run{lib: lib, opts: opts, prefs: lib.Prefs(), severities: make([]Severity, len(registry)), limits: slices.Clone(ownLimits()),
		families: lib.Families()}
	for i := range registry {
		r := &registry[i]
		s.severities[i] = r.Severity
		if settings == nil {
			continue
		}
		own, ok := settings.Rules.Get(r.Name)
		if !ok {
			continue
		}
		if severity, ok := SeverityNamed(own.Severity.V); ok && own.Severity.Set() {
			s.severities[i] = severity
		}
		if own.Limit.Set() {
			if l, err := r.readLimit(own.Limit.V); err == nil { // else a finding in the settings, and the default holds
				s.limits[i] = l
			}
		}
	}
	for name, severity := range opts.Severity {
		if at := place(name); at >= 0 {
			s.severities[at] = severity
		}
	}
	for _, r := range lib.Recipes {
		if opts.Only == nil || opts.Only(r) {
			s.conditions++
		}
	}
	return s
}

// familyOf is the family that a recipe of the library is in; nil for one of another library.
func (s *run) familyOf(r *schema.Recipe) []*schema.Recipe {
	at, ok := slices.BinarySearchFunc(s.families, r.ID, func(family []*schema.Recipe, id schema.ID) int {
		id.Thickness = family[0].ID.Thickness
		return family[0].ID.Compare(id)
	})
	if !ok || !slices.Contains(s.families[at], r) {
		return nil
	}
	return s.families[at]
}

func (s *run) severity(r *Rule) Severity { return s.severities[r.at] }

func (s *run) limit(r *Rule) limit { return s.limits[r.at] }

// severityNamed is that of the rule with this name, Off where there is none.
func (s *run) severityNamed(name string) Severity {
	if at := place(name); at >= 0 {
		return s.severities[at]
	}
	return Off
}

// all runs every rule over everything it is for.
func (s *run) all() {
	s.scopes(PerFile | PerSettings | PerMachine | PerSet | PerRecipe | PerFamily | PerChange | PerRecord)
}

func (s *run) scopes(which Scope) {
	p := Pass{Library: s.lib, Base: s.opts.Base, state: s}
	for _, file := range s.lib.Files {
		if s.same[file.Path] {
			continue
		}
		q := p
		q.File = file
		s.check(PerFile&which, &q)
	}
	if file := s.lib.Settings.File; file != nil {
		q := p
		q.File, q.Settings = file, s.lib.Settings.Value
		s.check(PerSettings&which, &q)
	}
	names := make([]string, 0, len(s.lib.Machines))
	for name := range s.lib.Machines {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		q := p
		q.File, q.Machine = s.lib.Machines[name].File, s.lib.Machines[name].Value
		s.check(PerMachine&which, &q)
	}
	for _, set := range s.lib.Sets {
		q := s.inSet(set.File, set.Value)
		s.check(PerSet&which, &q)
	}
	for _, family := range s.families {
		var q Pass
		for i, r := range family {
			if i == 0 || r.Set != q.Set {
				q = s.inSet(r.File, r.Set)
				q.Family = family
			}
			if i == 0 && (s.opts.Only == nil || slices.ContainsFunc(family, s.opts.Only)) {
				s.check(PerFamily&which, &q)
			}
			if s.opts.Only == nil || s.opts.Only(r) {
				q.Recipe = r
				s.check(PerRecipe&which, &q)
			}
		}
	}
	for i := range s.opts.Changes {
		s.change(s.opts.Changes[i], which)
	}
	for i := range s.opts.Records {
		q := p
		q.Record = &s.opts.Records[i]
		s.check(PerRecord&which, &q)
	}
}

func (s *run) inSet(file *schema.File, set *schema.ConditionSet) Pass {
	material, _ := s.lib.BaseMaterial(set.Material.V)
	return Pass{Library: s.lib, Base: s.opts.Base, state: s, File: file, Set: set, Machine: s.lib.Machine(set.Machine.V), Material: material, Gas: set.Gas.V}
}

// change judges one change where the condition stands now, or stood where it is gone.
func (s *run) change(c Change, which Scope) {
	if c.Fields == nil {
		c.Fields = Differences(c.Before, c.After)
	}
	p := Pass{Library: s.lib, Base: s.opts.Base, state: s}
	r := s.lib.Recipe(c.ID)
	if r == nil && s.opts.Base != nil {
		r = s.opts.Base.Recipe(c.ID)
	}
	if r != nil {
		p = s.inSet(r.File, r.Set)
		p.Recipe, p.Family = r, s.familyOf(r)
	}
	p.Change = &c
	s.check(PerChange&which, &p)
}

// check calls every rule of a scope that is not off.
func (s *run) check(scope Scope, p *Pass) {
	if scope == 0 {
		return
	}
	for i := range registry {
		r := &registry[i]
		if r.Scope&scope == 0 || r.Check == nil || s.severities[i] == Off {
			continue
		}
		p.rule = r
		r.Check(p)
	}
}

// selected drops what was not asked for, what somebody accepted, and what a rule that is off said through another.
func (s *run) selected() {
	if len(s.found) == 0 {
		return
	}
	var files map[string]bool
	if s.opts.Only != nil {
		files = askedFiles(s.lib, s.opts.Only)
	}
	failing, impossible := map[[2]string]bool{}, map[[2]string]bool{} // a missing reason fails and is not impossible
	for _, f := range s.found {
		if f.Severity == Error && f.ID != "" {
			failing[[2]string{f.ID, f.Field}] = true
			if rule, _, _ := RuleNamed(f.Rule); rule.Family != "change" {
				impossible[[2]string{f.ID, f.Field}] = true
			}
		}
	}
	numbers := impossibleNumbers(s.found)
	s.found = slices.DeleteFunc(s.found, func(f *Finding) bool {
		switch {
		case numbers[f.ID] != nil && f.isPhysics() && follows(f, numbers[f.ID]):
			return true
		case f.Severity == Off:
			return true
		case f.Rule == "large-step" && failing[[2]string{f.ID, f.Field}], f.isTrend() && impossible[[2]string{f.ID, f.Field}]: // one message is enough
			return true
		case f.isTrend() && (slices.Contains(numbers[f.ID], f.Field) || slices.Contains(numbers[f.ID], "thickness")):
			return true
		case s.opts.Only != nil && f.recipe != nil && !s.opts.Only(f.recipe):
			return true
		case s.opts.Only != nil && f.recipe == nil && !files[f.Path] && !schema.IsRecordPath(f.Path):
			return true
		case f.recipe == nil || s.opts.Accepted == nil:
			return false
		}
		rule, _, _ := RuleNamed(f.Rule)
		if rule.Family == "change" || rule.Family == "file" || !s.opts.Accepted(f.Rule, f.Severity, f.recipe) {
			return false
		}
		s.accepted++
		return true
	})
}

// markOld compares with what the base had to say.
func (s *run) markOld() {
	before := s.base(slices.ContainsFunc(s.found, func(f *Finding) bool { return f.Rule == "sleeping" }))
	before.all()
	before.sleeping()
	s.markFrom(before)
}

// base prepares a run of what stood before. A rule that says nothing now needs nothing to compare with, unless it may have slept.
func (s *run) base(asleep bool) *run {
	opts := s.opts
	opts.Base, opts.InForce, opts.Changes, opts.Records, opts.Accepted = nil, nil, nil, nil, nil
	before := newRun(s.opts.Base, s.lib.Settings.Value, opts)
	said := map[string]bool{}
	for _, f := range s.found {
		said[f.Rule] = true
	}
	for i := range before.severities {
		if !said[registry[i].Name] && !asleep {
			before.severities[i] = Off
		}
	}
	return before
}

// markFrom marks what another run found, too.
func (s *run) markFrom(before *run) {
	stood := make(map[string]*Finding, len(before.found))
	for _, f := range before.found {
		stood[f.mark] = f
	}
	for _, f := range s.found {
		was := stood[f.mark]
		if was == nil {
			continue
		}
		switch {
		case f.Rule == schema.RuleSyntax: // the message is the same wherever the slip is: only an untouched file has the old one
			f.Old = f.File != nil && was.File != nil && string(f.File.Data) == string(was.File.Data)
		case f.recipe == nil:
			f.Old = true
		default:
			f.Old = was.recipe != nil && was.recipe.Digest() == f.recipe.Digest()
		}
	}
}

// alsoInForce judges the conditions by the settings and machines that were last approved as well, and keeps what is stricter.
func (s *run) alsoInForce() {
	lib := *s.lib
	settings := s.lib.Settings.Value
	if s.opts.InForce.Settings.Value != nil {
		lib.Settings, settings = s.opts.InForce.Settings, s.opts.InForce.Settings.Value
	}
	lib.Machines = make(map[string]schema.Placed[schema.Machine], len(s.lib.Machines))
	for name, m := range s.lib.Machines {
		lib.Machines[name] = m
		if approved, ok := s.opts.InForce.Machines[name]; ok {
			lib.Machines[name] = approved
		}
	}
	opts := s.opts
	opts.Changes, opts.Records = nil, nil
	strict := newRun(&lib, settings, opts)
	strict.prefs = s.prefs
	for i := range registry { // names that are new in the settings are no loosening of a limit
		if registry[i].Family == "file" {
			strict.severities[i] = Off
		}
	}
	strict.scopes(PerSet | PerRecipe | PerFamily)
	type spot struct{ rule, path, id, field string }
	here := map[spot]*Finding{}
	for _, f := range s.found {
		here[spot{f.Rule, f.Path, f.ID, f.Field}] = f
	}
	for _, f := range strict.found {
		now := here[spot{f.Rule, f.Path, f.ID, f.Field}]
		if now != nil {
			now.Severity = max(now.Severity, f.Severity)
			continue
		}
		f.Help = strings.TrimSpace(f.Help + " By the profile and settings that were last approved; their change waits for approval.")
		s.found = append(s.found, f)
	}
}

func (s *run) sleeps(machine, member, rule string) {
	for i := range s.asleep {
		if a := &s.asleep[i]; a.Machine == machine && a.Member == member {
			if !slices.Contains(a.Rules, rule) {
				a.Rules = append(a.Rules, rule)
			}
			return
		}
	}
	s.asleep = append(s.asleep, Sleep{Machine: machine, Member: member, Rules: []string{rule}})
}

// sleeping turns what was missing into one note for each machine.
func (s *run) sleeping() {
	rule, _, _ := RuleNamed("sleeping")
	s.asleep = mergedSleeps(s.asleep)
	for i := 0; i < len(s.asleep); {
		machine := s.asleep[i].Machine
		var waits []string
		count := map[string]bool{}
		for ; i < len(s.asleep) && s.asleep[i].Machine == machine; i++ {
			waits = append(waits, s.asleep[i].Member+" would wake "+strings.Join(s.asleep[i].Rules, " and "))
			for _, r := range s.asleep[i].Rules {
				count[r] = true
			}
		}
		m := s.lib.Machines[machine]
		if s.severity(&rule) == Off || m.Value == nil {
			continue
		}
		p := Pass{Library: s.lib, File: m.File, Machine: m.Value, rule: &rule, state: s}
		checks := "checks sleep"
		if len(count) == 1 {
			checks = "check sleeps"
		}
		p.Report(At("name", m.Value.Name), "%d %s for want of data: %s", len(count), checks, strings.Join(waits, "; ")).
			Help = "Fill in what is known of the machine. Approvals stay in force when a blank is filled."
	}
}

// mergedSleeps orders sleeping checks by machine, member and the rule book, each told once.
func mergedSleeps(list []Sleep) []Sleep {
	slices.SortStableFunc(list, func(a, b Sleep) int {
		return cmp.Or(strings.Compare(a.Machine, b.Machine), strings.Compare(a.Member, b.Member))
	})
	var out []Sleep
	for _, a := range list {
		n := len(out)
		if n == 0 || out[n-1].Machine != a.Machine || out[n-1].Member != a.Member {
			out = append(out, Sleep{Machine: a.Machine, Member: a.Member})
			n++
		}
		for _, rule := range a.Rules {
			if !slices.Contains(out[n-1].Rules, rule) {
				out[n-1].Rules = append(out[n-1].Rules, rule)
			}
		}
	}
	for i := range out {
		slices.SortFunc(out[i].Rules, func(a, b string) int { return place(a) - place(b) })
	}
	return out
}
