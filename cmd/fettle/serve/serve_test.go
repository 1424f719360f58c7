package serve

import (
	"context"
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"golang.org/x/net/html"

	"fettle/cmd/fettle/view"
)

const host = "127.0.0.1:8417"

// evil is what a stranger could have written into a note, a name or an id.
const evil = "<script>alert(1)</script>\"'><img src=x onerror=alert(1)> \x1b]0;x\a\u202egnp.exe\u2066 javascript:alert(1)"

// A fake library holds evil in every text.
type fake struct {
	decided *[]Decision
	trouble error
}

func (f fake) Head() (Head, error) {
	return Head{Library: evil, Person: evil, Machines: []string{evil}}, nil
}
func (f fake) Leave()           {}
func (f fake) Foresee() func()  { return nil }
func (f fake) Until() time.Time { return time.Now().Add(time.Hour) }
func (f fake) Queue() (*Queue, error) {
	return &Queue{Subjects: []Waiting{{evil, evil, evil, evil, evil}}, Summary: []string{evil}, Others: []view.Row{{Label: evil, Text: evil}},
		Sets: []QueueSet{{Name: evil, Rows: []QueueRow{{ID: evil, Status: evil, Short: evil, Biggest: evil, Count: evil}}}}}, f.trouble
}
func (f fake) card() view.ReviewCard {
	return view.ReviewCard{ID: evil, Status: evil, Headline: evil, Biggest: evil, Values: evil, Effects: []string{evil}, Rows: []view.Row{{Label: evil, Text: evil}},
		Findings: []view.ReviewFinding{{Severity: evil, Message: evil, Rule: evil}}, Changes: []view.ReviewChange{{Field: evil, From: evil, To: evil, Window: evil}, {Field: evil, Text: evil}}}
}
func (f fake) Card(id string) (*Card, error) {
	return &Card{Card: f.card(), Digest: evil, Open: true, Against: evil, Help: evil}, f.trouble
}
func (f fake) Subject(kind, name string) (*Card, error) {
	return &Card{Kind: "machine", Name: evil, Card: f.card(), Digest: evil, Open: true}, f.trouble
}
func (f fake) Condition(id string) (*Condition, error) {
	return &Condition{ID: evil, Family: evil, Machine: evil, State: evil, Status: evil, Code: evil, Values: []view.Row{{Label: evil, Text: evil}},
		Figures:  []view.FigureBlock{{Name: evil, Figures: []view.Figure{{Name: evil, Value: evil, Range: evil, Note: evil}}}},
		Timeline: &view.Page{Sections: []view.Section{{Title: evil, Blocks: []view.Block{{Head: evil, Rows: []view.Row{{Label: evil, Text: evil}}}}}}, Foot: []string{evil}},
		Trials:   view.TrialCondition{Rows: []view.Row{{Label: evil, Text: evil}}, Fields: []view.TrialField{{Name: evil, Summary: evil}}}}, f.trouble
}
func (f fake) History(id string) (*Condition, error) { return f.Condition(id) }
func (f fake) Family(name string) (*Family, error) {
	return &Family{Name: evil, Members: []Member{{evil, evil, evil, evil, evil, evil}}}, f.trouble
}
func (f fake) Machine(name string) (*Machine, error) {
	return &Machine{Name: evil, Summary: []string{evil}, Facts: []view.Row{{Label: evil, Text: evil}}, Families: []Family{{Name: evil, Members: []Member{{evil, evil, evil, evil, evil, evil}}}}}, f.trouble
}
func (f fake) Search(q string) ([]Hit, error) { return []Hit{{evil, evil, evil}}, f.trouble }
func (f fake) Decide(d Decision) (string, error) {
	*f.decided = append(*f.decided, d)
	return evil, f.trouble
}

func newServer(f fake) *Server {
	if f.decided == nil {
		f.decided = new([]Decision)
	}
	return New(Options{Open: func(context.Context, time.Time) (Library, error) { return f, nil }, Hosts: []string{host, "localhost:8417"}, Errors: io.Discard})
}

