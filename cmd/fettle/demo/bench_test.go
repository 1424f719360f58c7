package demo

import (
	"fmt"
	"path/filepath"
	"testing"
)

// BenchmarkBuild is the whole of it: the story told, git's import, the work tree, the keys.
func BenchmarkBuild(b *testing.B) {
	s, err := Northgate()
	if err != nil {
		b.Fatal(err)
	}
	dir := b.TempDir()
	for i := 0; b.Loop(); i++ {
		if _, err := s.Build(filepath.Join(dir, fmt.Sprint(i))); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkTell is the part before git.
func BenchmarkTell(b *testing.B) {
	s, err := Northgate()
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, err := s.tell(); err != nil {
			b.Fatal(err)
		}
	}
}
