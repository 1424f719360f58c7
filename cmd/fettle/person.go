package main

import (
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"strings"
	"unicode"

	"fettle/history/signature"
	"fettle/schema"
)

// spoken is a person as screens show them: mara.lind@northgate.example is Mara Lind.
func spoken(principal string) string {
	local, _, _ := strings.Cut(principal, "@")
	words := strings.FieldsFunc(local, func(r rune) bool { return r == '.' || r == '_' || r == '-' || r == ' ' })
	for i, w := range words {
		first := []rune(w)
		first[0] = unicode.ToUpper(first[0])
		words[i] = string(first)
	}
	if len(words) == 0 {
		return principal
	}
	return clean(strings.Join(words, " "))
}

// rosterNames are the persons of the files approvers and people, as they lie on disk.
func rosterNames(lib *schema.Library) []string {
	var names []string
	for _, data := range [][]byte{lib.Roster, lib.People} {
		roster, _ := signature.ParseRoster("", data)
		for _, name := range roster.Principals() {
			if !contains(names, name) {
				names = append(names, name)
			}
		}
	}
	return names
}

func contains(list []string, name string) bool {
	for _, have := range list {
		if strings.EqualFold(have, name) {
			return true
		}
	}
	return false
}

// person is who acts: --by, or whoever git says sits here. A name that neither people nor approvers holds is a claim, and
// screens say so.
func (s *shop) person(lib *schema.Library) (string, error) {
	known := rosterNames(lib)
	if s.by != "" {
		var fits []string
		for _, name := range known {
			if strings.EqualFold(name, s.by) || strings.EqualFold(spoken(name), s.by) {
				return name, nil
			}
			if strings.HasPrefix(strings.ToLower(name), strings.ToLower(s.by)) {
				fits = append(fits, name)
			}
		}
		if len(fits) == 1 {
			return fits[0], nil
		}
		return "", troublef("Known here: "+strings.Join(known, ", "), "--by %s fits %d of the names in people and approvers", s.by, len(fits))
	}
	name, email, err := s.repo.Identity()
	if err != nil {
		return "", err
	}
	for _, have := range known {
		if strings.EqualFold(have, email) || strings.EqualFold(have, name) {
			return have, nil
		}
	}
	return email, nil
}

// signer is the key that decisions are signed with: with --by that person's own at this PC, else fettle.signingKey of this clone, else
// git's own user.signingKey.
func (s *shop) signer() (signature.Signer, error) {
	settings := []string{"fettle.signingkey", "user.signingkey"}
	if s.by != "" {
		if owner, err := s.keyOwner(); err == nil {
			settings = slices.Insert(settings, 0, ownKeySetting(owner))
		}
	}
	for _, key := range settings {
		ref, ok, err := s.repo.Config(key)
		if err != nil {
			return nil, err
		}
		if !ok || ref == "" {
			continue
		}
		signer, err := signature.Load(ref)
		if errors.Is(err, fs.ErrNotExist) {
			err = fmt.Errorf("there is no file %s; a decision is signed with an SSH key, and not with one of GPG", clean(ref))
		}
		if err != nil {
			return nil, troublef("Make one for fettle alone: fettle init --key   (git's own setting stays as it is)", "your signing key, in git's setting %s, cannot be used: %w", key, err)
		}
		return signer, nil
	}
	return nil, troublef("Make one: fettle init --key\nOr use one you have: git config --global user.signingKey ~/.ssh/id_ed25519.pub", "you have no signing key, and a decision is signed")
}

// notAllowed refuses somebody whose key the roster does not know, or not for this.
func notAllowed(what string, roster *signature.Roster, err error) error {
	why := err.Error()
	help := ""
	if roster != nil {
		help = "Who may: " + people(roster.Principals())
	}
	if errors.Is(err, signature.ErrNotInRoster) {
		why = "your key is not in the file approvers"
		help += "\nTo become one of them: fettle init --key prints your line for that file; somebody of them adds it, saves, and decides: fettle approve roster"
	}
	return refusef(help, "you may not %s here: %s", what, why)
}

// notTheirs refuses a key under another name than that of who acts.
func notTheirs(principal, by string) error {
	return refusef("Under your own name: --by "+principal+"\nWith a key of their own at this PC: fettle init --key --by "+by, "the key is %s's and the name %s", spoken(principal), by)
}