// ask asks as a browser that has the key; change makes it another one.
func ask(s *Server, method, path, body string, change func(*http.Request)) *httptest.ResponseRecorder {
	r := httptest.NewRequest(method, "http://"+host+s.base+path, strings.NewReader(body))
	r.AddCookie(&http.Cookie{Name: cookieName, Value: s.key})
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	if method == http.MethodPost {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.Header.Set("Origin", "http://"+host)
	}
	if change != nil {
		change(r)
	}
	w := httptest.NewRecorder()
	s.ServeHTTP(w, r)
	return w
}

func form(s *Server) url.Values {
	return url.Values{"token": {s.token}, "id": {"bay-2/carbon-steel/oxygen/10mm"}, "digest": {"d"}, "decision": {"approve"}, "because": {"good"}}
}

func TestWhoMayAsk(t *testing.T) {
	s := newServer(fake{})
	for _, test := range []struct {
		name   string
		change func(*http.Request)
		code   int
	}{
		{"our own browser", nil, 200},
		{"by the other name", func(r *http.Request) { r.Host = "localhost:8417" }, 200},
		{"in capitals", func(r *http.Request) { r.Host = "LOCALHOST:8417" }, 200},
		{"a typed address", func(r *http.Request) { r.Header.Set("Sec-Fetch-Site", "none") }, 200},
		{"an old browser", func(r *http.Request) { r.Header.Del("Sec-Fetch-Site") }, 200},
		{"a foreign name that points here", func(r *http.Request) { r.Host = "evil.example:8417" }, 421},
		{"our name as part of another", func(r *http.Request) { r.Host = host + ".evil.example" }, 421},
		{"another port", func(r *http.Request) { r.Host = "127.0.0.1:80" }, 421},
		{"no port", func(r *http.Request) { r.Host = "127.0.0.1" }, 421},
		{"no host", func(r *http.Request) { r.Host = "" }, 421},
		{"no key", func(r *http.Request) { r.Header.Del("Cookie") }, 403},
		{"a wrong key", func(r *http.Request) { r.Header.Set("Cookie", cookieName+"="+s.key[1:]+"x") }, 403},
		{"an empty key", func(r *http.Request) { r.Header.Set("Cookie", cookieName+"=") }, 403},
		{"a link on another site", func(r *http.Request) { r.Header.Set("Sec-Fetch-Site", "cross-site") }, 403},
		{"a page of another local server", func(r *http.Request) { r.Header.Set("Sec-Fetch-Site", "same-site") }, 403},
		{"without the random part", func(r *http.Request) { r.URL.Path = "/" }, 404},
		{"another random part", func(r *http.Request) { r.URL.Path = "/aaaaaaaaaaaa/" }, 404},
		{"another method", func(r *http.Request) { r.Method = http.MethodDelete }, 405},
		{"preflight", func(r *http.Request) { r.Method = http.MethodOptions }, 405},
		{"a long address", func(r *http.Request) { r.RequestURI += strings.Repeat("x", mostURL) }, 414},
	} {
		w := ask(s, http.MethodGet, "/", "", test.change)
		if w.Code != test.code {
			t.Errorf("%s: %d, want %d: %s", test.name, w.Code, test.code, w.Body)
		}
		if w.Code != 200 && (strings.Contains(w.Body.String(), s.token) || strings.Contains(w.Body.String(), s.key) || strings.Contains(w.Body.String(), "condition")) {
			t.Errorf("%s: the refusal says too much: %s", test.name, w.Body)
		}
		if got := w.Header().Get("Content-Security-Policy"); !strings.HasPrefix(got, "default-src 'none'; ") || strings.Contains(got, "unsafe") {
			t.Errorf("%s: content policy %q", test.name, got)
		}
		if w.Header().Get("Access-Control-Allow-Origin") != "" {
			t.Errorf("%s: others may read it", test.name)
		}
	}
}

