package gittest

import (
	"fmt"
	"os"
	"testing"

	"golang.org/x/sys/unix"
)

// Terminal opens both ends of a pseudo-terminal of 80 columns, and skips the test where the computer has none.
func Terminal(t testing.TB) (person, terminal *os.File) {
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
		if errIoctl == nil {
			errIoctl = unix.IoctlSetWinsize(int(fd), unix.TIOCSWINSZ, &unix.Winsize{Row: 40, Col: 80})
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
