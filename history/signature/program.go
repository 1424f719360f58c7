package signature

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"unicode"

	"golang.org/x/crypto/ssh"
)

// external signs through `ssh-keygen -Y sign`, which knows passphrases, security keys and agents of every kind.
type external struct {
	program string
	path    string // of the private key; "" to sign with what the agent holds
	key     ssh.PublicKey
	locked  bool // a passphrase is needed
}

func (o Loader) program(path string, key ssh.PublicKey, locked bool) (Signer, error) {
	name := o.Program
	if name == "" {
		name = "ssh-keygen"
	}
	program, err := exec.LookPath(name)
	if err != nil {
		return nil, fmt.Errorf("the key needs %s to sign, which is not installed (%w); install OpenSSH, or load the key with ssh-add", name, err)
	}
	return &external{program, path, key, locked}, nil
}

func (e *external) PublicKey() ssh.PublicKey { return e.key }

func (e *external) Describe() string {
	if e.path == "" {
		return describe(e.key, "held by the ssh-agent")
	}
	return describe(e.key, "file "+e.path+", asks when it signs")
}

func (e *external) Sign(message []byte) (string, error) {
	var stdin *os.File
	if terminal, err := openTerminal(); err == nil {
		defer terminal.Close()
		stdin = terminal
		if strings.HasPrefix(e.key.Type(), "sk-") {
			// ssh-keygen says so itself, but among lines about files that nobody needs to see.
			fmt.Fprintln(terminal, "Touch the security key to sign.")
		}
	} else if e.locked && !canAsk() {
		return "", fmt.Errorf("signing key %s: it has a passphrase, and there is no terminal to ask for it on; load the key first with ssh-add, or use one without passphrase", e.path)
	}

	// The message goes by file: a passphrase is asked for on a terminal only where the standard input is one.
	dir, err := os.MkdirTemp("", "fettle-sign-")
	if err != nil {
		return "", err
	}
	defer os.RemoveAll(dir)
	file := filepath.Join(dir, "message")
	if err := os.WriteFile(file, message, 0o600); err != nil {
		return "", err
	}
	args := []string{"-Y", "sign", "-n", Namespace, "-f", e.path, file}
	if e.path == "" {
		public := filepath.Join(dir, "key.pub")
		if err := os.WriteFile(public, []byte(publicText(e.key)+"\n"), 0o600); err != nil {
			return "", err
		}
		args = []string{"-Y", "sign", "-n", Namespace, "-U", "-f", public, file}
	}
	cmd := exec.Command(e.program, args...)
	var said bytes.Buffer
	cmd.Stdin, cmd.Stdout, cmd.Stderr = stdin, &said, &said
	if stdin == nil {
		cmd.Stdin = nil // a nil *os.File is not a nil reader
	}
	if err := cmd.Run(); err != nil {
		return "", fmt.Errorf("signing key %s: %s did not sign: %s", e.path, filepath.Base(e.program), reason(said.String(), err))
	}
	made, err := os.ReadFile(file + ".sig")
	if err != nil {
		return "", fmt.Errorf("signing key %s: %s left no signature: %w", e.path, filepath.Base(e.program), err)
	}
	wire, err := unarmor(strings.ReplaceAll(string(made), "\r\n", "\n"))
	if err != nil {
		return "", fmt.Errorf("signing key %s: %s: %w", e.path, filepath.Base(e.program), err)
	}
	return accept(message, armor(wire), e.key)
}

// reason keeps of what the program said the last line, which is the one that says why.
func reason(said string, err error) string {
	lines := strings.FieldsFunc(said, func(r rune) bool { return r == '\n' || r == '\r' })
	for i := len(lines) - 1; i >= 0; i-- {
		if line := strings.TrimSpace(lines[i]); line != "" {
			return plain(line)
		}
	}
	return err.Error()
}

// plain makes another program's text safe for a terminal.
func plain(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsPrint(r) {
			return r
		}
		return '?'
	}, s)
}

// openTerminal opens the terminal of this session, also where input and output are redirected.
func openTerminal() (*os.File, error) {
	if runtime.GOOS == "windows" {
		return os.OpenFile("CONIN$", os.O_RDWR, 0)
	}
	return os.OpenFile("/dev/tty", os.O_RDWR, 0)
}

// canAsk says whether ssh-keygen will ask in a window (ssh-keygen(1) and ssh(1), SSH_ASKPASS).
func canAsk() bool {
	switch strings.ToLower(os.Getenv("SSH_ASKPASS_REQUIRE")) {
	case "force":
		return true
	case "never":
		return false
	}
	return os.Getenv("DISPLAY") != "" || os.Getenv("WAYLAND_DISPLAY") != ""
}
