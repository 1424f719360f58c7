package signature

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// A person types the passphrase on a terminal, while input and output of the program are pipes, as under a git hook.
func TestLockedKeyAsksOnTheTerminal(t *testing.T) {
	needKeygen(t)
	path := lockedKey(t, "mild steel", "-t", "ed25519")
	person, terminal := openPair(t)
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

// openPair opens both ends of a pseudo-terminal.
func openPair(t *testing.T) (person, terminal *os.File) {
	t.Helper()
	person, err := os.OpenFile("/dev/ptmx", os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Skipf("this computer has no pseudo-terminals: %v", err)
	}
	t.Cleanup(func() { person.Close() })
	raw, err := person.SyscallConn()
	if err != nil {
		t.Fatal(err)
	}
	var number int
	var errIoctl error
	err = raw.Control(func(fd uintptr) {
		if errIoctl = unix.IoctlSetPointerInt(int(fd), unix.TIOCSPTLCK, 0); errIoctl == nil {
			number, errIoctl = unix.IoctlGetInt(int(fd), unix.TIOCGPTN)
		}
	})
	if err != nil || errIoctl != nil {
		t.Fatal(err, errIoctl)
	}
	terminal, err = os.OpenFile(fmt.Sprintf("/dev/pts/%d", number), os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Fatal(err)
	}
	return person, terminal
}
