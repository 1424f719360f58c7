package main

import (
	"bufio"
	"io"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"fettle/history"
	"fettle/history/audit"
	"fettle/hooks"
	"fettle/schema"
)

// auditFlags choose what of the timeline is shown.
type auditFlags struct {
	since, until, field, by, rev, escape, asOf string
	unapproved                                 bool
}

func init() {
	alone["audit"] = func(a *app) *cobra.Command {
		var f auditFlags
		cmd := &cobra.Command{Use: "audit [ID or MACHINE...]", Annotations: map[string]string{"formats": "own"}, Short: "who changed what, when, why, on whose approval",
			Long: "Shows every saved change of a condition, field by field, with its reason and approval, and every record: decisions, trials, loads and what\n" +
				"got out. Files that were moved, renamed or laid out anew show nothing. The newest comes last.",
			Example: "  fettle audit bay-2/carbon-steel/oxygen/10mm\n  fettle audit --since 2026-07-01 --field pressure --unapproved\n" +
				"  fettle audit bay-2/carbon-steel/oxygen/10mm --as-of '2026-07-14 06:00'\n  fettle audit --escape 3f9a0c1b",
			ValidArgsFunction: a.complete(inSaved),
			RunE:              func(cmd *cobra.Command, args []string) error { return a.audit(args, f) }}
		fl := cmd.Flags()
		fl.StringVar(&f.since, "since", "", "from this day or time on: 2026-07-01, 2026-07-01T14:30, RFC 3339")
		fl.StringVar(&f.until, "until", "", "up to this time, or the end of this day")
		fl.StringVar(&f.field, "field", "", "only changes of this field: pressure, cut.speed, pierce1.time, nozzle")
		fl.StringVar(&f.by, "by", "", "only what this person did: a name or address, or part of one")
		fl.BoolVar(&f.unapproved, "unapproved", false, "only changes whose recipe nobody ever approved")
		fl.StringVar(&f.asOf, "as-of", "", "what was in force at a time: in git, approved, and on each machine")
		fl.StringVar(&f.escape, "escape", "", "what changed before bad parts got out: the digest of an escape record, see fettle escape")
		fl.StringVar(&f.rev, "rev", "", "the history of another branch or commit")
		return cmd
	}
}

func (a *app) audit(typed []string, f auditFlags) error {
	if err := a.oneOf(append(slices.Clone(pageFormats), "csv")...); err != nil {
		return err
	}
	s, err := a.open()
	if err != nil {
		return err
	}
	if f.escape != "" {
		if a.format == "csv" {
			return a.oneOf(pageFormats...)
		}
		if len(typed) > 0 || f.since+f.until+f.field+f.asOf != "" || f.unapproved {
			return troublef("fettle audit --escape "+f.escape, "--escape goes alone: the record says machine, conditions and times")
		}
		return s.auditEscape(f.escape, f.rev)
	}
	if f.asOf != "" {
		if f.since+f.until+f.field+f.by != "" || f.unapproved {
			return troublef("fettle audit ID --as-of "+f.asOf, "--as-of tells of one moment; it goes with ids and --rev only")
		}
		return s.auditAsOf(typed, f)
	}
	filter := audit.Filter{Field: f.field, By: f.by, Unapproved: f.unapproved}
	if filter.Since, err = moment("--since", f.since, false); err != nil {
		return err
	}
	if filter.Until, err = moment("--until", f.until, true); err != nil {
		return err
	}
	if !filter.Since.IsZero() && !filter.Until.IsZero() && filter.Until.Before(filter.Since) {
		return troublef("The earlier one goes with --since.", "from %s until %s is no time at all", clockText(filter.Since), clockText(filter.Until))
	}
	told := s.toldBefore(typed, f)
	if told.recall() {
		return told.again()
	}
	var trail *audit.Trail
	if ids := wholeIDs(typed); len(ids) > 0 && f.field == "" {
		never := ""
		if trail, never, err = s.trailOf(ids, f.rev); err != nil {
			return err
		}
		if trail != nil {
			filter.IDs = ids
		} else if f.rev == "" {
			if err := a.offerOther(never); err != nil {
				return err
			}
		}
	}
	if trail == nil {
		if trail, err = s.toldTrail(f.rev, nil); err != nil {
			return err
		}
	}
	if err := changedEver(trail, f.field); err != nil {
		return err
	}
	if len(typed) > 0 && filter.IDs == nil {
		if filter.IDs, filter.Machines, err = s.resolveAudited(typed, trail); err != nil {
			return err
		}
	}
	if a.format == "markdown" || a.format == "html" || a.format == "text" && a.quiet {
		page := s.timeline(trail, filter)
		if err := trail.Err(); err != nil {
			return err
		}
		return s.writePage(page)
	}
	return told.fresh(trail, filter)
}

