package main

import (
	"errors"
	"os"
	"path/filepath"
	"testing"

	"fettle/history/git"
)

// Where the third of three writes fails, the first two are as if nothing had been.
func TestWhole(t *testing.T) {
	dir := t.TempDir()
	repo, err := git.Init(dir, "main")
	if err != nil {
		t.Fatal(err)
	}
	defer repo.Close()
	s := &shop{app: &app{}, repo: repo, root: dir}
	known := filepath.Join(dir, "known.json")
	if err := os.WriteFile(known, []byte("old"), 0o644); err != nil {
		t.Fatal(err)
	}
	failed := errors.New("the third")
	writes := func(last error) error {
		return s.whole(func() error {
			for path, text := range map[string]string{"known.json": "new", "sets/fresh.json": "new"} {
				if err := s.write(path, []byte(text)); err != nil {
					return err
				}
			}
			if err := s.write("known.json", []byte("newer")); err != nil {
				return err
			}
			return last
		})
	}
	if err := writes(failed); !errors.Is(err, failed) {
		t.Fatal(err)
	}
	if got, err := os.ReadFile(known); err != nil || string(got) != "old" {
		t.Errorf("it holds %q %v", got, err)
	}
	if _, err := os.Stat(filepath.Join(dir, "sets", "fresh.json")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("the new file stayed: %v", err)
	}
	if err := writes(nil); err != nil {
		t.Fatal(err)
	}
	if got, err := os.ReadFile(known); err != nil || string(got) != "newer" {
		t.Errorf("it holds %q %v", got, err)
	}
}
