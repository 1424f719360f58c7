package signature

import (
	"errors"
	"strings"
	"testing"
	"unicode"

	"golang.org/x/crypto/ssh"
)

func FuzzParseRoster(f *testing.F) {
	for _, text := range []string{
		"", "#\n", "mara " + seededText(1) + "\n", "\"Mara Lind\" namespaces=\"git,f*\",valid-before=\"20271231Z\" " + seededText(2) + " c\r\n",
		"mara valid-after=\"20260230\",,cert-authority,x=\"\\\"\" ssh-rsa AAAA", "a\"b", "\"\" \x00", "\ufeffx ssh-dss y", "x y=\"", "x \\\" z",
		"mara,* " + seededText(1) + "\n!x " + seededText(1) + "\nMARA " + seededText(3),
	} {
		f.Add([]byte(text))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		r, problems := ParseRoster("f", data)
		for _, p := range problems {
			if p.Line < 1 || p.Column < 1 || p.Message == "" {
				t.Errorf("a problem nowhere: %+v", p)
			}
			if strings.ContainsFunc(p.String(), unicode.IsControl) {
				t.Errorf("control characters in %q", p)
			}
		}
		for i := range r.Lines {
			if _, err := r.Find(r.Lines[i].Key, signedAt); len(problems) > 0 && !errors.Is(err, ErrUnsound) {
				t.Errorf("an unsound roster answers %v", err)
			}
		}
		// What was read means the same when it is written down.
		canonical := strings.Join(r.Canonical(), "\n")
		again, problems := ParseRoster("f", []byte(canonical))
		if len(problems) > 0 || strings.Join(again.Canonical(), "\n") != canonical {
			t.Errorf("%q is read as %q, %v", canonical, again.Canonical(), problems)
		}
	})
}

func FuzzVerify(f *testing.F) {
	key := seeded(1)
	armored := mustSign(f, NewSigner(key), testMessage)
	raw, err := unarmor(armored)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(raw)
	var w wire
	if err := ssh.Unmarshal(raw, &w); err != nil {
		f.Fatal(err)
	}
	for _, key := range [][]byte{
		ssh.Marshal(struct {
			Type string
			E, N []byte
		}{"ssh-rsa", []byte{3}, append([]byte{0}, make([]byte, 256)...)}),
		ssh.Marshal(struct {
			Type, Curve string
			Point       []byte
		}{"ecdsa-sha2-nistp256", "nistp256", append([]byte{4}, make([]byte, 64)...)}),
		ssh.Marshal(struct {
			Type        string
			Public      []byte
			Application string
		}{"sk-ssh-ed25519@openssh.com", make([]byte, 32), "ssh:"}),
	} {
		c := w
		c.Key = key
		f.Add(ssh.Marshal(c))
	}
	r := mustRoster(f, "mara "+seededText(1)+"\n")
	f.Fuzz(func(t *testing.T, data []byte) {
		for _, text := range []string{string(data), armor(data)} {
			who, err := Verify(r, testMessage, text, signedAt)
			if got, _ := unarmor(text); err == nil && string(got) != string(raw) {
				t.Errorf("accepted, though changed: %q", text)
			}
			if err == nil && who.Principal != "mara" {
				t.Errorf("signed by %q", who.Principal)
			}
			if strings.ContainsFunc(errorText(err), unicode.IsControl) {
				t.Errorf("control characters in %q", err)
			}
		}
	})
}

func errorText(err error) string {
	if err == nil {
		return ""
	}
	return err.Error()
}
