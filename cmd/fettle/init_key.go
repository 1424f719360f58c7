package main

import (
	"bufio"
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"

	"fettle/history/signature"
	"fettle/schema"
)

// readyClone does what a clone of a library lacks. Hooks and keys do not travel with git.
func (s *shop) readyClone(f initFlags) error {
	s.say("library  %s is one already; this clone is made ready for work", s.root)
	if err := s.installHooks(); err != nil || !f.key {
		return err
	}
	key, err := s.signer()
	if err == nil && s.by != "" && !s.hasOwnKey() {
		key, err = s.makeKey() // the key at hand is that of whoever this PC belongs to
	} else if err == nil {
		s.say("key      %s", key.Describe())
	} else {
		key, err = s.makeKey()
	}
	if err != nil {
		return err
	}
	return s.introduce(key)
}

// keyOwner is the address that a key stands for in the rosters: of --by, or of whom git knows here.
func (s *shop) keyOwner() (string, error) {
	if s.by == "" {
		_, email, err := s.repo.Identity()
		return email, err
	}
	lib, err := s.work()
	if err != nil {
		return "", err
	}
	if known, err := s.person(lib); err == nil {
		return known, nil
	}
	if !strings.Contains(s.by, "@") || strings.ContainsAny(s.by, " \t,\"") {
		return "", troublef("Such as: fettle init --key --by mara.lind@shop.example", "%s is in neither people nor approvers yet, so their mail address is needed", s.by)
	}
	return s.by, nil
}

// introduce says how a key comes into the file approvers, where it is not there yet.
func (s *shop) introduce(key signature.Signer) error {
	owner, err := s.keyOwner()
	if err != nil {
		return err
	}
	line, err := signature.FormatLine(owner, key.PublicKey(), "")
	if err != nil {
		return err
	}
	work, err := s.work()
	if err != nil {
		return err
	}
	if work.Roster == nil {
		if err := s.write(schema.RosterFile, []byte(line+"\n")); err != nil {
			return err
		}
		s.say("         approvers names %s as the one who may approve; next: fettle save", spoken(owner))
		return nil
	}
	roster, _ := signature.ParseRoster(schema.RosterFile, work.Roster)
	if principal, err := roster.Find(key.PublicKey(), s.now()); err == nil {
		s.say("         approvers has it: it decides as %s", spoken(principal))
		return nil
	}
	if s.terminal && s.addNow(owner) {
		roster := append(bytes.TrimRight(slices.Clone(work.Roster), "\n"), "\n"+line+"\n"...)
		if err := s.write(schema.RosterFile, roster); err != nil {
			return err
		}
		s.say("added    a line to approvers; it counts once somebody who may has decided on it")
		s.say("next     fettle save, then fettle approve roster")
		return nil
	}
	s.say("         it is not in approvers. To approve, let somebody who is add this line there, save it, and decide (fettle approve roster):")
	s.copyable(line)
	return nil
}

func (s *shop) addNow(owner string) (yes bool) {
	q := &questions{s, bufio.NewReader(s.in)}
	q.ask("Add "+spoken(owner)+" to the file approvers now?", "yes", func(answer string) string {
		yes = strings.HasPrefix(strings.ToLower(answer), "y")
		return ""
	})
	return yes
}

// ownKeySetting is where this clone notes the key of somebody who works here with --by.
func ownKeySetting(principal string) string { return "fettle." + principal + ".signingkey" }

// hasOwnKey reports whether who acts by --by has a key of their own at this PC.
func (s *shop) hasOwnKey() bool {
	owner, err := s.keyOwner()
	if err != nil {
		return false
	}
	_, ok, err := s.repo.Config(ownKeySetting(owner))
	return ok && err == nil
}

// makeKey makes an Ed25519 key for this person and tells this clone to sign with it.
func (s *shop) makeKey() (signature.Signer, error) {
	home, err := os.UserHomeDir()
	if err != nil {
		return nil, err
	}
	owner, err := s.keyOwner()
	if err != nil {
		return nil, err
	}
	path, setting := filepath.Join(home, ".ssh", "fettle_ed25519"), "fettle.signingKey"
	if s.by != "" {
		local, _, _ := strings.Cut(owner, "@")
		path, setting = path+"_"+plainName(local), ownKeySetting(owner)
	}
	key, err := s.keyAt(path, owner)
	if err != nil {
		return nil, err
	}
	return key, s.repo.ConfigSet(setting, path)
}

// keyAt is the key in a file, made where there is none.
func (s *shop) keyAt(path, owner string) (signature.Signer, error) {
	if _, err := os.Stat(path); err == nil {
		key, err := signature.Load(path)
		if err == nil {
			s.say("key      %s is there already and is used", path)
		}
		return key, err
	}
	key, err := signature.Generate(path, owner)
	if err != nil {
		return nil, err
	}
	s.say("key      made %s", path)
	if s.by == "" || !s.terminal {
		s.say("         it has no passphrase: anybody with this account can sign with it. To add one: ssh-keygen -p -f %s", path)
		return key, nil
	}
	s.say("         people share this PC, so it gets a passphrase that only %s knows:", spoken(owner))
	cmd := exec.Command("ssh-keygen", "-p", "-f", path)
	cmd.Stdin, cmd.Stdout, cmd.Stderr = os.Stdin, os.Stdout, os.Stderr
	if err := cmd.Run(); err != nil {
		return nil, fmt.Errorf("the key has no passphrase yet (ssh-keygen -p -f %s): %w", path, err)
	}
	return signature.Load(path)
}