func TestEntrance(t *testing.T) {
	s := newServer(fake{})
	get := func(path string) *httptest.ResponseRecorder {
		w := httptest.NewRecorder()
		s.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "http://"+host+path, nil))
		return w
	}
	for _, path := range []string{s.base + "/enter", s.base + "/enter?key=", s.base + "/enter?key=" + s.token, "/enter?key=" + s.key} {
		if w := get(path); w.Code < 400 || len(w.Result().Cookies()) > 0 {
			t.Errorf("%s: %d with %d cookies", path, w.Code, len(w.Result().Cookies()))
		}
	}
	w := get(s.Entrance())
	cookies := w.Result().Cookies()
	if w.Code != 200 || len(cookies) != 1 {
		t.Fatalf("%d with %d cookies", w.Code, len(cookies))
	}
	if c := cookies[0]; !c.HttpOnly || c.SameSite != http.SameSiteStrictMode || c.Path != s.base+"/" || c.Value != s.key {
		t.Errorf("the cookie is %v", c)
	}
	if other := newServer(fake{}); other.key == s.key || other.base == s.base || other.token == s.token {
		t.Error("two servers share what has to be random")
	}
}

func TestWhoMayDecide(t *testing.T) {
	var decided []Decision
	s := newServer(fake{decided: &decided})
	for _, test := range []struct {
		name   string
		change func(*http.Request)
		edit   func(url.Values)
		code   int
	}{
		{name: "our own form", code: 303},
		{name: "another site's form", change: func(r *http.Request) { r.Header.Set("Origin", "http://evil.example") }, code: 403},
		{name: "another local server's form", change: func(r *http.Request) { r.Header.Set("Origin", "http://127.0.0.1:9000") }, code: 403},
		{name: "over https", change: func(r *http.Request) { r.Header.Set("Origin", "https://"+host) }, code: 403},
		{name: "a sandboxed form", change: func(r *http.Request) { r.Header.Set("Origin", "null") }, code: 403},
		{name: "no origin", change: func(r *http.Request) { r.Header.Del("Origin") }, code: 403},
		{name: "origin of the other name", change: func(r *http.Request) { r.Header.Set("Origin", "http://localhost:8417") }, code: 403},
		{name: "no cookie", change: func(r *http.Request) { r.Header.Del("Cookie") }, code: 403},
		{name: "no token", edit: func(v url.Values) { v.Del("token") }, code: 403},
		{name: "a wrong token", edit: func(v url.Values) { v.Set("token", s.key) }, code: 403},
		{name: "as JSON", change: func(r *http.Request) { r.Header.Set("Content-Type", "application/json") }, code: 415},
		{name: "as plain text", change: func(r *http.Request) { r.Header.Set("Content-Type", "text/plain") }, code: 415},
		{name: "too much text", edit: func(v url.Values) { v.Set("because", strings.Repeat("x", mostForm)) }, code: 413},
		{name: "neither nor", edit: func(v url.Values) { v.Set("decision", "maybe") }, code: 409},
	} {
		decided = nil
		v := form(s)
		if test.edit != nil {
			test.edit(v)
		}
		w := ask(s, http.MethodPost, "/decide", v.Encode(), test.change)
		if w.Code != test.code {
			t.Errorf("%s: %d, want %d", test.name, w.Code, test.code)
		}
		if want := map[bool]int{true: 1}[test.code == 303]; len(decided) != want {
			t.Errorf("%s: %d decisions, want %d", test.name, len(decided), want)
		}
	}
	// A token in the address is none, and a GET decides nothing.
	decided = nil
	v := form(s)
	v.Del("token")
	if w := ask(s, http.MethodPost, "/decide?token="+s.token, v.Encode(), nil); w.Code != 403 {
		t.Errorf("a token in the address: %d", w.Code)
	}
	if w := ask(s, http.MethodGet, "/decide?"+form(s).Encode(), "", nil); w.Code == 200 || len(decided) > 0 {
		t.Errorf("GET decides: %d", w.Code)
	}
	// What is open to the network decides nothing, whoever asks.
	s.ReadOnly = true
	if w := ask(s, http.MethodPost, "/decide", form(s).Encode(), nil); w.Code != 409 || len(decided) > 0 {
		t.Errorf("a server for the network decides: %d", w.Code)
	}
	if w := ask(s, http.MethodGet, "/review/x", "", nil); strings.Contains(w.Body.String(), "<textarea") {
		t.Error("a server for the network offers a form")
	}
}

