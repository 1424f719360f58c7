//go:build unix

package signature

import (
	"bytes"
	"encoding/pem"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"golang.org/x/crypto/ssh"
)

// lockedKey makes a key with a passphrase.
func lockedKey(t *testing.T, passphrase string, args ...string) string {
	t.Helper()
	path := newKey(t, args...)
	if _, err := keygen(t, nil, "-q", "-p", "-P", "", "-N", passphrase, "-f", path); err != nil {
		t.Fatal(err)
	}
	return path
}

// askpass makes the program that ssh-keygen asks for passphrases where there is no terminal.
func askpass(t *testing.T, answer string) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "askpass")
	write(t, path, "#!/bin/sh\necho '"+answer+"'\n")
	if err := os.Chmod(path, 0o700); err != nil {
		t.Fatal(err)
	}
	t.Setenv("SSH_ASKPASS", path)
	t.Setenv("SSH_ASKPASS_REQUIRE", "force")
}

func TestLockedKeyAsks(t *testing.T) {
	needKeygen(t)
	askpass(t, "mild steel")
	for _, kind := range [][]string{{"-t", "ed25519"}, {"-t", "rsa", "-b", "2048", "-m", "PEM"}, {"-t", "ecdsa", "-m", "PKCS8"}} {
		t.Run(strings.Join(kind, " "), func(t *testing.T) {
			path := lockedKey(t, "mild steel", kind...)
			signsAs(t, path, path, "asks when it signs")
			signsAs(t, path+".pub", path, "asks when it signs")
		})
	}
}

func TestLockedKeyWithWrongPassphrase(t *testing.T) {
	needKeygen(t)
	askpass(t, "stainless")
	path := lockedKey(t, "mild steel", "-t", "ed25519")
	s, err := Load(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Setenv("TMPDIR", t.TempDir())
	if armored, err := s.Sign(testMessage); err == nil || !strings.Contains(err.Error(), "ssh-keygen did not sign") || armored != "" {
		t.Errorf("signed %q, %v", armored, err)
	}
	if left, _ := filepath.Glob(filepath.Join(os.TempDir(), "fettle-sign-*")); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
}

func TestLockedKeyPrefersTheAgent(t *testing.T) {
	needKeygen(t)
	askpass(t, "mild steel")
	path := lockedKey(t, "mild steel", "-t", "ed25519")
	agentFor(t, path)
	askpass(t, "nobody is asked")
	signsAs(t, path, path, "held by the ssh-agent")
}

// child signs in a process of its own, without a terminal.
func child(t *testing.T, ref string) (stdout, stderr string, err error) {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), childEnv+"="+ref)
	cmd.SysProcAttr = &syscall.SysProcAttr{Setsid: true}
	var out, said bytes.Buffer
	cmd.Stdin, cmd.Stdout, cmd.Stderr = bytes.NewReader(testMessage), &out, &said
	err = cmd.Run()
	return out.String(), said.String(), err
}

func TestLockedKeyWithoutTerminal(t *testing.T) {
	needKeygen(t)
	path := lockedKey(t, "mild steel", "-t", "ed25519")
	if out, said, err := child(t, path); err == nil || out != "" || !strings.Contains(said, "no terminal to ask for it on; load the key first with ssh-add") {
		t.Errorf("signed %q and said %q, %v", out, said, err)
	}
	askpass(t, "mild steel") // a window to ask in will do
	out, said, err := child(t, path)
	if err != nil {
		t.Fatalf("said %q, %v", said, err)
	}
	if key, err := Check(testMessage, out); err != nil || !sameKey(key, publicOf(t, path)) {
		t.Errorf("signed by %v, %v", key, err)
	}
}

// A security key needs a touch but no terminal. There is none here, so a program plays ssh-keygen and the device.
func TestSecurityKey(t *testing.T) {
	key := securityKey(t)
	dir := t.TempDir()
	path, program := filepath.Join(dir, "key"), filepath.Join(dir, "sign")
	body := append([]byte(privateMagic), ssh.Marshal(privateHead{"none", "none", "", 1, key.Marshal(), []byte("a handle only the device can read")})...)
	write(t, path, string(pem.EncodeToMemory(&pem.Block{Type: privateType, Bytes: body})))
	write(t, filepath.Join(dir, "made"), strings.ReplaceAll(bySecurityKey(t, 1), "\n", "\r\n")) // as on Windows
	write(t, program, "#!/bin/sh\nfor f; do :; done\nexec cp '"+dir+"/made' \"$f.sig\"\n")
	if err := os.Chmod(program, 0o700); err != nil {
		t.Fatal(err)
	}
	s, err := Loader{Program: program}.Load(path)
	if err != nil {
		t.Fatal(err)
	}
	if !sameKey(s.PublicKey(), key) {
		t.Errorf("loaded %s", s.Describe())
	}
	armored := mustSign(t, s, testMessage)
	if who, err := Verify(mustRoster(t, "mara "+publicText(key)), testMessage, armored, signedAt); err != nil || who.Principal != "mara" {
		t.Errorf("%+v, %v", who, err)
	}
}

func TestProgramOfOnesOwn(t *testing.T) {
	needKeygen(t)
	askpass(t, "mild steel")
	path := lockedKey(t, "mild steel", "-t", "ed25519")
	dir := t.TempDir()
	program := filepath.Join(dir, "sign")
	script := func(text string) {
		write(t, program, "#!/bin/sh\n"+text+"\n")
		if err := os.Chmod(program, 0o700); err != nil {
			t.Fatal(err)
		}
	}
	sign := func() (string, error) {
		s, err := Loader{Program: program}.Load(path)
		if err != nil {
			t.Fatal(err)
		}
		return s.Sign(testMessage)
	}

	script(`echo "$@" >"` + dir + `/args"; exec ssh-keygen "$@"`)
	if armored, err := sign(); err != nil || !strings.HasPrefix(contents(t, filepath.Join(dir, "args")), "-Y sign -n fettle -f "+path) {
		t.Errorf("signed %q, %v, called with %s", armored, err, contents(t, filepath.Join(dir, "args")))
	}
	for name, c := range map[string]struct{ script, want string }{
		"fails":               {`echo one >&2; printf 'no\033[2J luck\n\n' >&2; exit 3`, "sign did not sign: no?[2J luck"},
		"fails in silence":    {`exit 3`, "exit status 3"},
		"makes nothing":       {`exit 0`, "left no signature"},
		"makes nonsense":      {`for f; do :; done; echo hello >"$f.sig"`, "not a usable signature"},
		"signs something":     {`for f; do :; done; echo x >>"$f"; exec ssh-keygen "$@"`, "the signature just made is no good"},
		"signs for something": {`exec ssh-keygen -Y sign -n git -f "$6" "$7"`, "made for another purpose"},
	} {
		t.Run(name, func(t *testing.T) {
			script(c.script)
			if armored, err := sign(); err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("signed %q, %v, want %q", armored, err, c.want)
			}
		})
	}

	if _, err := (Loader{Program: filepath.Join(dir, "none")}).Load(path); err == nil || !strings.Contains(err.Error(), "not installed") {
		t.Errorf("without the program: %v", err)
	}
}
