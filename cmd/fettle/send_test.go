package main

import "testing"

// A branch is named after whoever sends, in letters that any git and any file system takes.
func TestSlug(t *testing.T) {
	for name, want := range map[string]string{"Mara Lind": "mara-lind", "Jürgen Groß": "jurgen-gross", "Über": "uber", "Łukasz Żak": "lukasz-zak", "李": "changes", "lot 4711/2": "lot-4711-2"} {
		if got := slug(name); got != want {
			t.Errorf("%q becomes %q, not %q", name, got, want)
		}
	}
}
