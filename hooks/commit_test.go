package hooks_test

import (
	"os"
	"strings"
	"testing"

	"fettle/history/audit"
	"fettle/history/git"
	"fettle/hooks"
)

func TestValueStopped(t *testing.T) {
	s := newShop(t)
	s.edit(oxygen3, "25 bar")
	s.reason()
	s.Run("add", "-A")
	out := s.wantStopped(nil, "pressure-over-line", oxygenSet+":", "the commit is stopped", "fettle put-back "+oxygen3)
	if strings.Contains(out, "no-reason") {
		t.Errorf("a reason is there:\n%s", out)
	}
	s.edit(oxygen3, "0.27 bar")
	s.wantStopped([]string{"-a"}, "no-reason") // the reason is for 25 bar
	s.reason()
	s.Run("add", "-A")
	s.wantPassed(nil, oxygen3+" is not in force")
}

func TestReasonAsked(t *testing.T) {
	s := newShop(t)
	s.edit(oxygen3, "0.27 bar")
	s.wantStopped([]string{"-a"}, "no-reason", "fettle save "+oxygen3)
	s.reason()
	s.Run("add", "-A")
	s.wantPassed(nil)
	if got := s.pressure("HEAD", oxygen3); got != "0.27 bar" {
		t.Errorf("saved %s", got)
	}
	// The same value back needs no reason: it is the recipe in force.
	s.edit(oxygen3, "0.25 bar")
	s.wantPassed([]string{"-a"})
	// And forth again needs a new one, although the old one leads there.
	s.edit(oxygen3, "0.27 bar")
	s.wantStopped([]string{"-a"}, "no-reason")
}

func TestFirstCommit(t *testing.T) {
	s := newShop(t)
	s.Run("checkout", "-q", "--orphan", "fresh")
	s.edit(oxygen3, "25 bar")
	s.Run("add", "-A")
	s.wantStopped(nil, "pressure-over-line")
	s.edit(oxygen3, "0.25 bar")
	s.Run("add", "-A")
	s.wantPassed(nil)
}

// git tells no hook that it amends; the last commit and the one before it both count as what a reason may start from.
func TestAmend(t *testing.T) {
	s := newShop(t)
	s.edit(oxygen3, "0.26 bar")
	s.reason()
	s.Run("add", "-A")
	s.wantPassed(nil)
	// A tweak in the amended commit, with a reason of its own from the state before.
	s.edit(oxygen3, "0.27 bar")
	s.wantStopped([]string{"-a", "--amend"}, "no-reason")
	s.reason("HEAD~1")
	s.Run("add", "-A")
	s.wantPassed([]string{"--amend"})
	// Bad values are stopped in an amended commit too, and so is a record that is amended away.
	s.edit(oxygen3, "27 bar")
	s.wantStopped([]string{"-a", "--amend"}, "pressure-over-line")
	s.Run("checkout", "-q", ".")
	s.Run("rm", "-q", "-r", "records")
	s.wantStopped([]string{"--amend"}, "record-removed", "git checkout HEAD -- records/")
	s.Run("reset", "-q", "--hard")
	// Only the message: nothing to judge.
	s.wantPassed([]string{"--amend", "-m", "said better"})
}

// Undoing an unapproved edit is a change like any other when it is a commit of its own.
func TestBackToTheCommitBefore(t *testing.T) {
	s := newShop(t)
	for _, p := range []string{"0.26 bar", "0.27 bar"} {
		s.edit(oxygen3, p)
		s.reason()
		s.Run("add", "-A")
		s.wantPassed(nil)
	}
	s.edit(oxygen3, "0.26 bar")
	s.wantStopped([]string{"-a"}, "no-reason")
}

func TestCommitPath(t *testing.T) {
	s := newShop(t)
	s.edit(oxygen3, "0.27 bar")
	record := s.reason()
	s.Run("add", record)
	// git commit FILE leaves out what else is staged.
	out := s.wantStopped([]string{oxygenSet}, "no-reason", "fettle save", "git commit", record, oxygenSet)
	// The command that is printed does it.
	var add, commit []string
	for line := range strings.Lines(out) {
		if args := strings.Fields(line); len(args) > 2 && args[0] == "git" && args[1] == "add" {
			add = args[1:]
		} else if len(args) > 2 && args[0] == "git" && args[1] == "commit" {
			commit = args[2:]
		}
	}
	if add != nil {
		s.Run(add...)
	}
	s.wantPassed(commit)
	if out := s.Run("show", "--stat", "--format=", "HEAD"); !strings.Contains(out, "carbon-steel-oxygen.json") || strings.Count(out, "|") != 2 {
		t.Errorf("committed:\n%s", out)
	}
}

