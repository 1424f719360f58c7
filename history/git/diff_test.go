package git_test

import (
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

// diff compares what this package says with what git says; no answer and an empty one are alike.
func diff(t testing.TB, got, want any) {
	t.Helper()
	if d := cmp.Diff(want, got, cmpopts.EquateEmpty()); d != "" {
		t.Errorf("differs from what git says (-want +got):\n%s", d)
	}
}
