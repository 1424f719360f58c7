package main

import (
	"fmt"
	"math/rand/v2"
	"net/url"
	"strings"
	"testing"
)

// TestPagesSayWhatWholeSays: pages made of parts of the library, by one server through commits, edits and decisions of all kinds, are those
// that another makes of all of it at each moment.
func TestPagesSayWhatWholeSays(t *testing.T) {
	t.Setenv("SOURCE_DATE_EPOCH", "1793606400")
	p := &partTest{T: t, repo: sampleHistory(t)}
	commits := strings.Fields(p.repo.Run("rev-list", "--reverse", "HEAD"))
	p.repo.Run("branch", "-q", "waiting/later", "HEAD")
	near := pageBy(t, p.repo.Dir, false)
	rounds, pages := 10, 0
	if testing.Short() {
		rounds = 5
	}
	for round := range rounds {
		r := rand.New(rand.NewPCG(17, uint64(round)))
		switch round % 5 {
		case 0:
			p.repo.Run("reset", "-q", "--hard", commits[len(commits)-1-round])
			p.repo.Run("clean", "-qfd")
		case 1, 3:
			p.spoil(r)
			p.spoil(r)
		case 2:
			p.repo.Run("add", "-A")
			p.repo.Run("commit", "-q", "--no-verify", "--allow-empty", "-m", "past the check")
		case 4:
			waits := p.run(true, "review", "--format", "json")
			for _, id := range p.ids() {
				if strings.Contains(waits, `"`+id.String()+`"`) {
					p.run(true, "reject", id.String(), "--because", "no")
					break
				}
			}
		}
		whole := pageBy(t, p.repo.Dir, true)
		ids := p.ids()
		r.Shuffle(len(ids), func(i, j int) { ids[i], ids[j] = ids[j], ids[i] })
		addresses := []string{"/", "/search?q=oxygen", "/search?q=bundle", "/search?q=bay-5+12", "/subject/settings/settings", "/subject/machine/bay-2", "/machine/bay-2", "/machine/bay-9", "/condition/bay-9/air/copper/3mm"}
		for _, id := range ids[:min(5, len(ids))] {
			addresses = append(addresses, "/condition/"+id.String(), "/review/"+id.String(), "/history/"+id.String(), "/family/"+id.Family())
			if recipe := cardCodeOf(p, id.String()); recipe != "" {
				addresses = append(addresses, "/search?q="+url.QueryEscape(recipe))
			}
		}
		for _, address := range addresses {
			codeA, a := whole.get(address)
			codeB, b := near.get(address)
			plain := func(page string, of *browser) string {
				page = hiddenInput.ReplaceAllString(page, "")
				return strings.ReplaceAll(page, of.base[strings.LastIndex(of.base, "/"):], "")
			}
			if a, b := plain(a, whole), plain(b, near); codeA != codeB || a != b {
				t.Fatalf("round %d, %s: %d and by the whole %d\n%s", round, address, codeB, codeA, firstDifference(b, a))
			}
			pages++
		}
	}
	if pages < 50 {
		t.Errorf("%d pages were compared", pages)
	}
}

// cardCodeOf is the code of the card of what is in force, "" where there is none.
func cardCodeOf(p *partTest, id string) string {
	page := p.run(true, "show", id, "--format", "html")
	_, after, ok := strings.Cut(page, "<span>code of this card</span><b>")
	if !ok {
		return ""
	}
	code, _, _ := strings.Cut(after, "<")
	return code
}

// firstDifference shows where two texts part.
func firstDifference(a, b string) string {
	i := 0
	for i < min(len(a), len(b)) && a[i] == b[i] {
		i++
	}
	from := max(0, i-200)
	return fmt.Sprintf("...%s\n---\n...%s", a[from:min(len(a), i+300)], b[from:min(len(b), i+300)])
}