// changedEver refuses the name of a field that stands nowhere in the history: a slip of the hand must not look like a field that never
// changed.
func changedEver(trail *audit.Trail, typed string) error {
	if typed == "" {
		return nil
	}
	seen := map[string]bool{}
	var names []string
	for e := range trail.Each(audit.Filter{}) {
		if e.Field == "" || seen[e.Field] {
			continue
		}
		if seen[e.Field] = true; audit.MatchField(e.Field, typed) {
			return nil
		}
		spoken := schema.SpokenPath(e.Field)
		part, _, _ := strings.Cut(spoken, ".")
		names = append(names, spoken, part, spoken[strings.LastIndexByte(spoken, '.')+1:])
	}
	help := "Such as --field pressure, cut.speed, pierce1.time, nozzle"
	if near := schema.Nearest(typed, unique(names)); near != "" {
		help = "Did you mean " + near + "?"
	}
	return troublef(help, "nothing that was saved here has a field %q", typed)
}

// moment reads a date of the command line, in the zone of this computer.
func moment(flag, typed string, end bool) (time.Time, error) {
	if typed == "" {
		return time.Time{}, nil
	}
	t, err := audit.ParseTime(typed, time.Local, end)
	if err != nil {
		return t, troublef("", "%s: %w", flag, err)
	}
	return t, nil
}

// trail reads the history of the library up to a revision, "" for what is saved here.
func (s *shop) trail(rev string) (*audit.Trail, error) {
	anchor, err := s.anchor()
	if err != nil {
		return nil, err
	}
	if rev == "" {
		rev = "HEAD"
	}
	head, err := s.repo.Resolve(rev)
	if err != nil {
		return audit.Read(s.repo, s.sub, audit.Options{Rev: rev, Anchor: anchor})
	}
	if s.walked == nil || s.walked.Head != head {
		if s.walked, err = audit.Read(s.repo, s.sub, audit.Options{Rev: rev, Anchor: anchor}); err != nil {
			s.walked = nil
			return nil, err
		}
	}
	return s.walked, nil
}

// wholeIDs are the ids that were typed, where all of them are whole.
func wholeIDs(typed []string) []schema.ID {
	var ids []schema.ID
	for _, text := range typed {
		id, err := schema.ParseID(text)
		if err != nil {
			return nil
		}
		if !slices.Contains(ids, id) {
			ids = append(ids, id)
		}
	}
	return ids
}

// trailOf reads the history of a few conditions, without that of all others. It is nil where one of them was never there, which is named.
func (s *shop) trailOf(ids []schema.ID, rev string) (trail *audit.Trail, never string, err error) {
	if trail, err = s.toldTrail(rev, ids); err != nil {
		return nil, "", err
	}
	for _, id := range ids {
		if !trail.Any(audit.Filter{IDs: []schema.ID{id}}) {
			return nil, id.String(), nil
		}
	}
	return trail, "", nil
}

// offerOther refuses a name that was never there and says which of those that are saved, or gone and still in force, may be meant. It is nil
// where one of these fits, or they are not to be had without the whole history.
func (a *app) offerOther(name string) error {
	s, err := a.open()
	if err != nil {
		return nil
	}
	defer s.repo.Close()
	if !s.apart() {
		return nil
	}
	const there = inSaved | onceInUse
	if s.names, err = s.namesOf(there, func([3]string) bool { return true }); err != nil {
		return nil
	}
	_, err = s.resolve([]string{name}, s.ids(there))
	return err
}

