package signature

import (
	"bytes"
	"os"
	"os/exec"
	"strings"
	"syscall"
	"testing"
	"time"

	"fettle/history/git/gittest"
)

// A person types the passphrase on a terminal, while input and output of the program are pipes, as under a git hook.
func TestLockedKeyAsksOnTheTerminal(t *testing.T) {
	needKeygen(t)
	path := lockedKey(t, "mild steel", "-t", "ed25519")
	person, terminal := gittest.Terminal(t)
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), childEnv+"="+path)
	var out, said bytes.Buffer
	cmd.Stdin, cmd.Stdout, cmd.Stderr = bytes.NewReader(testMessage), &out, &said
	cmd.ExtraFiles = []*os.File{terminal}
	cmd.SysProcAttr = &syscall.SysProcAttr{Setsid: true, Setctty: true, Ctty: 3}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	terminal.Close()

	var screen []byte
	for !bytes.Contains(screen, []byte("passphrase")) {
		buf := make([]byte, 256)
		if err := person.SetReadDeadline(time.Now().Add(30 * time.Second)); err != nil {
			t.Logf("no deadline on a terminal: %v", err)
		}
		n, err := person.Read(buf)
		screen = append(screen, buf[:n]...)
		if err != nil {
			t.Fatalf("the screen shows %q, then %v; the program said %q", screen, err, said.String())
		}
	}
	if _, err := person.WriteString("mild steel\n"); err != nil {
		t.Fatal(err)
	}
	if err := cmd.Wait(); err != nil {
		t.Fatalf("%v, said %q", err, said.String())
	}
	if key, err := Check(testMessage, out.String()); err != nil || !sameKey(key, publicOf(t, path)) {
		t.Errorf("signed by %v, %v", key, err)
	}
	if strings.Contains(said.String(), "Signing file") {
		t.Errorf("shows lines about files: %q", said.String())
	}
}
