package audit_test

import (
	"encoding/json"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"fettle/history"
	"fettle/history/audit"
	"fettle/history/git"
	"fettle/history/git/gittest"
	"fettle/hooks"
	"fettle/schema"
)

// keeper reads trails with what is kept.
type keeper struct {
	*testing.T
	repo *git.Repo
	root string
}

// read reads with what is kept, or without.
func (k keeper) read(kept bool, rev string, ids ...schema.ID) *audit.Trail {
	k.Helper()
	o := audit.Options{Rev: rev, Kept: kept, IDs: ids}
	if lookup, err := hooks.OpenLookup(k.repo, k.root); kept && rev == "" && err == nil {
		defer lookup.Close()
		o.Records = func(keys []history.SubjectKey) (*history.Ledger, error) { return lookup.Ledger(keys, nil) }
	}
	trail, err := audit.Read(k.repo, k.root, o)
	if err != nil {
		k.Fatal(err)
	}
	return trail
}

// holds holds what is told with what is kept, of some conditions alone and of all, to what is told without. The last condition is asked for
// only when something is kept of all.
func (k keeper) holds(want *audit.Trail, rev, when string) {
	k.Helper()
	ids := someIDs(want, 4)
	for i, id := range ids {
		if i < 3 {
			alike(k.T, k.read(true, rev, id), want, id)
		}
	}
	got := k.read(true, rev)
	if got, want := spell(got.Entries()), spell(want.Entries()); got != want {
		k.Fatalf("%s: with what is kept it tells\n%s\nand without\n%s", when, got, want)
	}
	for _, id := range ids {
		alike(k.T, got, want, id)
		alike(k.T, k.read(true, rev, id), want, id)
	}
}

// files are what is kept.
func (k keeper) files() map[string][]byte {
	out := map[string][]byte{}
	list, _ := filepath.Glob(filepath.Join(k.repo.Scratch(), "*"))
	for _, file := range list {
		data, err := os.ReadFile(file)
		if err != nil {
			k.Fatal(err)
		}
		out[file] = data
	}
	return out
}

func (k keeper) put(files map[string][]byte) {
	for file, data := range files {
		if err := os.WriteFile(file, data, 0o666); err != nil {
			k.Fatal(err)
		}
	}
}

func (k keeper) forget() {
	if err := os.RemoveAll(k.repo.Scratch()); err != nil {
		k.Fatal(err)
	}
}

// TestKeptChangesNothing holds what is told with what earlier readings kept to what is told without, over histories with branches and merges:
// kept at some commit and read at a later one, read again, kept of a history that was rewritten since, damaged, cut, of another library and
// of another condition.
func TestKeptChangesNothing(t *testing.T) {
	var other map[string][]byte // what another history kept
	for seed := range uint64(4) {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			s := newShop(t, seed+100)
			k := opened(t, s.Repo, s.dir())
			head := s.Run("rev-parse", "HEAD")
			now := k.read(false, head)
			commits := strings.Fields(s.Run("rev-list", "--topo-order", "HEAD"))
			for _, at := range []int{1, 2, len(commits) / 5, len(commits) / 2, len(commits) - 1} {
				k.forget()
				k.holds(k.read(false, commits[at]), commits[at], "when it is kept")
				k.holds(now, head, fmt.Sprintf("kept %d commits ago", at))
				k.holds(k.read(false, commits[at]), commits[at], "after the history went back")
			}
			k.forget()
			k.holds(now, head, "cold")
			k.holds(now, head, "again")
			k.damage(now, head, other)
			other = map[string][]byte{}
			for name, data := range k.files() {
				other[filepath.Base(name)] = data
			}
		})
	}
}

// damage holds what is told to what is told without what is kept, while that is damaged in every way, or put there by another history.
func (k keeper) damage(want *audit.Trail, rev string, other map[string][]byte) {
	k.Helper()
	good := k.files()
	if len(good) < 4 {
		k.Fatalf("only %d files are kept", len(good))
	}
	names := slices.Sorted(maps.Keys(good))
	for n, name := range names {
		data := good[name]
		flipped := slices.Clone(data)
		flipped[(n*7919+len(data)/2)%len(data)] ^= 4
		for what, bad := range map[string][]byte{"flipped": flipped, "cut": data[:len(data)/2], "empty": {}, "longer": append(slices.Clone(data), data...),
			"of another file": good[names[(n+1)%len(names)]], "of another history": other[filepath.Base(name)]} {
			k.put(good)
			k.put(map[string][]byte{name: bad})
			k.holds(want, rev, filepath.Base(name)+" "+what)
		}
	}
	k.put(good)
}

// TestKeptRecordsChangeNothing holds the same for decisions, reasons and what else is on record.
func TestKeptRecordsChangeNothing(t *testing.T) {
	d := newDesk(t)
	d.adopt()
	k := opened(t, d.Repo, "")
	k.holds(k.read(false, ""), "", "after the adoption")
	d.edit([2]string{"0.40 bar", "2.9 m/min"}, [2]string{"0.46 bar", "2.9 m/min"}, "dross")
	d.approve()
	d.Commit("approve")
	k.holds(k.read(false, ""), "", "after an approval")
	k.damage(k.read(false, ""), "", nil)
}

// TestFamilyFarDown: a set says what it is of behind all its conditions, too.
func TestFamilyFarDown(t *testing.T) {
	d := newDesk(t)
	var set map[string]any
	if err := json.Unmarshal([]byte(d.Read(setFile)), &set); err != nil {
		t.Fatal(err)
	}
	text := `{"kind": "condition-set", "format": 1, "$schema": "` + strings.Repeat("x", 5000) + `"`
	for _, member := range []string{"conditions", "machine", "material", "gas"} {
		value, err := json.Marshal(set[member])
		if err != nil {
			t.Fatal(err)
		}
		text += `, "` + member + `": ` + strings.Replace(string(value), "2.9 m/min", "3.1 m/min", 1)
	}
	d.Write(setFile, text+"}")
	d.Commit("the other way round")
	trail := d.trail() // held to what is told of each condition alone
	if got := trail.Select(audit.Filter{Field: "cut.speed", IDs: []schema.ID{mustID(t, tenMM)}}); len(got) != 2 {
		t.Errorf("the speed changed once since it was new:\n%s", tell(got))
	}
}

func opened(t *testing.T, repo *gittest.Repo, root string) keeper {
	r, err := git.OpenOther(repo.Dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { r.Close() })
	return keeper{t, r, root}
}