// toldTrail reads the history for a timeline, with what earlier ones kept of that of the last commit. Nil ids are all.
func (s *shop) toldTrail(rev string, ids []schema.ID) (*audit.Trail, error) {
	return s.toldOnce(rev, ids, false)
}

// toldOnce is toldTrail that, in passing, keeps nothing of it for others.
func (s *shop) toldOnce(rev string, ids []schema.ID, passing bool) (*audit.Trail, error) {
	anchor, err := s.anchor()
	if err != nil {
		return nil, err
	}
	o := audit.Options{Rev: rev, Anchor: anchor, IDs: ids, Kept: rev == "", Passing: passing}
	if ids != nil && rev == "" {
		var lookup *hooks.Lookup
		o.Records = func(keys []history.SubjectKey) (_ *history.Ledger, err error) {
			if lookup == nil {
				if lookup, err = hooks.OpenRecords(s.repo.AsWritten(), s.sub); err != nil {
					return nil, err
				}
			}
			return lookup.Ledger(keys, nil)
		}
		defer func() {
			if lookup != nil {
				lookup.Close()
			}
		}()
	}
	return audit.Read(s.repo, s.sub, o)
}

// anchor is the adoption that this clone pins, "" for none.
func (s *shop) anchor() (string, error) {
	anchor, _, err := s.repo.Config("fettle.anchor")
	return anchor, err
}

// resolveAudited turns what people type into conditions and machines: the name of a machine, with or without a slash, is the machine with
// all its conditions.
func (s *shop) resolveAudited(typed []string, trail *audit.Trail) (ids []schema.ID, machines []string, err error) {
	known := everNamed(trail)
	var rest []string
	for _, text := range typed {
		name := strings.TrimSuffix(text, "/")
		machine := trail.Library.Machine(name) != nil || trail.Any(audit.Filter{Machines: []string{name}})
		if !machine {
			rest = append(rest, text)
			continue
		}
		machines = append(machines, name)
		for _, id := range known {
			if id.Machine == name && !slices.Contains(ids, id) {
				ids = append(ids, id)
			}
		}
	}
	if len(rest) > 0 {
		more, err := s.resolve(rest, known)
		if err != nil {
			return nil, nil, err
		}
		for _, id := range more {
			if !slices.Contains(ids, id) {
				ids = append(ids, id)
			}
		}
	}
	return ids, machines, nil
}

// everNamed returns every condition that the timeline knows, those that are gone too, each once and sorted.
func everNamed(trail *audit.Trail) []schema.ID {
	seen := map[string]bool{}
	var ids []schema.ID
	for e := range trail.Each(audit.Filter{Whole: true}) {
		if e.Subject != schema.SubjectCondition || seen[e.ID] {
			continue
		}
		seen[e.ID] = true
		if id, err := schema.ParseID(e.ID); err == nil {
			ids = append(ids, id)
		}
	}
	slices.SortFunc(ids, schema.ID.Compare)
	return ids
}

// auditEntry is one entry for programs. The first ten members are fixed; more may follow.
type auditEntry struct {
	At         string   `json:"at"`
	By         string   `json:"by"`
	Commit     *string  `json:"commit"`
	ID         *string  `json:"id"`
	Field      *string  `json:"field"`
	From       *string  `json:"from"`
	To         *string  `json:"to"`
	Why        *string  `json:"why"`
	ApprovedBy []string `json:"approved_by"`
	Kind       string   `json:"kind"`

	AtUTC         string        `json:"at_utc"`
	ApprovedLater []string      `json:"approved_later"`
	Reasons       []auditReason `json:"reasons"`
	Name          string        `json:"name"`
	Email         string        `json:"email"`
	CoAuthors     []string      `json:"co_authors"`
	SavedBy       *string       `json:"saved_by"`
	SavedAt       *string       `json:"saved_at"`
	FromDigest    *string       `json:"from_digest"`
	ToDigest      *string       `json:"to_digest"`
	Subject       *string       `json:"subject"`
	Record        *string       `json:"record"`
	Path          *string       `json:"path"`
	Unit          *string       `json:"unit"`
	Text          *string       `json:"text"`
	Note          bool          `json:"note"`
	Merge         bool          `json:"merge"`
	Edge          bool          `json:"may_be_older"`
	Clock         *string       `json:"odd_time"`
	NotCounted    *string       `json:"not_counted"`
	Withdrawn     bool          `json:"withdrawn"`
}

