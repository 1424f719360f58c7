package audit_test

import (
	"fmt"
	"strings"
	"sync"
	"testing"

	"fettle/history/audit"
	"fettle/schema"
)

// TestRecipes: through a random history with merges, files that cannot be read and other mixes of gases, every recipe that the snapshot of any
// commit holds is among those given, and every version that a timeline knows.
func TestRecipes(t *testing.T) {
	t.Parallel()
	s := newShop(t, 41)
	repo := opened(t, s.Repo, s.root).repo
	var mu sync.Mutex
	given := map[string]bool{}
	if err := audit.Recipes(repo, s.dir(), func(id schema.ID, d schema.Digest) {
		mu.Lock()
		defer mu.Unlock()
		given[fmt.Sprint(id, " ", d)] = true
	}); err != nil {
		t.Fatal(err)
	}
	held := map[string]bool{}
	for rev := range strings.FieldsSeq(s.Run("rev-list", "HEAD")) {
		snap, err := repo.Commit(rev, s.dir())
		if err != nil {
			t.Fatal(err)
		}
		lib, err := schema.ReadLibrary(snap)
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range lib.Recipes {
			one := fmt.Sprint(r.ID, " ", r.Digest())
			if held[one] = true; !given[one] {
				t.Fatalf("%s of %s is not given", one, rev)
			}
		}
	}
	trail, err := audit.Read(repo, s.dir(), audit.Options{})
	if err != nil {
		t.Fatal(err)
	}
	versions := 0
	for one := range held {
		id, _, _ := strings.Cut(one, " ")
		for _, v := range trail.Versions(id) {
			if versions++; !given[fmt.Sprint(id, " ", v.Digest)] {
				t.Errorf("the version %s of %s is not given", v.Digest, id)
			}
		}
	}
	if len(held) < 10 || versions < 10 {
		t.Errorf("%d recipes and %d versions are few", len(held), versions)
	}
}
