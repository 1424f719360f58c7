//go:build linux

package hooks_test

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"fettle/history/git/gittest"
)

// smallDisk is a copy of the sample shop on a disk of its own.
func smallDisk(t *testing.T) *sampled {
	t.Helper()
	s := builtShop(t)
	dir := filepath.Join(gittest.Dir(t), "disk")
	if err := os.Mkdir(dir, 0o777); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command("mount", "-t", "tmpfs", "-o", "size=6m", "tmpfs", dir).CombinedOutput(); err != nil {
		t.Skipf("a small disk needs the right to mount one: %v %s", err, out)
	}
	t.Cleanup(func() {
		for tries := 0; ; tries++ { // a child of git that ends with its parent may take a moment
			out, err := exec.Command("umount", dir).CombinedOutput()
			if err == nil {
				return
			}
			if tries == 200 {
				t.Fatalf("umount: %v %s", err, out)
			}
			time.Sleep(20 * time.Millisecond)
		}
	})
	if out, err := exec.Command("cp", "-a", s.dir, dir).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	s.dir = filepath.Join(dir, "shop")
	return s
}

// fill leaves no room on the disk, and returns what makes room again.
func (s *sampled) fill() (empty func()) {
	s.t.Helper()
	name := filepath.Join(filepath.Dir(s.dir), "filler")
	f, err := os.Create(name)
	if err != nil {
		s.t.Fatal(err)
	}
	for block := make([]byte, 1<<20); len(block) > 0; {
		if _, err := f.Write(block); err != nil {
			block = block[:len(block)/2]
		}
	}
	f.Close()
	return func() {
		if err := os.Remove(name); err != nil {
			s.t.Fatal(err)
		}
	}
}

// On a full disk, and on one that can only be read, a command that writes says so with exit code 2, leaves everything as it was, and
// works once there is room. What only reads works all the time.
func TestNowhereToWrite(t *testing.T) {
	for _, c := range []struct {
		name  string
		close func(s *sampled) (open func())
		words []string
	}{
		{"full", func(s *sampled) func() { return s.fill() }, []string{"no space", "full", "room"}},
		{"read-only", func(s *sampled) func() {
			remount := func(how string) {
				if out, err := exec.Command("mount", "-o", "remount,"+how, filepath.Dir(s.dir)).CombinedOutput(); err != nil {
					s.t.Fatalf("%v: %s", err, out)
				}
			}
			remount("ro")
			return func() { remount("rw") }
		}, []string{"read-only"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			for i, w := range writers {
				if w.name == "hooks remove" && c.name == "full" {
					continue // it makes room
				}
				if brief() && i%4 != 0 {
					continue
				}
				t.Run(w.name, func(t *testing.T) {
					s := smallDisk(t)
					for _, step := range w.before {
						s.must(step...)
					}
					before := s.files()
					open := c.close(s)
					out, code := s.run(w.args...)
					want := 2
					if w.args[0] == "git" {
						want = 128
					}
					if code != want {
						t.Errorf("it ended with %d, want %d:\n%s", code, want, out)
					}
					said := false
					for _, word := range c.words {
						said = said || strings.Contains(strings.ToLower(out), word)
					}
					if !said {
						t.Errorf("it does not say what is wrong:\n%s", out)
					}
					for _, args := range [][]string{{"fettle", "status"}, {"fettle", "lint"}, {"fettle", "review"}, {"fettle", "verify"}} {
						if i > 0 {
							break
						}
						if out, code := s.run(args...); code == 2 {
							t.Errorf("%v only reads, and ended with %d:\n%s", args, code, out)
						}
					}
					if left := differ(s.files(), before); len(left) > 0 {
						t.Errorf("not as it was: %v\n%s", left, out)
					}
					open()
					s.wantWhole()
					s.must(w.args...)
					if len(differ(s.files(), before)) == 0 {
						t.Error("it writes nothing, with all the room there is")
					}
					s.wantWhole()
				})
			}
		})
	}
}