func TestCommitAll(t *testing.T) {
	s := newShop(t)
	s.edit(oxygen3, "0.27 bar")
	record := s.reason() // untracked: git commit -a leaves it out
	s.wantStopped([]string{"-a"}, "no-reason", "git add "+record, "git commit "+record+" "+oxygenSet)
	s.Run("add", record)
	s.wantPassed([]string{"-a"})
}

func TestReasonWithoutItsEdit(t *testing.T) {
	s := newShop(t)
	s.edit(oxygen3, "0.27 bar")
	record := s.reason()
	s.Run("add", record)
	s.wantStopped(nil, record+" is for an edit of "+oxygen3+" that is not part of this commit", "git commit "+record+" "+oxygenSet)
	s.Run("checkout", "-q", oxygenSet)
	// The edit is nowhere: the reason is only history.
	s.wantPassed(nil)
}

// What is judged is what will be committed, not what lies on disk.
func TestPartialCommits(t *testing.T) {
	t.Run("bad edit unstaged", func(t *testing.T) {
		s := newShop(t)
		s.edit(oxygen3, "0.27 bar")
		s.reason()
		s.Run("add", "-A")
		s.edit(oxygen6, "35 bar")
		s.wantPassed(nil)
		if got := s.pressure("HEAD", oxygen6); got == "35 bar" {
			t.Errorf("saved %s", got)
		}
	})
	t.Run("bad edit staged and mended on disk", func(t *testing.T) {
		s := newShop(t)
		s.edit(oxygen3, "27 bar")
		s.Run("add", "-A")
		s.edit(oxygen3, "0.25 bar")
		s.wantStopped(nil, "27 bar", "pressure-over-line")
	})
	t.Run("bad edit staged, another file named", func(t *testing.T) {
		s := newShop(t)
		s.edit(oxygen3, "27 bar")
		s.Write("notes.txt", "x")
		s.Run("add", "-A")
		s.wantPassed([]string{"notes.txt"})
		s.wantStopped(nil, "pressure-over-line")
	})
	t.Run("one hunk of two", func(t *testing.T) {
		s := newShop(t)
		s.edit(oxygen3, "0.27 bar")
		record := s.reason()
		s.edit(oxygen6, "35 bar")
		s.Run("add", record)
		// git commit -p asks hunk by hunk and works on an index of its own.
		cmd := s.Command("commit", "-q", "-p", "-m", "one hunk")
		cmd.Stdin = strings.NewReader("y\nn\n")
		out, err := cmd.CombinedOutput()
		if err != nil {
			t.Fatalf("%v\n%s", err, out)
		}
		if got := s.pressure("HEAD", oxygen3) + ", " + s.pressure("HEAD", oxygen6); got != "0.27 bar, 0.31 bar" {
			t.Errorf("saved %s", got)
		}
		cmd = s.Command("commit", "-q", "-p", "-m", "the other")
		cmd.Stdin = strings.NewReader("y\n")
		if out, err = cmd.CombinedOutput(); err == nil || !strings.Contains(string(out), "pressure-over-line") {
			t.Errorf("not stopped: %s", out)
		}
	})
	t.Run("announced only", func(t *testing.T) {
		s := newShop(t)
		s.Write("sets/bay-2/new.json", "{ no json")
		s.Run("add", "-N", "sets/bay-2/new.json")
		s.Write("notes.txt", "x")
		s.Run("add", "notes.txt")
		s.wantPassed(nil)
	})
}

func TestBrokenFileStopped(t *testing.T) {
	s := newShop(t)
	text := s.Read(oxygenSet)
	for name, bad := range map[string]string{
		"syntax":    text[:len(text)/2],
		"empty":     "",
		"duplicate": strings.Replace(text, `"3 mm"`, `"2 mm"`, 1),
		"unknown":   strings.Replace(text, `"standoff"`, `"stand_off"`, 1),
		"kind":      strings.Replace(text, `"condition-set"`, `"machine"`, 1),
	} {
		t.Run(name, func(t *testing.T) {
			s.Write(oxygenSet, bad)
			s.Run("add", "-A")
			s.wantStopped(nil, oxygenSet+":")
		})
	}
	s.Write(oxygenSet, text)
	s.Remove("machines/bay-2.json")
	s.Run("add", "-A")
	s.wantStopped(nil, "bay-2")
}

