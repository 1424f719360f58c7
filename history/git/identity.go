package git

import (
	"strings"
)

// Identity is who commits here: the author that git would write into a commit now, from the environment (as in a hook, or
// with --author) or the configuration. Unknown is an error of kind [ErrNoIdentity] with what to type.
func (r *Repo) Identity() (name, email string, err error) {
	name, email = variable(r.shared.env, "GIT_AUTHOR_NAME"), variable(r.shared.env, "GIT_AUTHOR_EMAIL")
	if plain(name) && plain(email) {
		return name, email, nil
	}
	out, err := r.read("var", "GIT_AUTHOR_IDENT")
	if err != nil {
		return "", "", err
	}
	// NAME <MAIL> SECONDS ZONE; git lets neither < nor > into a name or an address.
	name, rest, ok := strings.Cut(strings.TrimSuffix(string(out), "\n"), " <")
	email, _, closed := strings.Cut(rest, "> ")
	if !ok || !closed || name == "" {
		return "", "", noIdentity(nil)
	}
	return name, email, nil
}

// plain says whether git would take a name or an address as it is. It cuts blanks and punctuation off both ends and
// removes angle brackets; where that may happen git is asked.
func plain(s string) bool {
	if s == "" || strings.ContainsAny(s, "<>\n") {
		return false
	}
	crud := func(c byte) bool { return c <= ' ' || strings.IndexByte(`.,:;"\'`, c) >= 0 }
	return !crud(s[0]) && !crud(s[len(s)-1])
}
