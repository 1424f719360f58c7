package signature

import (
	"bytes"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"

	"golang.org/x/crypto/ssh"
)

// Load finds the key that ref names and a way to sign with it. ref is written as git's user.signingkey (git-config(1)):
//
//	~/.ssh/id_ed25519            a private key; if it has a passphrase the ssh-agent is asked first, then ssh-keygen
//	~/.ssh/id_ed25519.pub        a public key; its private half is in the ssh-agent, or in the file beside it
//	key::ssh-ed25519 AAAA…       a public key itself; its private half is in the ssh-agent
//	ssh-ed25519 AAAA…            likewise
//
// Loading asks nobody anything: a passphrase or a touch is asked for when something is signed, and refused then if there is no
// terminal to ask on. Errors say what to do.
func Load(ref string) (Signer, error) { return Loader{}.Load(ref) }

// A Loader is [Load] with settings.
type Loader struct {
	Program string // that signs in place of ssh-keygen, as git's gpg.ssh.program; "" for ssh-keygen
}

// Load is as the function of that name.
func (o Loader) Load(ref string) (Signer, error) {
	text := strings.TrimSpace(ref)
	if literal, marked := strings.CutPrefix(text, "key::"); marked || (isKeyWord(text) && strings.ContainsAny(text, " \t")) {
		key, _, err := ParseKey(literal)
		if err != nil {
			return nil, fmt.Errorf("signing key %q: %w", brief(text), err)
		}
		return o.agentOnly(key)
	}
	path, err := expand(text)
	if err != nil {
		return nil, err
	}
	s, err := o.file(path)
	if err != nil {
		return nil, fmt.Errorf("signing key %s: %w", path, err)
	}
	return s, nil
}

func expand(ref string) (string, error) {
	switch {
	case ref == "":
		return "", errors.New("no signing key is set; name one with: git config --global user.signingkey ~/.ssh/id_ed25519")
	case ref == "~" || (strings.HasPrefix(ref, "~") && ref[1] != '/' && ref[1] != filepath.Separator):
		return "", fmt.Errorf("signing key %q: only ~/ stands for your own directory here; write the whole path", brief(ref))
	case ref[0] != '~':
		return ref, nil
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return "", fmt.Errorf("signing key %q: %w", brief(ref), err)
	}
	return filepath.Join(home, ref[2:]), nil
}

func (o Loader) file(path string) (Signer, error) {
	data, err := readSmall(path)
	if err != nil {
		return nil, err
	}
	if key, _, err := ParseKey(string(data)); err == nil {
		return o.public(path, key)
	} else if word, _ := cutWord(string(data)); isKeyWord(word) {
		return nil, err
	}
	return o.private(path, data)
}

// public finds the private half of the key in the file path.
func (o Loader) public(path string, key ssh.PublicKey) (Signer, error) {
	h, err := inAgent(key)
	if err == nil {
		return h, nil
	}
	beside := strings.TrimSuffix(path, ".pub")
	if beside == path {
		return nil, fmt.Errorf("it is a public key and %w; load it there with ssh-add, or name the file of the private key", err)
	}
	data, errBeside := readSmall(beside)
	switch {
	case errors.Is(errBeside, fs.ErrNotExist) && agentByProgram():
		return o.program(path, key, true)
	case errors.Is(errBeside, fs.ErrNotExist):
		return nil, fmt.Errorf("its private half is not beside it, and %w; load it there with ssh-add, or name another key", err)
	case errBeside != nil:
		return nil, errBeside
	}
	s, err := o.private(beside, data)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", beside, err)
	}
	if !sameKey(s.PublicKey(), key) {
		return nil, fmt.Errorf("the private key beside it is another one (%s, not %s); put the pair together again", Fingerprint(s.PublicKey()), Fingerprint(key))
	}
	return s, nil
}

// private signs with the private key in the file path.
func (o Loader) private(path string, data []byte) (Signer, error) {
	block, _ := pem.Decode(data)
	if block == nil || !strings.HasSuffix(block.Type, "PRIVATE KEY") {
		return nil, errors.New("it holds no SSH key; name the file that ssh-keygen made")
	}
	if err := keptPrivate(path); err != nil {
		return nil, err
	}
	signer, err := parsePrivate(data)
	if err == nil {
		if f := keyFault(signer.PublicKey()); f != nil {
			return nil, f
		}
		return &direct{signer, "file " + path}, nil
	}
	// What cannot be used here has a passphrase, or is kept in a device: its public half says which.
	key, locked, errPublic := publicHalf(path, block)
	if errPublic != nil {
		return nil, errPublic
	}
	if f := keyFault(key); f != nil {
		return nil, f
	}
	if h, err := inAgent(key); err == nil {
		return h, nil
	}
	return o.program(path, key, locked)
}

func parsePrivate(data []byte) (signer ssh.Signer, err error) {
	defer guard(&err)
	return ssh.ParsePrivateKey(data)
}

// publicHalf reads the public key that stands in the open in OpenSSH's own format (PROTOCOL.key), else in the .pub file beside,
// and whether the private half is locked by a passphrase.
func publicHalf(path string, block *pem.Block) (key ssh.PublicKey, locked bool, err error) {
	if body, ok := bytes.CutPrefix(block.Bytes, []byte(privateMagic)); ok && block.Type == privateType {
		var head privateHead
		if err := ssh.Unmarshal(body, &head); err != nil {
			return nil, false, errors.New("the private key is damaged; restore it, or " + makeKey)
		}
		key, err = parsePublic(head.PublicKey)
		if err != nil {
			return nil, false, fmt.Errorf("the private key cannot be read (%s); %s", strings.TrimPrefix(err.Error(), "ssh: "), makeKey)
		}
		return key, head.Cipher != "none", nil
	}
	data, err := readSmall(path + ".pub")
	if err != nil {
		return nil, false, fmt.Errorf("it cannot be read without its public half; make that with: ssh-keygen -y -f %s > %s.pub", path, path)
	}
	key, _, err = ParseKey(string(data))
	if err != nil {
		return nil, false, fmt.Errorf("%s.pub: %w", path, err)
	}
	return key, true, nil
}

// agentOnly signs with a key of which only the public half is known.
func (o Loader) agentOnly(key ssh.PublicKey) (Signer, error) {
	h, err := inAgent(key)
	switch {
	case err == nil:
		return h, nil
	case errors.Is(err, errNoAgent) && agentByProgram():
		return o.program("", key, false)
	}
	return nil, fmt.Errorf("signing key %s: %w; load it there with ssh-add, or name the file of the private key", Fingerprint(key), err)
}

// keptPrivate refuses a private key that others can read, as ssh-keygen does.
func keptPrivate(path string) error {
	if runtime.GOOS == "windows" { // has no such bits
		return nil
	}
	info, err := os.Stat(path)
	if err != nil {
		return err
	}
	if mode := info.Mode().Perm(); mode&0o077 != 0 {
		return fmt.Errorf("others on this computer can read the private key (%04o); first do: chmod 600 %s", mode, path)
	}
	return nil
}

// readSmall reads a file that should be a key.
func readSmall(path string) ([]byte, error) {
	info, err := os.Stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, fmt.Errorf("there is no such file: %w", fs.ErrNotExist)
	case err != nil:
		return nil, err
	case !info.Mode().IsRegular():
		return nil, errors.New("it is not a file")
	case info.Size() > longestArmor:
		return nil, errors.New("it is too large for a key")
	}
	return os.ReadFile(path)
}
