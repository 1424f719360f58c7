package hooks_test

import (
	"os"
	"strings"
	"testing"

	"fettle/history"
	"fettle/history/signature"
	"fettle/schema"
)

// A second adoption that knows nothing of the first would leave nothing in force for everybody; it is stopped where it is saved.
func TestSecondAdoptionStopped(t *testing.T) {
	s := newShop(t)
	lib := s.disk().Lib
	line, err := signature.FormatLine("ove@elsewhere.example", s.key("ove@elsewhere.example").PublicKey(), "")
	if err != nil {
		t.Fatal(err)
	}
	roster, _ := signature.ParseRoster(schema.RosterFile, []byte(line+"\n"))
	subjects := append(history.CurrentSubjects(lib)[1:], history.RosterSubject(schema.SubjectRoster, roster))
	forged := s.record(&schema.Decision{Common: s.common(schema.KindAdoption, "ove@elsewhere.example"), Subjects: schema.Of(subjects)}, "ove@elsewhere.example")
	path := s.add(forged)
	s.Run("add", "-A")
	s.wantStopped(nil, path, "nothing would be in force any more")
	for _, r := range s.saved("HEAD").Ledger.Records {
		if r.Kind == schema.KindAdoption {
			s.Run("config", "fettle.anchor", string(r.Digest)) // in a clone that knows better it does no harm
		}
	}
	s.wantPassed(nil, "counts for nothing")
}

// Where the shop asks for signed reasons, one that anybody can have typed explains nothing.
func TestUnsignedReasonStopped(t *testing.T) {
	s := newShop(t)
	settings := s.Read("fettle.json")
	s.Write("fettle.json", strings.Replace(settings, `"reason": "require"`, `"reason": "require", "signed_changes": "require"`, 1))
	s.Run("commit", "-q", "-a", "--no-verify", "-m", "sign what you say")
	s.edit(oxygen3, "0.27 bar")
	path := s.reason()
	s.Run("add", "-A")
	s.wantStopped(nil, path, "the reason is not signed by "+mara)
	r := schema.ReadRecord(path, []byte(s.Read(path)))
	if err := os.Remove(s.Dir + "/" + path); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		signer string
		passes bool
	}{{"ove@elsewhere.example", false}, {jonas, false}, {mara, true}} {
		body := *r.Body.(*schema.Reason)
		path := s.add(s.record(&body, c.signer))
		s.Run("add", "-A")
		if c.passes {
			s.wantPassed(nil)
		} else {
			s.wantStopped(nil, path, "the reason is not signed by "+mara)
		}
	}
}

// What got below records/ past the hook and is no record may go again; a record that was made unreadable may not.
func TestWhatIsNoRecordMayGo(t *testing.T) {
	s := newShop(t)
	s.Write("records/2026/notes.txt", "call Jonas\n")
	s.Run("add", "-A")
	s.wantStopped(nil, "records/2026/notes.txt")
	s.Run("commit", "-q", "--no-verify", "-m", "notes")
	s.Run("rm", "-q", "records/2026/notes.txt")
	s.wantPassed(nil)

	s.edit(oxygen3, "0.27 bar")
	path := s.reason()
	s.Run("add", "-A")
	s.wantPassed(nil)
	s.Write(path, strings.Replace(s.Read(path), `"reason"`, `"raisin"`, 1))
	s.wantStopped([]string{"-a"}, path)
	s.Run("commit", "-q", "-a", "--no-verify", "-m", "spoil it")
	s.Run("rm", "-q", path)
	s.wantStopped(nil, path, "record-removed")
}

// Names that differ in case or in how an accent is written are one file on some computers.
func TestNamesThatAreOneFileElsewhere(t *testing.T) {
	for name, c := range map[string]struct {
		files []string
		word  string
	}{
		"a part in capitals":       {[]string{"SETS/bay-2/x.json"}, "SETS is sets on Windows and macOS"},
		"records in capitals":      {[]string{"Records/2026/07/x.json"}, "Records is records"},
		"the settings in capitals": {[]string{"Fettle.json"}, "Fettle.json is fettle.json"},
		"a set in capitals":        {[]string{"sets/bay-2/Carbon-Steel-Oxygen.json"}, "it lies over " + oxygenSet},
		"only its ending":          {[]string{"sets/bay-2/carbon-steel-oxygen.JSON"}, "it lies over " + oxygenSet},
		"two of them at once":      {[]string{"sets/bay-2/new.json", "sets/bay-2/NEW.json"}, "it lies over"},
		"two ways of an accent":    {[]string{"sets/bay-2/\u00e5.json", "sets/bay-2/a\u030a.json"}, "it lies over"},
		"nothing of the kind":      {[]string{"docs/SETS.md", "sets/bay-2/readme.txt", "README"}, ""},
	} {
		t.Run(name, func(t *testing.T) {
			s := newShop(t)
			s.Write("notes", "so that something is remembered\n")
			s.Run("add", "-A")
			s.wantPassed(nil)
			empty := `{"kind": "condition-set", "format": 1, "machine": "bay-2", "material": "carbon-steel", "gas": "oxygen", "conditions": []}` + "\n"
			for _, file := range c.files {
				s.Write(file, empty)
			}
			s.Run("add", "-A")
			if c.word == "" {
				s.wantPassed(nil)
			} else {
				s.wantStopped(nil, c.word, "misplaced-file")
			}
		})
	}
}