// TestPagesLetNothingIn reads every page as a browser's parser does, with hostile text in every place.
func TestPagesLetNothingIn(t *testing.T) {
	s := newServer(fake{})
	allowed := map[string]bool{}
	for name := range strings.FieldsSeq("html head meta title link body header main footer section nav article div p span a h1 h2 h3 h4 dl dt dd table thead tbody tr th td caption code kbd details summary figure figcaption ul li svg g path circle rect line text desc form label input textarea button b") {
		allowed[name] = true
	}
	for _, path := range []string{"/", "/review/x", "/subject/machine/x", "/condition/x", "/history/x", "/family/x", "/machine/x", "/search?q=" + url.QueryEscape(evil), "/nope" + url.PathEscape(evil), "/machine/" + url.PathEscape(evil)} {
		w := ask(s, http.MethodGet, path, "", nil)
		body := w.Body.String()
		for _, steer := range []string{"\x1b", "\a", "\u202e", "\u2066"} {
			if strings.Contains(body, steer) {
				t.Errorf("%s: %q comes through", path, steer)
			}
		}
		tokens := html.NewTokenizer(strings.NewReader(body))
		n := 0
		for tokens.Next() != html.ErrorToken {
			token := tokens.Token()
			if token.Type != html.StartTagToken && token.Type != html.SelfClosingTagToken {
				continue
			}
			n++
			if !allowed[token.Data] {
				t.Errorf("%s: an element %q", path, token.Data)
			}
			for _, a := range token.Attr {
				ours := strings.HasPrefix(a.Val, s.base+"/") || strings.HasPrefix(a.Val, "#")
				if strings.HasPrefix(a.Key, "on") || a.Key == "style" || a.Key == "src" || (a.Key == "href" || a.Key == "action") && !ours {
					t.Errorf("%s: an attribute %s=%q of %s", path, a.Key, a.Val, token.Data)
				}
			}
		}
		if n < 20 {
			t.Errorf("%s: only %d elements: %s", path, n, body)
		}
	}
}

// TestTroubleIsAPage holds errors to a page with the right code.
func TestTroubleIsAPage(t *testing.T) {
	for _, test := range []struct {
		err  error
		code int
	}{{&NotFound{"such condition"}, 404}, {&Refusal{"you wrote this change yourself", "Who can: Jonas Falk"}, 409}, {errors.New("the disk is full"), 500}} {
		w := ask(newServer(fake{trouble: test.err}), http.MethodGet, "/review/x", "", nil)
		if w.Code != test.code || !strings.Contains(w.Body.String(), test.err.Error()) {
			t.Errorf("%v: %d %s", test.err, w.Code, w.Body)
		}
	}
}