type auditReason struct {
	Cause    string   `json:"cause"`
	Text     string   `json:"text"`
	By       string   `json:"by"`
	At       string   `json:"at"`
	RuledOut []string `json:"ruled_out"`
	Signed   bool     `json:"signed"`
	Record   string   `json:"record"`
}

// auditJSON writes the timeline entry by entry: all of a long history is more than a program likes to hold.
func auditJSON(to io.Writer, trail *audit.Trail, f audit.Filter) error {
	return jsonItems(bufio.NewWriter(to), func(add func(any) error) error {
		for e := range trail.Each(f) {
			if err := add(entryJSON(trail, e)); err != nil {
				return err
			}
		}
		return nil
	})
}

func entryJSON(trail *audit.Trail, e *audit.Entry) auditEntry {
	j := auditEntry{At: e.At.Format(time.RFC3339), By: e.By.String(), Commit: some(e.Commit), ID: some(e.ID), Field: some(e.Field), Why: some(whyText(e.Why)),
		ApprovedBy: append([]string{}, e.ApprovedBy...), ApprovedLater: append([]string{}, e.ApprovedLater()...), Kind: e.Kind, Reasons: []auditReason{},
		Name: e.By.Name, Email: e.By.Email, CoAuthors: []string{}, FromDigest: some(string(e.FromDigest)), ToDigest: some(string(e.ToDigest)),
		Subject: some(e.Subject), Path: some(e.Path), Note: e.Note, Merge: e.Merge, Edge: e.Edge, Clock: some(e.Clock)}
	j.AtUTC = e.At.UTC().Format(time.RFC3339)
	if e.From.Path != "" {
		j.From = &e.From.Text
	}
	if e.To.Path != "" {
		j.To = &e.To.Text
	}
	if e.Commit != "" {
		j.SavedBy, j.SavedAt = some(e.Committer.String()), some(e.Committed.Format(time.RFC3339))
	}
	for _, p := range e.CoAuthors {
		j.CoAuthors = append(j.CoAuthors, p.String())
	}
	if e.IsChange() {
		for _, w := range e.Why {
			j.Reasons = append(j.Reasons, auditReason{w.Cause, w.Text, w.By, w.At.Format(time.RFC3339), append([]string{}, w.RuledOut...), w.Signed, string(w.Record)})
		}
	}
	if r := e.Record; r != nil && r.Common != nil {
		j.Record, j.Unit, j.Text = some(string(r.Digest)), some(r.Unit.V), some(r.Text.V)
		j.NotCounted, j.Withdrawn = some(trail.Standing.Refused[r.Digest]), trail.Standing.Withdrawn[r.Digest] != nil
	}
	return j
}

func some(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}

// whyText is why in a line: the word of the cause and the person's own words.
func whyText(why []audit.Why) string {
	text := ""
	for _, w := range why {
		line := w.Text
		if w.Cause != "" {
			line = w.Cause + ": " + w.Text
		}
		if line == "" {
			continue
		}
		if text != "" {
			text += "; "
		}
		text += line
	}
	return text
}

// fieldChanges are entries as the change lines of every screen take them.
func fieldChanges(entries []*audit.Entry) []history.FieldChange {
	var out []history.FieldChange
	for _, e := range entries {
		out = append(out, history.FieldChange{Path: e.Field, From: e.From, To: e.To})
	}
	return out
}
