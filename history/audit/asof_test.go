package audit_test

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"fettle/history/audit"
	"fettle/history/git"
	"fettle/history/git/gittest"
	"fettle/schema"
)

func asOf(t *testing.T, repo *gittest.Repo, root string, at time.Time) *audit.Moment {
	t.Helper()
	r, err := git.OpenOther(repo.Dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { r.Close() })
	m, err := audit.AsOf(r, root, audit.Options{}, at)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// shownBy is what git show gives of a commit, read with encoding/json: only files that can be read as they stand.
func (o *oracle) shownBy(commit string) flat {
	files := map[string]string{}
	for line := range strings.Lines(o.repo.Run("ls-tree", "-r", "--name-only", commit)) {
		full := strings.TrimSuffix(line, "\n")
		name := strings.TrimPrefix(full, o.root)
		kind := kindByPlace(name)
		if !strings.HasPrefix(full, o.root) || kind == "" {
			continue
		}
		if text := o.repo.Run("show", commit+":"+full) + "\n"; readable(text, kind) {
			files[name] = text
		}
	}
	all := o.flatten(files)
	maps.DeleteFunc(all, func(id string, _ map[string]string) bool { return strings.Contains(id, " ") })
	return all
}

// saved is a condition in git at a moment, nil where it was not there.
func saved(t *testing.T, m *audit.Moment, id schema.ID) (found *schema.Recipe) {
	t.Helper()
	if err := m.Stands([]schema.ID{id}, func(lib *schema.Library, id schema.ID) error { found = lib.Recipe(id); return nil }); err != nil {
		t.Fatal(err)
	}
	return found
}

// recipes are the fields of a library as the oracle tells them.
func recipes(t *testing.T, m *audit.Moment) flat {
	t.Helper()
	out := flat{}
	if err := m.Stands(m.IDs, func(lib *schema.Library, id schema.ID) error {
		r := lib.Recipe(id)
		if r == nil {
			return nil
		}
		fields := map[string]string{}
		for _, f := range schema.Fields(r.Values()) {
			if f.Path != "process" || f.Text != "cut" {
				fields[f.Path] = f.Text
			}
		}
		out[r.ID.String()] = fields
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	return out
}

// TestAsOf holds as-of to git show REV:PATH on random histories, at the time of every commit of the line, a second before and after. Which
// commit stood then is worked out by brute force: the first of those prefixes of the line that take the fewest clocks for wrong.
func TestAsOf(t *testing.T) {
	for seed := range uint64(4) {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			t.Parallel()
			s := newShop(t, seed)
			o := newOracle(s.Repo, s.root)
			var line []string
			var times []int64
			for row := range strings.Lines(s.Run("log", "--first-parent", "--reverse", "--format=%H %ct")) {
				hash, at, _ := strings.Cut(strings.TrimSpace(row), " ")
				seconds, err := strconv.ParseInt(at, 10, 64)
				if err != nil {
					t.Fatal(err)
				}
				line, times = append(line, hash), append(times, seconds)
			}
			moments := []int64{times[0] - 1, times[len(times)-1] + 1}
			for _, at := range times {
				moments = append(moments, at-1, at, at+1)
			}
			slices.Sort(moments)
			odd, shown := 0, map[string]flat{"": {}}
			for _, at := range slices.Compact(moments) {
				best, n := math.MaxInt, 0
				for i := 0; i <= len(line); i++ {
					wrong := 0
					for j, saved := range times {
						if (saved <= at) != (j < i) {
							wrong++
						}
					}
					if wrong < best {
						best, n = wrong, i
					}
				}
				want := ""
				if n > 0 {
					want = line[n-1]
				}
				m := asOf(t, s.Repo, s.dir(), time.Unix(at, 0))
				if m.Commit != want {
					t.Fatalf("as of %d: commit %q, want %q", at, m.Commit, want)
				}
				clocks := slices.DeleteFunc(slices.Clone(m.Doubts), func(d string) bool { return !strings.Contains(d, "clock") })
				if len(clocks) != best {
					t.Errorf("as of %d: %d clocks contradict, and it says %q", at, best, clocks)
				}
				odd += best
				if _, known := shown[want]; !known {
					shown[want] = o.shownBy(want)
				}
				if diff := cmp.Diff(shown[want], recipes(t, m)); diff != "" {
					t.Fatalf("as of %d, %.12s (-git show +as-of):\n%s", at, want, diff)
				}
			}
			t.Logf("%d moments on a line of %d, %d contradictions", len(moments), len(line), odd)
		})
	}
}

// TestThreeSenses: in git, approved and on the machine are three things.
func TestThreeSenses(t *testing.T) {
	d := newDesk(t)
	adoption := d.adopt()
	a, b := [2]string{"0.40 bar", "2.9 m/min"}, [2]string{"0.46 bar", "2.9 m/min"}
	load := &schema.Load{Common: d.common(schema.KindLoad, mara, ""), Loaded: schema.Of([]schema.Loaded{{ID: schema.Of(tenMM), Digest: schema.Of(digest(t, a[0], a[1]))}})}
	load.Unit = schema.Of("bay-2")
	d.put(load, &load.Common, "")
	d.Commit("load")
	d.edit(a, b, "dross")
	edited := d.now.Add(time.Minute)
	d.Tick(24 * time.Hour)
	d.now = d.now.Add(24 * time.Hour)
	d.approve(adoption)
	later := d.now.Add(time.Hour)

	check := func(at time.Time, digest, approved, onUnit string) {
		t.Helper()
		m := asOf(t, d.Repo, "", at)
		id := mustID(t, tenMM)
		if got := saved(t, m, id); got == nil || string(got.Digest()) != digest {
			t.Errorf("in git at %s: %v", at, got)
		}
		if got, _ := m.Standing.Condition(id).Digest(); string(got) != approved {
			t.Errorf("approved at %s: %s", at, got.Short())
		}
		stay := m.OnUnit("bay-2", tenMM)
		if got := stay.Digest(); string(got) != onUnit {
			t.Errorf("on bay-2 at %s: %s", at, got.Short())
		}
	}
	old, fresh := digest(t, a[0], a[1]), digest(t, b[0], b[1])
	check(edited, fresh, old, old)
	check(later, fresh, fresh, old)
}
