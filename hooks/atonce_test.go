package hooks_test

import (
	"fmt"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"fettle/history/git/gittest"
)

// Two persons save at the same time, each in a work tree of their own, good and bad edits in turns. Each is judged by what they save
// themselves, and the marks that hooks leave for each other do not mix.
func TestTwoAtOnce(t *testing.T) {
	s := newShop(t)
	dir := filepath.Join(gittest.Dir(t), "night")
	s.Run("worktree", "add", "-q", "-b", "night", dir)
	night := *s
	night.Repo = gittest.At(t, dir)
	rounds := 5
	if brief() {
		rounds = 2
	}
	var wait sync.WaitGroup
	for _, person := range []struct {
		shop *shop
		id   string
		from float64
	}{{s, oxygen3, 0.26}, {&night, oxygen6, 0.32}} {
		wait.Add(1)
		go func() {
			defer wait.Done()
			for i := range rounds {
				value := fmt.Sprintf("%.2f bar", person.from+0.01*float64(i%2))
				person.shop.edit(person.id, strings.Replace(value, "0.", "", 1))
				if out, code := person.shop.commit("-a"); code != 1 || !strings.Contains(out, "pressure-over-line") {
					t.Errorf("round %d: %d\n%s", i, code, out)
				}
				person.shop.edit(person.id, value)
				person.shop.reason()
				person.shop.Run("add", "-A")
				if out, code := person.shop.commit(); code != 0 {
					t.Errorf("round %d: %d\n%s", i, code, out)
				}
				if got := person.shop.pressure("HEAD", person.id); got != value {
					t.Errorf("round %d saved %s, want %s", i, got, value)
				}
			}
		}()
	}
	wait.Wait()
	for branch, id := range map[string]string{"main": oxygen3, "night": oxygen6} {
		for _, commit := range strings.Fields(s.Run("rev-list", "-"+fmt.Sprint(rounds), branch)) {
			if got := s.pressure(commit, id); !strings.HasPrefix(got, "0.") {
				t.Errorf("%s holds %s", branch, got)
			}
		}
	}
	s.Run("fsck", "--strict")
	s.wantCode(0, []string{"merge", "--no-edit", "night"})
}
