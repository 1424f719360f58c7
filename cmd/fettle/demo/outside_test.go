package demo

import (
	"encoding/json"
	"fmt"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"fettle/history"
	"fettle/history/audit"
	"fettle/history/git"
	"fettle/history/git/gittest"
	"fettle/schema"
)

// TestSSHKeygenAcceptsEverySignature holds every signature of the sample to ssh-keygen -Y verify (OpenSSH; ssh-keygen(1)), at the
// time of the record and against the sample's own roster.
func TestSSHKeygenAcceptsEverySignature(t *testing.T) {
	if _, err := exec.LookPath("ssh-keygen"); err != nil {
		t.Skip("ssh-keygen is not installed")
	}
	shop := shared(t)
	_, _, ledger := read(t, shop.Dir)
	scratch := t.TempDir()
	signed := map[string]int{}
	for i, r := range ledger.Records {
		decides := slices.Contains([]string{schema.KindAdoption, schema.KindApproval, schema.KindRejection}, r.Kind)
		if !r.Signature.Set() {
			if decides {
				t.Errorf("%s is not signed", r.Path)
			}
			continue
		}
		signed[r.Kind]++
		// The signed text is the file without its signature, as RFC 8785 writes it: made here by encoding/json, which sorts members,
		// and fits RFC 8785 for records, whose numbers are small integers and whose texts are plain.
		data, err := os.ReadFile(filepath.Join(shop.Dir, filepath.FromSlash(r.Path)))
		if err != nil {
			t.Fatal(err)
		}
		var members map[string]any
		if err := json.Unmarshal(data, &members); err != nil {
			t.Fatal(err)
		}
		armored := members["signature"].(string)
		delete(members, "signature")
		var message strings.Builder
		enc := json.NewEncoder(&message)
		enc.SetEscapeHTML(false)
		if err := enc.Encode(members); err != nil {
			t.Fatal(err)
		}
		file := filepath.Join(scratch, fmt.Sprint(i, ".sig"))
		if err := os.WriteFile(file, []byte(armored), 0o644); err != nil {
			t.Fatal(err)
		}
		cmd := exec.Command("ssh-keygen", "-Y", "verify", "-f", filepath.Join(shop.Dir, schema.RosterFile), "-I", r.By.V, "-n", "fettle",
			"-O", "verify-time="+r.Time().Format("20060102150405Z"), "-s", file)
		cmd.Stdin = strings.NewReader(strings.TrimSuffix(message.String(), "\n"))
		if out, err := cmd.CombinedOutput(); err != nil {
			t.Errorf("%s: ssh-keygen: %v %s", r.Path, err, out)
		}
	}
	if want := map[string]int{"adoption": 1, "approval": 10, "rejection": 1, "withdrawal": 1}; !maps.Equal(signed, want) {
		t.Errorf("signed: %v, want %v", signed, want)
	}
}

// A touch is one value that a commit changed.
type touch struct{ Commit, ID, Field, From, To string }

func sorted(list []touch) []touch {
	slices.SortFunc(list, func(a, b touch) int {
		return strings.Compare(strings.Join([]string{a.Commit, a.ID, a.Field}, "\x00"), strings.Join([]string{b.Commit, b.ID, b.Field}, "\x00"))
	})
	return list
}

// told are the changes as the story has them, at the commits of its events.
func told(t *testing.T, commits []string) []touch {
	t.Helper()
	tale, err := northgate(t).tell()
	if err != nil {
		t.Fatal(err)
	}
	if len(tale.commits) != len(commits) {
		t.Fatalf("%d commits are told and %d were made", len(tale.commits), len(commits))
	}
	var out []touch
	for _, e := range tale.Events {
		if !e.Edits() {
			continue
		}
		at := slices.IndexFunc(tale.commits, func(c commit) bool { return c.event == e.N && c.at.Equal(e.At) && len(c.files) == 2 })
		for _, c := range e.Changes {
			out = append(out, touch{commits[at], e.ID, c.Field, c.From, c.To})
		}
		if len(e.New) > 0 {
			var condition map[string]any
			if err := json.Unmarshal(e.New, &condition); err != nil {
				t.Fatal(err)
			}
			for field, text := range leaves(condition) {
				out = append(out, touch{commits[at], e.ID, field, "", text})
			}
		}
	}
	return sorted(out)
}

