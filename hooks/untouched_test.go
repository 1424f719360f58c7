package hooks_test

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func hashOf(text string) string {
	sum := sha256.Sum256([]byte(text))
	return hex.EncodeToString(sum[:8])
}

// treeHash is a hash of all files below a directory, with their modes.
func treeHash(t testing.TB, dir string, take func(string) bool) string {
	t.Helper()
	var b strings.Builder
	err := filepath.WalkDir(dir, func(p string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		rel, err := filepath.Rel(dir, p)
		if err != nil || !take(filepath.ToSlash(rel)) {
			return err
		}
		info, err := d.Info()
		if err != nil {
			return err
		}
		var data []byte
		if info.Mode().IsRegular() {
			data, err = os.ReadFile(p)
		}
		fmt.Fprintf(&b, "%s %s %s\n", rel, info.Mode(), hashOf(string(data)))
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return hashOf(b.String())
}

// A hook changes no byte: not of the index, not of the repository, not of the files, whatever its verdict. It leaves a mark for the
// next one.
func TestHookTouchesNothing(t *testing.T) {
	for name, prepare := range map[string]func(*shop){
		"passes":             func(s *shop) { s.edit(oxygen3, "0.27 bar"); s.reason(); s.Run("add", "-A") },
		"stops":              func(s *shop) { s.edit(oxygen3, "25 bar"); s.Run("add", "-A") },
		"reason left out":    func(s *shop) { s.edit(oxygen3, "0.27 bar"); s.Run("add", "-A"); s.reason() },
		"cannot read":        func(s *shop) { os.Symlink("x", s.Path("sets/x.json")); s.Run("add", "-A") },
		"stale index":        func(s *shop) { s.edit(oxygen3, "0.27 bar"); os.Chtimes(s.Path("fettle.json"), s.now, s.now) },
		"nothing of a shop":  func(s *shop) { s.Write("notes.txt", "x"); s.Run("add", "-A") },
		"nothing staged yet": func(s *shop) {},
	} {
		t.Run(name, func(t *testing.T) {
			s := newShop(t)
			prepare(s)
			all := func(p string) bool { return !strings.HasPrefix(p, ".git/fettle/") } // the mark for the next hook
			before := treeHash(t, s.Dir, all)
			cmd := s.Command("hook", "run", "pre-commit")
			cmd.Args = []string{"sh", s.Path(".git/hooks/pre-commit")}
			cmd.Path = "/bin/sh"
			cmd.Env = append(cmd.Env, "GIT_INDEX_FILE=.git/index")
			out, _ := cmd.CombinedOutput()
			if code := cmd.ProcessState.ExitCode(); code > 2 || code < 0 {
				t.Fatalf("exit code %d: %s", code, out)
			}
			if after := treeHash(t, s.Dir, all); after != before {
				t.Errorf("something changed on disk; the hook said:\n%s", out)
			}
		})
	}
}
