package git_test

import (
	"testing"

	"github.com/google/go-cmp/cmp"
)

func diff(t testing.TB, got, want any) {
	t.Helper()
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("differs from what git says (-want +got):\n%s", d)
	}
}
