package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"fettle/history/git/gittest"
	"fettle/schema"
)

// A sitter is somebody at a real terminal of 80 columns: a pseudo-terminal of the system, with the program at its other end.
type sitter struct {
	t      *testing.T
	person *os.File
	screen strings.Builder
}

// waitFor reads the screen until it shows a text behind what was read before.
func (s *sitter) waitFor(text string) {
	s.t.Helper()
	from := s.screen.Len()
	buf := make([]byte, 4096)
	for !strings.Contains(s.screen.String()[from:], text) {
		if err := s.person.SetReadDeadline(time.Now().Add(time.Minute)); err != nil {
			s.t.Logf("no deadline on a terminal: %v", err)
		}
		n, err := s.person.Read(buf)
		s.screen.Write(buf[:n])
		if err != nil {
			s.t.Fatalf("nobody asks %q, %v:\n%s", text, err, s.screen.String())
		}
	}
}

// sitDown runs fettle at a terminal: each answer is typed when its question stands on the screen. It returns what the screen showed.
func sitDown(t *testing.T, dir string, talk [][2]string, args ...string) string {
	t.Helper()
	person, terminal := gittest.Terminal(t)
	program, err := exec.LookPath("fettle") // this test program under its other name
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(program, append([]string{"-C", dir}, args...)...)
	cmd.Stdin, cmd.Stdout, cmd.Stderr = terminal, terminal, terminal
	cmd.Env = append(os.Environ(), "NO_COLOR=1")
	cmd.SysProcAttr = &syscall.SysProcAttr{Setsid: true, Setctty: true}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	terminal.Close()
	s := &sitter{t: t, person: person}
	for _, turn := range talk {
		s.waitFor(turn[0])
		if _, err := person.WriteString(turn[1] + "\n"); err != nil {
			t.Fatal(err)
		}
	}
	buf := make([]byte, 4096)
	for { // the other end is shut when the program ends
		n, err := person.Read(buf)
		s.screen.Write(buf[:n])
		if err != nil {
			break
		}
	}
	if err := cmd.Wait(); err != nil {
		t.Fatalf("fettle %v: %v\n%s", args, err, s.screen.String())
	}
	return strings.ReplaceAll(s.screen.String(), "\r\n", "\n")
}

// holdsTo80 holds each line of a screen to its width; what is typed shows there, too. A command to type stays
// whole, since it could not be copied in two.
func holdsTo80(t *testing.T, screen string) {
	t.Helper()
	for line := range strings.SplitSeq(screen, "\n") {
		if len([]rune(line)) > 80 && !strings.HasPrefix(strings.TrimSpace(line), "fettle ") {
			t.Errorf("%d columns: %s", len([]rune(line)), line)
		}
	}
}

// TestTriageWalkedOnATerminal: the checks one by one at a terminal of 80 columns. What was ruled out comes back in the next reason, and
// what was found is on record with what was ruled out before.
func TestTriageWalkedOnATerminal(t *testing.T) {
	dir, _ := seatedShop(t)
	const question = "good, found it, skip or quit? [g/f/s/q]: "
	screen := sitDown(t, dir, [][2]string{{"Enter for none): ", "feed=90%"}, {"[y/n/s]: ", "n"}, {question, "g"}, {question, "what?"}, {question, "s"}, {question, "good"}, {question, "q"}},
		"triage", "bay-2/carbon-steel/oxygen/10mm", "--symptom", "dross", "--walk")
	holdsTo80(t, screen)
	for _, says := range []string{"feed 90 %: set it to 100 % and cut one part first", "check 1 of 18\n  1  loaded condition", "check 3 of 18\n", "Class 4 laser beam",
		"ruled out override, loaded-condition, nozzle-centring\n", "kept for the next reason"} {
		if !strings.Contains(screen, says) {
			t.Errorf("nobody says %q:\n%s", says, screen)
		}
	}

	screen = sitDown(t, dir, [][2]string{{"Enter for none): ", ""}, {question, "g"}, {question, "f"}, {"in your own words: ", "bore oval after a crash"}},
		"triage", "bay-2/carbon-steel/oxygen/12mm", "--symptom", "dross", "--walk")
	holdsTo80(t, screen)
	paths, err := filepath.Glob(filepath.Join(dir, "records", "*", "*", "*-cause-*.json"))
	if err != nil || len(paths) != 1 {
		t.Fatal(paths, err)
	}
	data, err := os.ReadFile(paths[0])
	if err != nil {
		t.Fatal(err)
	}
	cause := schema.ReadRecord("", data).Body.(*schema.Cause)
	if cause.Found.V != "nozzle-wear" || cause.Text.V != "bore oval after a crash" || strings.Join(cause.RuledOut.V, " ") != "loaded-condition" || cause.Symptom.V[0] != "dross" {
		t.Errorf("%s", data)
	}

	// Without the walk the whole page fits, too, and says how to walk. A cause that is named without words asks for them.
	screen = sitDown(t, dir, nil, "triage", "bay-2/carbon-steel/oxygen/10mm", "--symptom", "dross,one-sided", "--all")
	holdsTo80(t, screen)
	if !strings.Contains(screen, "add --walk") || !strings.Contains(screen, "it was it once on bay-2") {
		t.Errorf("%s", screen)
	}
	screen = sitDown(t, dir, [][2]string{{"in your own words: ", "window foggy"}}, "triage", "bay-2/carbon-steel/oxygen/6mm", "--symptom", "dross", "--found", "protective-window")
	if !strings.Contains(screen, "found    protective-window") {
		t.Errorf("%s", screen)
	}
}
