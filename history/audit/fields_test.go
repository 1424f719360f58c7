package audit_test

import (
	"flag"
	"fmt"
	"sync/atomic"
	"testing"

	"github.com/google/go-cmp/cmp"

	"fettle/history/audit"
	"fettle/history/git"
	"fettle/history/git/gittest"
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
	return trail
}

func facts(trail *audit.Trail, want func(*audit.Entry) bool) map[fact]bool {
	out := map[fact]bool{}
	for i := range trail.Entries {
		if e := &trail.Entries[i]; want(e) {
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
