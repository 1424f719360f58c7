package history

import "fettle/schema"

// chooseAnchor finds the adoption that brought the first roster. Any other one must be pinned by whoever runs this clone: else
// one forged file could hand the library to another roster.
func (s *Standing) chooseAnchor(pin string) {
	var candidates, roots []*schema.Record
	for _, d := range Bodies[*schema.Decision](s.Ledger) {
		subject := subjectOf(d.Body, rosterKey)
		if d.Record.Kind != schema.KindAdoption || s.void[d.Record.Digest] || subject == nil {
			continue
		}
		roster, why := readRoster(subject)
		if why == "" {
			_, why = s.signer(d.Record, roster)
		}
		if why != "" {
			s.refuse(d.Record, why)
			continue
		}
		candidates = append(candidates, d.Record)
		if len(d.Record.Follows.V) == 0 {
			roots = append(roots, d.Record)
		}
		if string(d.Record.Digest) == pin {
			s.Anchor = d.Record
		}
	}
	switch {
	case pin != "" && s.Anchor == nil:
		s.Trouble = "the adoption that fettle.anchor pins (" + schema.Digest(pin).Short() + ") is not among the records"
	case pin != "":
	case len(roots) == 1:
		s.Anchor = roots[0]
	case len(roots) > 1:
		s.Trouble = "there are two adoptions that know nothing of each other; pin the right one: git config fettle.anchor DIGEST"
	}
	for _, r := range candidates {
		if r != s.Anchor && s.Trouble == "" {
			s.refuse(r, "it is a second adoption of the roster; to accept it, pin it in this clone: git config fettle.anchor "+string(r.Digest))
		}
	}
}
