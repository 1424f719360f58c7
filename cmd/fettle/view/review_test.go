package view

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"strings"
	"testing"

	"golang.org/x/net/html"
)

// manyCards is a review of n conditions in sets of ten.
func manyCards(n int) *Review {
	r := &Review{Title: "What waits for a decision", Summary: []string{"Much."}}
	for i := range n {
		if i%10 == 0 {
			r.Sets = append(r.Sets, ReviewSet{Name: fmt.Sprintf("bay-%d/carbon-steel/oxygen", i/10)})
		}
		set := &r.Sets[len(r.Sets)-1]
		set.Cards = append(set.Cards, ReviewCard{ID: fmt.Sprintf("%s/%dmm", set.Name, i%10+1), Status: "changed", Headline: "changed since it was approved on 14 July by Jonas Falk",
			Biggest: "oxygen 1.40 → 1.50 m3/h, +7 %", Changes: []ReviewChange{{Field: "cut.pressure", From: "0.40 bar", To: "0.46 bar", Percent: "+15 %", Window: "inside",
				Gauge: &ReviewGauge{Low: 0.36, High: 0.52, From: 0.40, To: 0.46, Fails: []float64{0.3}, LowText: "0.36 bar", HighText: "0.52 bar"}}},
			Rows: []Row{{"reason", strings.Repeat("because ", 20)}}, Decide: []string{"fettle approve X"}})
	}
	return r
}

func TestReviewOfManyFitsIntoAComment(t *testing.T) {
	for _, n := range []int{1, 3, 4, 300} {
		var b bytes.Buffer
		if err := manyCards(n).Markdown(&b); err != nil {
			t.Fatal(err)
		}
		text := b.String()
		if len(text) > 65_536 {
			t.Errorf("%d conditions make %d characters", n, len(text))
		}
		rows, cards := strings.Count(text, "| changed |"), strings.Count(text, "changed since it was approved")
		if want := n; n > 1 && rows != want {
			t.Errorf("%d of %d conditions are in the tables", rows, want)
		}
		if n < 10 && cards != n || n == 300 && cards < 50 {
			t.Errorf("%d of %d conditions have a card", cards, n)
		}
		if more := fmt.Sprintf("%d more stand in the tables only", n-cards); n == 300 && !strings.Contains(text, more) {
			t.Errorf("it does not say %q", more)
		}
		if open, shut := strings.Count(text, "<details>"), strings.Count(text, "</details>"); open != shut || n <= 3 && open > 0 {
			t.Errorf("%d conditions: %d folded, %d ends", n, open, shut)
		}
	}
}

// TestReviewPageLetsNothingIn puts what a stranger could write into every text of the document.
func TestReviewPageLetsNothingIn(t *testing.T) {
	bad := "<script>alert(1)</script>\" onload=\"x' \x1b[2J\u202egnp.\u200b &lt;"
	r := manyCards(2)
	r.Title, r.Summary, r.Foot, r.Moved = bad, []string{bad}, []string{bad}, []string{bad}
	r.Facts, r.Others = []Row{{bad, bad}}, []Row{{bad, bad}}
	set := &r.Sets[0]
	set.Name = bad
	set.Plots = []ReviewPlot{{Chart{Title: bad, Subtitle: bad, Panels: []Panel{{Title: bad, Unit: bad, Caption: bad, Points: []PlotPoint{{Thickness: 1, Value: 1, ThicknessText: bad, ValueText: bad,
		Expect: math.NaN(), Approved: math.NaN(), Says: bad, Help: bad}}, Regimes: []Regime{{1, bad}}}}}}}
	c := &set.Cards[0]
	*c = ReviewCard{ID: bad, Status: bad, Headline: bad, Biggest: bad, Values: bad, Effects: []string{bad}, Findings: []ReviewFinding{{bad, bad, bad, bad}}, Rows: []Row{{bad, bad}}, Decide: []string{bad},
		Changes: []ReviewChange{{Field: bad, From: bad, To: bad, Percent: bad, Window: bad, Gauge: &ReviewGauge{Low: 1, High: 2, LowText: bad, HighText: bad}}, {Field: bad, Text: bad}}}
	var page, comment bytes.Buffer
	if err := r.HTML(&page); err != nil {
		t.Fatal(err)
	}
	if err := r.Markdown(&comment); err != nil {
		t.Fatal(err)
	}
	for _, steer := range []string{"\x1b", "\u202e", "\u200b"} {
		if strings.Contains(page.String(), steer) || strings.Contains(comment.String(), steer) {
			t.Errorf("%q comes through", steer)
		}
	}
	if strings.Contains(comment.String(), "<script") {
		t.Error("Markdown lets an element through")
	}
	// What a browser's reader sees: no element and no attribute beyond those of the templates.
	allowed := map[string]bool{}
	for name := range strings.FieldsSeq("html head meta title style body header main footer section nav article div p span a h1 h2 h3 h4 dl dt dd table thead tbody tr th td caption code kbd details summary figure figcaption ul li svg g path circle rect line text desc") {
		allowed[name] = true
	}
	tokens := html.NewTokenizer(&page)
	elements := 0
	for {
		kind := tokens.Next()
		if kind == html.ErrorToken {
			if err := tokens.Err(); err != io.EOF {
				t.Fatal(err)
			}
			break
		}
		if kind != html.StartTagToken && kind != html.SelfClosingTagToken {
			continue
		}
		elements++
		token := tokens.Token()
		if !allowed[token.Data] {
			t.Errorf("an element %q", token.Data)
		}
		for _, a := range token.Attr {
			if strings.HasPrefix(strings.ToLower(a.Key), "on") || a.Key == "href" && !strings.HasPrefix(a.Val, "#") || a.Key == "src" {
				t.Errorf("an attribute %s=%q", a.Key, a.Val)
			}
		}
	}
	if elements < 80 {
		t.Errorf("only %d elements were looked at", elements)
	}
}

func TestGaugeText(t *testing.T) {
	for _, test := range []struct {
		g    ReviewGauge
		want string
	}{
		{ReviewGauge{Low: 0, High: 10, From: 2, To: 8}, "·=====o=======x====··"},
		{ReviewGauge{Low: 0, High: 5, From: math.NaN(), To: 10, Fails: []float64{10}}, "··========········x··"},
	} {
		got := test.g.text()
		if strings.Count(got, "x") != 1 || len([]rune(got)) != gaugePlaces {
			t.Errorf("%s", got)
		}
		// The order of what is drawn is what counts.
		order := func(s string) string {
			out := ""
			for _, r := range s {
				if r != '·' && !strings.HasSuffix(out, string(r)) {
					out += string(r)
				}
			}
			return out
		}
		if order(got) != order(test.want) {
			t.Errorf("%s, want the order of %s", got, test.want)
		}
	}
}
