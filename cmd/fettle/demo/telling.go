package demo

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"fettle/history"
	"fettle/lint"
	"fettle/schema"
)

// A commit is what one command saves.
type commit struct {
	at      time.Time
	by      Person
	message string
	files   map[string][]byte // that it writes
	event   int
}

// telling is the story as far as it was told.
type telling struct {
	*Story
	files   files
	id      string // of the library
	records []*schema.Record
	commits []commit
	made    map[int]map[string]*schema.Record // by event and kind
}

// tell makes the commits of the whole story.
func (s *Story) tell() (*telling, error) {
	t := &telling{Story: s, made: map[int]map[string]*schema.Record{}}
	for _, e := range s.Events {
		if err := t.event(e); err != nil {
			return nil, fmt.Errorf("event %d (%s %s): %w", e.N, e.Kind, e.ID, err)
		}
	}
	return t, nil
}

func (t *telling) event(e *Event) error {
	switch e.Kind {
	case Import:
		return t.start(e)
	case Adopt:
		return t.adopt(e)
	case Changed, PutBack:
		return t.change(e)
	case Approve:
		return t.decide(e, schema.KindApproval)
	case Reject:
		return t.decide(e, schema.KindRejection)
	case Withdraw:
		return t.withdraw(e)
	case Cause:
		return t.cause(e)
	case Escape:
		return t.escape(e)
	case Blocked:
		return nil
	}
	return fmt.Errorf("%q is no kind of event", e.Kind)
}

// start saves the files of the beginning.
func (t *telling) start(e *Event) error {
	var err error
	if t.files, err = t.first(); err != nil {
		return err
	}
	lib, err := schema.ReadLibrary(t.files)
	if err != nil {
		return err
	}
	t.id = lib.Settings.Value.ID.V
	return t.save(e, e.At, fmt.Sprintf("Add %d conditions\n\n%s\n", len(lib.Recipes), e.Text), t.files)
}

// save adds a commit.
func (t *telling) save(e *Event, at time.Time, message string, changed map[string][]byte) error {
	by, err := t.person(e.By)
	if err != nil {
		return err
	}
	t.files = maps.Clone(t.files)
	maps.Copy(t.files, changed)
	t.commits = append(t.commits, commit{at, by, message, changed, e.N})
	return nil
}

// keep makes the record of a body, signed by who wrote it where it must be, and remembers it.
func (t *telling) keep(e *Event, body schema.Body, sign bool) (*schema.Record, error) {
	r := schema.NewRecord(body)
	if sign {
		by, err := t.person(e.By)
		if err != nil {
			return nil, err
		}
		armored, err := by.signer().Sign(r.Message)
		if err != nil {
			return nil, err
		}
		r.Common.Signature = schema.Of(armored)
		r = schema.NewRecord(body)
	}
	if back := schema.ReadRecord(r.Path, r.Bytes()); len(back.Problems) > 0 || back.Digest != r.Digest {
		return nil, fmt.Errorf("%s is not what a reader would take for a record: %v", r.Path, back.Problems)
	}
	t.records = append(t.records, r)
	if t.made[e.N] == nil {
		t.made[e.N] = map[string]*schema.Record{}
	}
	t.made[e.N][r.Kind] = r
	return r, nil
}

// record makes a record and saves it alone.
func (t *telling) record(e *Event, body schema.Body, sign bool, message string) error {
	r, err := t.keep(e, body, sign)
	if err != nil {
		return err
	}
	return t.save(e, r.Time(), message, map[string][]byte{r.Path: r.Bytes()})
}

func (t *telling) ledger() *history.Ledger { return history.NewLedger(t.records) }

// change saves the edit of an event with its reason. The trial was recorded before; permit and load come after.
func (t *telling) change(e *Event) error {
	after, was, is, err := t.files.edit(e.edit())
	if err != nil {
		return err
	}
	if e.Trial != nil {
		if err := t.trial(e, was, is); err != nil {
			return err
		}
	}
	difference := history.Compare(was, is)[0]
	r, err := t.reason(e, is, difference)
	if err != nil {
		return err
	}
	path := difference.After.File.Path
	changed := map[string][]byte{path: after[path], r.Path: r.Bytes()}
	if err := t.save(e, e.At, changeMessage(difference, e), changed); err != nil {
		return err
	}
	if e.Permit != nil {
		if err := t.permit(e, difference.After.Digest()); err != nil {
			return err
		}
	}
	if e.Load != nil {
		return t.load(e, difference.After.Digest())
	}
	return nil
}

func changeMessage(d history.Difference, e *Event) string {
	var b strings.Builder
	if d.Before == nil {
		fmt.Fprintf(&b, "Add %s\n\n", d.ID)
	} else {
		fmt.Fprintf(&b, "Change %s\n\n", d.ID)
		for _, f := range d.Fields {
			if !f.To.Note {
				fmt.Fprintf(&b, "    %-11s %s -> %s\n", schema.SpokenPath(f.Path), f.From.Text, f.To.Text)
			}
		}
		b.WriteString("\n")
	}
	fmt.Fprintf(&b, "%s: %s\n", e.Cause, e.Text)
	return b.String()
}

// known are the warnings of today by condition, which an adoption keeps.
func known(lib *schema.Library) map[string][]string {
	out := map[string][]string{}
	for _, f := range lint.Run(lib, lint.Options{}).Findings {
		rule, _, _ := lint.RuleNamed(f.Rule)
		if f.Severity < lint.Error && rule.Family != "change" && !slices.Contains(out[f.ID], f.Rule) {
			out[f.ID] = append(out[f.ID], f.Rule)
		}
	}
	for _, rules := range out {
		slices.Sort(rules)
	}
	return out
}
