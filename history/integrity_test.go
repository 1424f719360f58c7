package history_test

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"fettle/history"
)

func TestTrail(t *testing.T) {
	const a, b, c = "records/2026/07/20260714T090100Z-approval-aaaaaaaaaaaa.json", "records/2026/07/20260714T090200Z-reason-bbbbbbbbbbbb.json", "records/2026/08/20260801T090200Z-load-cccccccccccc.json"
	type files = map[string]string
	for _, x := range []struct {
		name    string
		parents []files
		now     files
		want    []string
	}{
		{"the first commit", nil, files{a: "1"}, nil},
		{"nothing changed", []files{{a: "1", b: "2"}}, files{a: "1", b: "2"}, nil},
		{"one was added", []files{{a: "1"}}, files{a: "1", b: "2"}, nil},
		{"one was edited", []files{{a: "1", b: "2"}}, files{a: "9", b: "2"}, []string{"record-altered " + a}},
		{"one is gone", []files{{a: "1", b: "2"}}, files{b: "2"}, []string{"record-removed " + a}},
		{"one was renamed", []files{{a: "1"}}, files{b: "1"}, []string{"record-removed " + a}},
		{"all are gone", []files{{c: "3", b: "2", a: "1"}}, nil, []string{"record-removed " + a, "record-removed " + b, "record-removed " + c}},
		{"both sides of a merge added", []files{{a: "1", b: "2"}, {a: "1", c: "3"}}, files{a: "1", b: "2", c: "3"}, nil},
		{"a merge lost what the other side added", []files{{a: "1", b: "2"}, {a: "1", c: "3"}}, files{a: "1", b: "2"}, []string{"record-removed " + c}},
		{"a side of a merge had edited one", []files{{a: "1"}, {a: "9"}}, files{a: "1"}, []string{"record-altered " + a}},
		{"other files are no records", []files{{"sets/bay-2/x.json": "1", "fettle.json": "2"}}, files{}, nil},
	} {
		t.Run(x.name, func(t *testing.T) {
			var got []string
			for _, broken := range history.Trail(x.parents, x.now) {
				got = append(got, broken.Rule+" "+broken.Path)
				if broken.Message == "" || broken.Help == "" {
					t.Errorf("%s: says too little", broken.Path)
				}
			}
			if d := cmp.Diff(x.want, got); d != "" {
				t.Error(d)
			}
		})
	}
}