// TestLongDecisionShowsProgress holds a decision that takes long to be taken once, and whoever took it to a page that asks again by itself.
func TestLongDecisionShowsProgress(t *testing.T) {
	var decided []Decision
	s := newServer(fake{decided: &decided})
	s.Patience = 20 * time.Millisecond
	s.Doing = func(bool) string { return "reading <b>" }
	hold := make(chan struct{})
	open := s.Open
	s.Open = func(ctx context.Context, asked time.Time) (Library, error) {
		<-hold
		return open(ctx, asked)
	}
	w := ask(s, http.MethodPost, "/decide", form(s).Encode(), nil)
	at := strings.TrimPrefix(w.Header().Get("Location"), s.base)
	if w.Code != http.StatusSeeOther || !strings.HasPrefix(at, "/decided/") {
		t.Fatalf("a decision that takes long: %d, %q", w.Code, at)
	}
	for range 2 {
		w := ask(s, http.MethodGet, at, "", nil)
		if w.Code != http.StatusAccepted || w.Header().Get("Refresh") != "1; url="+s.base+at || !strings.Contains(w.Body.String(), "fettle is reading &lt;b&gt;, for 0 s now") ||
			!strings.Contains(w.Body.String(), `href="`+s.base+at+`"`) {
			t.Fatalf("%d, %q: %s", w.Code, w.Header().Get("Refresh"), w.Body)
		}
	}
	close(hold)
	s.Patience = time.Minute
	if w = ask(s, http.MethodGet, at, "", nil); w.Code != http.StatusSeeOther || !strings.Contains(w.Header().Get("Location"), "/?said=") {
		t.Fatalf("a decision that was taken: %d %s", w.Code, w.Body)
	}
	said := strings.TrimPrefix(w.Header().Get("Location"), s.base)
	if len(decided) != 1 {
		t.Errorf("%d decisions, want one", len(decided))
	}
	if w = ask(s, http.MethodGet, said, "", nil); w.Code != 200 || !strings.Contains(w.Body.String(), "Approved: bay-2/carbon-steel/oxygen/10mm") {
		t.Errorf("what came of it: %d %s", w.Code, w.Body)
	}
	if w = ask(s, http.MethodGet, said, "", nil); strings.Contains(w.Body.String(), "Approved: bay-2") {
		t.Error("it is told twice")
	}
	if w = ask(s, http.MethodGet, at, "", nil); w.Code != http.StatusSeeOther || w.Header().Get("Location") != s.base+"/" {
		t.Errorf("asked again, long after: %d", w.Code)
	}
}

// TestBrokenPageLetsOthersGoOn holds a page that panics to an answer, and to leave its turn to the next.
func TestBrokenPageLetsOthersGoOn(t *testing.T) {
	s := newServer(fake{})
	open := s.Open
	s.Open = func(context.Context, time.Time) (Library, error) { panic("a slip of ours") }
	if w := ask(s, http.MethodGet, "/", "", nil); w.Code != 500 || strings.Contains(w.Body.String(), "slip") {
		t.Errorf("%d %s", w.Code, w.Body)
	}
	s.Open = open
	if w := ask(s, http.MethodGet, "/", "", nil); w.Code != 200 {
		t.Errorf("%d afterwards", w.Code)
	}
}

// TestPagesAreKept holds a page to be made once while the library is the same one, and anew as soon as it is another.
func TestPagesAreKept(t *testing.T) {
	s := newServer(fake{})
	s.Keep = true
	looks := 0
	library := &counted{fake{decided: new([]Decision)}, &looks}
	s.Open = func(context.Context, time.Time) (Library, error) { return library, nil }
	for range 3 {
		if w := ask(s, http.MethodGet, "/", "", nil); w.Code != 200 {
			t.Fatal(w.Code)
		}
	}
	if looks != 1 {
		t.Errorf("made %d times, want once", looks)
	}
	library = &counted{fake{decided: new([]Decision)}, &looks}
	ask(s, http.MethodGet, "/", "", nil)
	if looks != 2 {
		t.Errorf("made %d times after the library changed, want twice", looks)
	}
	s.made["/?"] = made{until: time.Now().Add(-time.Second), found: s.made["/?"].found} // something ran out by the clock
	ask(s, http.MethodGet, "/", "", nil)
	if looks != 3 {
		t.Error("kept for longer than it may be")
	}
	s.made["/?"] = made{until: time.Now().Add(time.Hour), found: s.made["/?"].found} // the head is of long ago, the rest is not
	if w := ask(s, http.MethodGet, "/", "", nil); looks != 3 || w.Code != 200 || !strings.Contains(w.Body.String(), "signs") {
		t.Errorf("made %d times for another head", looks)
	}
}

// A counted library counts how often its queue is asked for.
type counted struct {
	fake
	looks *int
}

func (c *counted) Queue() (*Queue, error) {
	*c.looks++
	return c.fake.Queue()
}