// A second file that holds a condition once more is found, although the report is on the file that was there before.
func TestDuplicateAcrossFiles(t *testing.T) {
	s := newShop(t)
	s.Run("rm", "-q", "-r", "records")
	s.Run("commit", "-q", "--no-verify", "-m", "no baseline")
	s.Write("sets/bay-2/another.json", s.Read(oxygenSet))
	s.Run("add", "-A")
	s.wantStopped(nil, "duplicate-condition", oxygenSet+":")
}

func TestBrokenBeforeAdoption(t *testing.T) {
	s := newShop(t)
	s.Run("rm", "-q", "-r", "records")
	s.commit("--no-verify")
	text := s.Read(oxygenSet)
	s.Write(oxygenSet, text[:len(text)/2])
	s.wantStopped([]string{"-a"}, "[syntax]")
	s.Write(oxygenSet, text)
	s.edit(oxygen3, "0.27 bar")
	s.wantPassed([]string{"-a"}) // no reason before there is a baseline
}

func TestSettingsLoosenNothing(t *testing.T) {
	s := newShop(t)
	settings := s.Read("fettle.json")
	s.edit(oxygen3, "0.27 bar")
	for name, loose := range map[string]string{
		"policy": strings.Replace(settings, `"reason": "require"`, `"reason": "off"`, 1),
		"rule":   strings.Replace(settings, `"policy": {`, `"rules": {"no-reason": {"severity": "off"}}, "policy": {`, 1),
	} {
		t.Run(name, func(t *testing.T) {
			if loose == settings {
				t.Fatal("no such setting")
			}
			s.Write("fettle.json", loose)
			s.Run("add", "-A")
			s.wantStopped(nil, "no-reason")
		})
	}
	s.Write("fettle.json", strings.Replace(settings, `"policy": {`, `"rules": {"record-removed": {"severity": "off"}}, "policy": {`, 1))
	s.Run("checkout", "-q", "HEAD", oxygenSet)
	s.Run("rm", "-q", "-r", "records")
	s.Run("add", "-A")
	s.wantStopped(nil, "record-removed")
	s.Run("reset", "-q", "--hard")
	s.Run("rm", "-q", "--cached", "fettle.json")
	s.wantStopped(nil, "fettle.json is gone")
}

func TestRecords(t *testing.T) {
	adoption := func(s *shop) string { return strings.TrimSpace(s.Run("ls-files", "records")) }
	t.Run("altered", func(t *testing.T) {
		s := newShop(t)
		p := adoption(s)
		s.Write(p, strings.Replace(s.Read(p), mara, jonas, 1))
		s.Run("add", "-A")
		s.wantStopped(nil, "record-altered", "git checkout HEAD -- "+p)
	})
	t.Run("altered past the check and put back", func(t *testing.T) {
		s := newShop(t)
		p := adoption(s)
		text := s.Read(p)
		s.Write(p, strings.Replace(text, mara, jonas, 1))
		s.Run("commit", "-q", "-a", "--no-verify", "-m", "past the check")
		s.Write(p, strings.Replace(text, mara, "iris@northgate.example", 1))
		s.wantStopped([]string{"-a"}, "record-altered")
		s.Run("rm", "-q", "-f", p)
		s.wantStopped(nil, "record-removed")
		s.Run("reset", "-q", "--hard")
		s.Run("checkout", "HEAD~1", "--", p)
		s.wantPassed(nil)
		if s.Read(p) != text {
			t.Error("it is not as it was")
		}
	})
	t.Run("removed", func(t *testing.T) {
		s := newShop(t)
		p := adoption(s)
		s.Run("rm", "-q", p)
		s.wantStopped(nil, "record-removed", "git checkout HEAD -- "+p)
		s.Run("checkout", "HEAD", "--", p) // what it says is what helps
		s.wantPassed([]string{"--allow-empty"})
	})
	t.Run("moved", func(t *testing.T) {
		s := newShop(t)
		s.Run("mv", adoption(s), "records/x.json")
		s.wantStopped(nil, "record-removed")
	})
	t.Run("of another library", func(t *testing.T) {
		s := newShop(t)
		s.edit(oxygen3, "0.27 bar")
		p := s.reason()
		r := strings.Replace(s.Read(p), libraryName, strings.Repeat("ab", 16), 1)
		s.Remove(p)
		s.Write(p, r)
		s.Run("add", "-A")
		s.wantStopped(nil, "no-reason", p)
	})
	t.Run("no record at all", func(t *testing.T) {
		s := newShop(t)
		s.Write("records/notes.txt", "hello")
		s.Run("add", "-A")
		s.wantStopped(nil, "records/notes.txt:1")
	})
	t.Run("own approval", func(t *testing.T) {
		s := newShop(t)
		s.edit(oxygen3, "0.27 bar")
		s.reason()
		s.Run("add", "-A")
		s.wantPassed(nil)
		p := s.approve(oxygen3, mara)
		s.Run("add", "-A")
		s.wantStopped(nil, "own-approval", mara, "fettle undo")
		s.Run("rm", "-q", "-f", p)
		s.approve(oxygen3, jonas)
		s.Run("add", "-A")
		s.wantPassed(nil)
	})
	t.Run("forged approval", func(t *testing.T) {
		s := newShop(t)
		s.edit(oxygen3, "0.27 bar")
		s.reason()
		s.Run("add", "-A")
		s.wantPassed(nil)
		p := s.approve(oxygen3, jonas)
		text := s.Read(p)
		s.Write(p, strings.Replace(text, jonas, mara, 1))
		s.Run("add", "-A")
		s.wantStopped(nil, p) // its name does not fit any more
	})
}