// leaves are the values of an object by dotted path, the way of encoding/json and of nothing else.
func leaves(v any) map[string]string {
	out := map[string]string{}
	var walk func(path string, v any)
	walk = func(path string, v any) {
		switch v := v.(type) {
		case map[string]any:
			for name, kid := range v {
				walk(strings.TrimPrefix(path+"."+name, "."), kid)
			}
		case []any:
			for i, kid := range v {
				walk(fmt.Sprintf("%s[%d]", path, i), kid)
			}
		default:
			out[path] = fmt.Sprint(v)
		}
	}
	walk("", v)
	return out
}

// conditions are those of one file in one commit, read from git show by encoding/json.
func conditions(t *testing.T, r *gittest.Repo, commit, path string) map[string]map[string]string {
	t.Helper()
	var set struct {
		Machine, Material, Gas string
		Conditions             []map[string]any
	}
	if err := json.Unmarshal([]byte(r.Run("show", commit+":"+path)), &set); err != nil {
		t.Fatal(err)
	}
	out := map[string]map[string]string{}
	for _, c := range set.Conditions {
		id := strings.Join([]string{set.Machine, set.Material, set.Gas, strings.ReplaceAll(c["thickness"].(string), " ", "")}, "/")
		for _, part := range []string{"variant", "process"} {
			if name, ok := c[part].(string); ok && name != "cut" {
				id += "/" + name
			}
		}
		out[id] = leaves(c)
	}
	return out
}

// plain are the changes of every commit after the first, found by comparing what git show gives of the files that it names.
func plain(t *testing.T, r *gittest.Repo, commits []string) []touch {
	t.Helper()
	var out []touch
	for _, commit := range commits[1:] {
		for _, path := range strings.Fields(r.Run("show", "--format=", "--name-only", "--no-renames", commit, "--", "sets/")) {
			before, after := conditions(t, r, commit+"^", path), conditions(t, r, commit, path)
			for id := range merged(before, after) {
				for field := range merged(before[id], after[id]) {
					if a, b := before[id][field], after[id][field]; a != b {
						out = append(out, touch{commit, id, field, a, b})
					}
				}
			}
		}
	}
	if len(out) < 20 {
		t.Fatalf("git shows only %d changed values", len(out))
	}
	return sorted(out)
}

func merged[V any](a, b map[string]V) map[string]bool {
	out := map[string]bool{}
	for k := range a {
		out[k] = true
	}
	for k := range b {
		out[k] = true
	}
	return out
}

// TestDiffAndAudit holds what Compare and the audit say of every commit to a comparison that shares no code with them: git show,
// encoding/json and a loop. And all three to the story.
func TestDiffAndAudit(t *testing.T) {
	shop := shared(t)
	r := gittest.At(t, shop.Dir)
	commits := strings.Fields(r.Run("rev-list", "--reverse", "HEAD"))
	want := plain(t, r, commits)
	if diff := cmp.Diff(want, told(t, commits)); diff != "" {
		t.Errorf("git show and the story (-git +story):\n%s", diff)
	}

	repo, err := git.Open(shop.Dir)
	if err != nil {
		t.Fatal(err)
	}
	defer repo.Close()
	library := func(rev string) *schema.Library {
		snap, err := repo.Commit(rev, "")
		if err != nil {
			t.Fatal(err)
		}
		lib, err := schema.ReadLibrary(snap)
		if err != nil {
			t.Fatal(err)
		}
		return lib
	}
	var compared []touch
	before := library(commits[0])
	for _, commit := range commits[1:] {
		after := library(commit)
		for _, d := range history.Compare(before, after) {
			for _, f := range d.Fields {
				compared = append(compared, touch{commit, d.ID.String(), f.Path, f.From.Text, f.To.Text})
			}
		}
		before = after
	}
	if diff := cmp.Diff(want, withoutHead(sorted(compared))); diff != "" {
		t.Errorf("git show and Compare (-git +compare):\n%s", diff)
	}

	trail, err := audit.Read(repo, "", audit.Options{})
	if err != nil {
		t.Fatal(err)
	}
	var audited []touch
	for _, e := range trail.Entries() {
		if e.IsChange() && e.Commit != commits[0] {
			audited = append(audited, touch{e.Commit, e.ID, e.Field, e.From.Text, e.To.Text})
		}
	}
	if diff := cmp.Diff(want, withoutHead(sorted(audited))); diff != "" {
		t.Errorf("git show and audit (-git +audit):\n%s", diff)
	}
}

// withoutHead drops what a new condition takes from the head of its set, which is no member of the condition in the file.
func withoutHead(list []touch) []touch {
	return slices.DeleteFunc(list, func(c touch) bool {
		return c.From == "" && slices.Contains([]string{"machine", "material", "grade", "gas"}, c.Field)
	})
}
