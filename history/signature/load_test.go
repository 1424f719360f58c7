package signature

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// agentFor starts an ssh-agent for this test and adds keys to it.
func agentFor(t *testing.T, keys ...string) {
	t.Helper()
	for _, name := range []string{"ssh-agent", "ssh-add"} {
		if _, err := exec.LookPath(name); err != nil {
			t.Skip(name + " is not installed: install OpenSSH's client")
		}
	}
	dir, err := os.MkdirTemp("", "agent") // a socket's path must be short
	if err != nil {
		t.Fatal(err)
	}
	socket := filepath.Join(dir, "s")
	cmd := exec.Command("ssh-agent", "-D", "-a", socket)
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
		os.RemoveAll(dir)
	})
	if _, err := out.Read(make([]byte, 1)); err != nil { // it speaks once it listens
		t.Fatalf("ssh-agent did not start: %v", err)
	}
	t.Setenv("SSH_AUTH_SOCK", socket)
	for _, key := range keys {
		addToAgent(t, key)
	}
}

func addToAgent(t *testing.T, args ...string) {
	t.Helper()
	if out, err := exec.Command("ssh-add", append([]string{"-q"}, args...)...).CombinedOutput(); err != nil {
		t.Fatalf("ssh-add %v: %v: %s", args, err, out)
	}
}

// signsAs checks that the key of ref signs, and that ssh-keygen takes the signature.
func signsAs(t *testing.T, ref, path, place string) {
	t.Helper()
	s, err := Load(ref)
	if err != nil {
		t.Fatalf("Load(%q): %v", ref, err)
	}
	if !strings.Contains(s.Describe(), place) {
		t.Errorf("Load(%q) is %q, want %q in it", ref, s.Describe(), place)
	}
	if !sameKey(s.PublicKey(), publicOf(t, path)) {
		t.Errorf("Load(%q) is another key, %s", ref, s.Describe())
	}
	armored := mustSign(t, s, testMessage)
	if err := opensshVerify(t, "mara "+publicText(s.PublicKey())+"\n", "mara", testMessage, armored, signedAt); err != nil {
		t.Errorf("ssh-keygen refuses what %s signed: %v", s.Describe(), err)
	}
}

func TestLoadFromAgent(t *testing.T) {
	needKeygen(t)
	for _, name := range []string{"ed25519", "rsa-2048", "ecdsa-384"} {
		t.Run(name, func(t *testing.T) {
			path := newKey(t, keyKinds[name]...)
			agentFor(t, path)
			if err := os.Rename(path, path+".away"); err != nil {
				t.Fatal(err)
			}
			text := strings.TrimSpace(contents(t, path+".pub"))
			const place = "held by the ssh-agent"
			signsAs(t, path+".pub", path, place)
			signsAs(t, "key::"+text, path, place)
			signsAs(t, "key::"+strings.TrimSuffix(text, " test"), path, place)
			if strings.HasPrefix(text, "ssh-") {
				signsAs(t, text, path, place)
			}
			s, err := Load(path + ".pub")
			if err != nil {
				t.Fatal(err)
			}
			addToAgent(t, "-d", path+".pub")
			if _, err := s.Sign(testMessage); err == nil || !strings.Contains(err.Error(), "ssh-add") {
				t.Errorf("the key was taken out of the agent, and signing says %v", err)
			}
			if _, err := Load(path + ".pub"); err == nil || !strings.Contains(err.Error(), "does not hold the key; load it there with ssh-add") {
				t.Errorf("the key is nowhere, and Load says %v", err)
			}
		})
	}
}

func TestLoadFromFiles(t *testing.T) {
	needKeygen(t)
	path := newKey(t, "-t", "ed25519")
	signsAs(t, path, path, "file "+path)
	signsAs(t, path+".pub", path, "file "+path)
	signsAs(t, "  "+path+"\n", path, "file "+path)
	t.Setenv("HOME", filepath.Dir(path))
	signsAs(t, "~/key", path, "file "+path)
	signsAs(t, "~/key.pub", path, "file "+path)
	if err := os.Rename(path+".pub", path+".away"); err != nil {
		t.Fatal(err)
	}
	if s, err := Load(path); err != nil || s.Describe() == "" {
		t.Errorf("without its public half: %v", err)
	}
}