func TestUnreadableIsNoPass(t *testing.T) {
	s := newShop(t)
	if err := os.Symlink("/etc/hostname", s.Path("sets/bay-2/link.json")); err != nil {
		t.Skip(err)
	}
	s.Run("add", "-A")
	head := s.head()
	out, code := s.commit()
	if code == 0 || s.head() != head {
		t.Errorf("passed: %s", out)
	}
	s.wantWords(out, "sets/bay-2/link.json", "ordinary files")
	// A link that got in past the hook does not stop the commit that takes it out.
	s.Run("commit", "-q", "--no-verify", "-m", "past the hook")
	s.Run("rm", "-q", "sets/bay-2/link.json")
	s.wantPassed(nil)
}

func TestTooLargeIsNoPass(t *testing.T) {
	t.Parallel()
	s := newShop(t)
	s.Write("sets/bay-2/huge.json", "")
	if err := os.Truncate(s.Path("sets/bay-2/huge.json"), git.MaxBlob+1); err != nil {
		t.Fatal(err)
	}
	s.Run("add", "-A")
	head := s.head()
	out, code := s.commit()
	if code == 0 || s.head() != head {
		t.Errorf("passed: %s", out)
	}
	s.wantWords(out, "sets/bay-2/huge.json is larger than the 64 MB", "git rm --cached")
	// In past the hook, it stops neither an edit of something else that takes it out, nor whoever looks back later.
	s.Run("commit", "-q", "--no-verify", "-m", "past the hook")
	s.Run("rm", "-q", "sets/bay-2/huge.json")
	s.wantPassed(nil)
	s.edit(oxygen3, "0.27 bar")
	s.reason()
	s.Run("add", "-A")
	s.wantPassed(nil)
	ruling, err := hooks.JudgeRange(s.open(), "refs/heads/main", head, s.head(), hooks.GateOptions{At: s.now, Undecided: true, Render: render})
	if err != nil || ruling.Refused() {
		t.Errorf("the gate refuses what is gone again: %v", err)
	}
	if _, err := audit.Read(s.open(), "", audit.Options{}); err != nil {
		t.Errorf("the timeline: %v", err)
	}
}

func TestManyFindingsFitAScreen(t *testing.T) {
	s := newShop(t)
	s.Write(oxygenSet, strings.ReplaceAll(s.Read(oxygenSet), `"mode": "continuous"`, `"mode": "wild"`))
	s.Run("add", "-A")
	out := s.wantStopped(nil, "more: fettle lint --staged")
	if n := strings.Count(out, "\n"); n > 60 {
		t.Errorf("%d lines", n)
	}
}

// What stood before is nobody's fault who edits something else.
func TestOldErrorsDoNotStop(t *testing.T) {
	s := newShop(t)
	s.edit(oxygen6, "35 bar")
	s.reason()
	s.Run("add", "-A")
	s.Run("commit", "-q", "--no-verify", "-m", "past the hook")
	s.edit(oxygen3, "0.27 bar")
	s.reason()
	s.Run("add", "-A")
	s.wantPassed(nil)
}
