package audit_test

import (
	"flag"
	"fmt"
	"slices"
	"strings"
	"sync/atomic"
	"testing"

	"github.com/google/go-cmp/cmp"

	"fettle/history"
	"fettle/history/audit"
	"fettle/history/git"
	"fettle/history/git/gittest"
	"fettle/hooks"
	"fettle/schema"
)

func read(t *testing.T, repo *gittest.Repo, root string) *audit.Trail {
	t.Helper()
	r, err := git.OpenOther(repo.Dir)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	trail, err := audit.Read(r, root, audit.Options{})
	if err != nil {
		t.Fatal(err)
	}
	searched(t, r, root, trail)
	return trail
}

// searched holds what is told of a few conditions alone to what the whole trail tells of them.
func searched(t *testing.T, r *git.Repo, root string, whole *audit.Trail) {
	t.Helper()
	var records func([]history.SubjectKey) (*history.Ledger, error)
	if lookup, err := hooks.OpenLookup(r, root); err == nil {
		defer lookup.Close()
		records = func(keys []history.SubjectKey) (*history.Ledger, error) { return lookup.Ledger(keys, nil) }
	}
	for _, id := range append(someIDs(whole, 6), schema.ID{Machine: "no", Material: "such", Gas: "thing", Thickness: "3"}) {
		for _, options := range []audit.Options{{IDs: []schema.ID{id}}, {IDs: []schema.ID{id}, Kept: true, Records: records}} {
			trail, err := audit.Read(r, root, options)
			if err != nil {
				t.Fatal(err)
			}
			alike(t, trail, whole, id)
		}
	}
}

func someIDs(trail *audit.Trail, most int) (ids []schema.ID) {
	for _, e := range trail.Entries() {
		if id, err := schema.ParseID(e.ID); err == nil && e.Subject == schema.SubjectCondition && !slices.Contains(ids, id) && len(ids) < most {
			ids = append(ids, id)
		}
	}
	return ids
}

// alike holds what one trail says of a condition to what another does.
func alike(t *testing.T, got, want *audit.Trail, id schema.ID) {
	t.Helper()
	filter := audit.Filter{IDs: []schema.ID{id}}
	tell := func(trail *audit.Trail) string {
		text := spell(trail.Select(filter))
		for _, e := range trail.Select(filter) {
			if r := e.Record; r != nil && r.Common != nil {
				text += fmt.Sprintln(r.Path, r.Digest, r.Text.V, r.Unit.V, r.Signature.Set(), trail.Standing.Refused[r.Digest], trail.Standing.Withdrawn[r.Digest] != nil)
			}
		}
		return text
	}
	if got, want := tell(got), tell(want); got != want {
		t.Fatalf("of %s it tells\n%s\nand not\n%s", id, got, want)
	}
	if got, want := fmt.Sprint(got.Versions(id.String())), fmt.Sprint(want.Versions(id.String())); got != want {
		t.Fatalf("of %s it knows\n%s\nand not\n%s", id, got, want)
	}
}

func spell(entries []audit.Entry) string {
	var b strings.Builder
	for _, e := range entries {
		fmt.Fprintln(&b, e.Kind, e.At, e.By, e.CoAuthors, e.Commit, e.Committer, e.Merge, e.Edge, e.Clock, e.ID, e.Path, e.Field, e.From.Text, e.To.Text, len(e.Others), e.Note,
			e.FromDigest, e.ToDigest, e.Why, e.ApprovedBy, e.ApprovedLater())
	}
	return b.String()
}

func facts(trail *audit.Trail, want func(*audit.Entry) bool) map[fact]bool {
	out := map[fact]bool{}
	for i := range trail.Entries() {
		if e := &trail.Entries()[i]; want(e) {
			id := e.ID
			if e.Kind == audit.Edited {
				id = e.Subject + " " + e.ID
			}
			out[fact{e.Commit, id, e.Field, e.From.Text, e.To.Text}] = true
		}
	}
	return out
}

var histories = flag.Int("histories", 6, "how many random histories are held to the oracle")

// TestRandomHistories holds the timeline of random histories to the oracle, which has them from the real git and encoding/json.
func TestRandomHistories(t *testing.T) {
	var crossed atomic.Int32
	t.Cleanup(func() {
		if crossed.Load() == 0 {
			t.Error("no history had a criss-cross merge, so none was looked at")
		}
	})
	for seed := range uint64(*histories) {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			t.Parallel()
			s := newShop(t, seed)
			o := newOracle(s.Repo, s.root)
			trail := read(t, s.Repo, s.dir())
			got := facts(trail, func(e *audit.Entry) bool { return e.IsChange() && e.Kind != audit.Dropped || e.Kind == audit.Edited })
			if diff := cmp.Diff(o.changes(), got); diff != "" {
				t.Errorf("changes (-oracle +audit):\n%s", diff)
			}
			dropped, merges := o.dropped()
			got = facts(trail, func(e *audit.Entry) bool { return e.Kind == audit.Dropped && merges[e.Commit] })
			if diff := cmp.Diff(dropped, got); diff != "" {
				t.Errorf("dropped by merges (-oracle +audit):\n%s", diff)
			}
			n := o.crissCrosses()
			crossed.Add(n)
			t.Logf("%d commits, %d changes, %d merges with one base and %d with several, %d dropped", len(o.order), len(o.changes()), len(merges), n, len(dropped))
		})
	}
}