func TestLoadSaysWhatToDo(t *testing.T) {
	needKeygen(t)
	dir := t.TempDir()
	file := func(name, text string) string {
		path := filepath.Join(dir, name)
		write(t, path, text)
		return path
	}
	pair := newKey(t, "-t", "ed25519")
	other := newKey(t, "-t", "ed25519")
	write(t, other+".pub", contents(t, pair+".pub"))
	open := newKey(t, "-t", "ed25519")
	if err := os.Chmod(open, 0o640); err != nil {
		t.Fatal(err)
	}
	short := newKey(t, "-t", "rsa", "-b", "1024")
	pem := newKey(t, "-t", "rsa", "-b", "2048", "-m", "PEM")
	if _, err := keygen(t, nil, "-q", "-p", "-P", "", "-N", "secret", "-m", "PEM", "-f", pem); err != nil {
		t.Fatal(err)
	}
	if err := os.Remove(pem + ".pub"); err != nil {
		t.Fatal(err)
	}
	private := contents(t, pair)
	for name, c := range map[string]struct{ ref, want string }{
		"nothing":                {"", "user.signingkey"},
		"blank":                  {" \n", "user.signingkey"},
		"no such file":           {filepath.Join(dir, "none"), "no such file"},
		"a directory":            {dir, "not a file"},
		"home of another":        {"~jonas/key", "write the whole path"},
		"a text":                 {file("text", "hello\n"), "holds no SSH key"},
		"an empty file":          {file("empty", ""), "holds no SSH key"},
		"a file too large":       {file("large", strings.Repeat("x", 1<<20)), "too large"},
		"a certificate of a web": {file("web", "-----BEGIN CERTIFICATE-----\nAAAA\n-----END CERTIFICATE-----\n"), "holds no SSH key"},
		"half a private key":     {file("half", private[:200]), "holds no SSH key"},
		"a damaged private key":  {file("damaged", strings.Replace(private, "AAAAB", "AAAAA", 1)), "make a new one"},
		"open to others":         {open, "chmod 600 " + open},
		"short RSA":              {short, "1024 bits is too weak"},
		"public and not beside":  {file("alone.pub", seededText(5)), "its private half is not beside it"},
		"public by another name": {file("bare", seededText(5)), "it is a public key"},
		"another private half":   {other + ".pub", "the private key beside it is another one"},
		"locked PEM, no public":  {pem, "ssh-keygen -y -f " + pem},
		"literal, no agent":      {"key::" + seededText(5), "no ssh-agent is running (SSH_AUTH_SOCK); load it there with ssh-add"},
		"literal, bare":          {seededText(5), "no ssh-agent is running"},
		"literal, cut off":       {"key::ssh-ed25519 AAAA", "paste the line of the .pub file again"},
		"literal, no key":        {"key::", "not a public key"},
		"literal, two lines":     {"key::" + seededText(5) + "\n" + seededText(6), "give one key"},
		"public, cut off":        {file("cut.pub", "ssh-ed25519 AAAAC3Nz\n"), "paste the line of the .pub file again"},
	} {
		t.Run(name, func(t *testing.T) {
			s, err := Load(c.ref)
			if err == nil {
				t.Fatalf("loaded %s", s.Describe())
			}
			if !strings.Contains(err.Error(), c.want) {
				t.Errorf("says %q, want %q in it", err, c.want)
			}
			if strings.Contains(err.Error(), "ssh: ") {
				t.Errorf("shows where a library failed: %q", err)
			}
		})
	}
}

func TestAgentThatIsGone(t *testing.T) {
	t.Setenv("SSH_AUTH_SOCK", filepath.Join(t.TempDir(), "gone"))
	if _, err := Load("key::" + seededText(5)); err == nil || !strings.Contains(err.Error(), "no ssh-agent is running") {
		t.Errorf("says %v", err)
	}
}
