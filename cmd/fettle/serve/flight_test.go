package serve

import (
	"bufio"
	"context"
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"golang.org/x/net/html"
)

// A slow library looks ahead, and finds its queue, no sooner than it is let.
type slow struct {
	fake
	foreseen, found chan struct{} // closed when that may come to its end; nil does not wait
	looks, queues   atomic.Int32
	inside          atomic.Int32
	once            sync.Once
	panics          bool
}

func (l *slow) Foresee() func() {
	return func() {
		l.once.Do(func() {
			l.looks.Add(1)
			wait(l.foreseen)
		})
	}
}

func (l *slow) Queue() (*Queue, error) {
	if l.inside.Add(1) > 1 {
		return nil, errors.New("two pages at once")
	}
	defer l.inside.Add(-1)
	l.queues.Add(1)
	wait(l.found)
	if l.panics {
		panic("a slip of ours")
	}
	return l.fake.Queue()
}

func wait(c chan struct{}) {
	if c != nil {
		<-c
	}
}

// over serves a library over a network, which sends what is flushed.
func over(t *testing.T, open func() (Library, error)) (*Server, *http.Client) {
	t.Helper()
	s := newServer(fake{})
	s.Keep = true
	s.Errors = io.Discard
	s.Open = func(context.Context, time.Time) (Library, error) { return open() }
	l := httptest.NewServer(s)
	t.Cleanup(l.Close)
	s.Hosts = []string{strings.TrimPrefix(l.URL, "http://")}
	return s, l.Client()
}

func get(t *testing.T, ctx context.Context, s *Server, client *http.Client, path string) *http.Response {
	t.Helper()
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, "http://"+s.Hosts[0]+s.base+path, nil)
	if err != nil {
		t.Fatal(err)
	}
	r.AddCookie(&http.Cookie{Name: cookieName, Value: s.key})
	w, err := client.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { w.Body.Close() })
	return w
}

// until reads a page as far as some words.
func until(t *testing.T, in *bufio.Reader, words string) (read string) {
	t.Helper()
	for !strings.Contains(read, words) {
		b, err := in.ReadByte()
		if err != nil {
			t.Fatalf("%v before %q, after\n%s", err, words, read)
		}
		read += string(b)
	}
	return read
}

// rest reads a page to its end, and holds it to what a browser's parser makes of it: one main, closed, and every hint that something is being
// read with something after it, so that none is shown.
func rest(t *testing.T, in io.Reader, sofar string) string {
	t.Helper()
	data, err := io.ReadAll(in)
	if err != nil {
		t.Fatal(err)
	}
	page := sofar + string(data)
	tree, err := html.Parse(strings.NewReader(page))
	if err != nil {
		t.Fatal(err)
	}
	mains := 0
	for n := range tree.Descendants() {
		if n.Type != html.ElementNode {
			continue
		}
		if n.Data == "main" {
			mains++
		}
		for _, a := range n.Attr {
			if a.Key != "class" || a.Val != "reading" {
				continue
			}
			next := n.NextSibling
			for next != nil && next.Type != html.ElementNode {
				next = next.NextSibling
			}
			if next == nil {
				t.Errorf("still said at the end: %s", n.FirstChild.Data)
			}
		}
	}
	if mains != 1 || !strings.HasSuffix(page, "</html>\n") {
		t.Errorf("%d main, and the end is %q", mains, page[max(0, len(page)-60):])
	}
	return page
}

// TestPageComesInPieces holds a queue that takes long to begin at once, to say what is being done and how far that is, and to be the page that it
// is when it takes no time.
func TestPageComesInPieces(t *testing.T) {
	opened, library := make(chan struct{}), &slow{foreseen: make(chan struct{}), found: make(chan struct{})}
	s, client := over(t, func() (Library, error) { <-opened; return library, nil })
	far := atomic.Pointer[string]{}
	say := func(text string) { far.Store(&text) }
	say("looking for what changed")
	s.Doing = func(foresee bool) string {
		if !foresee {
			t.Error("asked for something else")
		}
		return *far.Load()
	}
	w := get(t, t.Context(), s, client, "/")
	in := bufio.NewReader(w.Body)
	if w.StatusCode != 200 {
		t.Error(w.StatusCode)
	}
	page := until(t, in, "fettle is looking for what changed; 0 s so far.")
	if !strings.Contains(page, "<h1>What waits for a decision</h1>") || strings.Contains(page, "<main") {
		t.Errorf("the beginning is %s", page)
	}
	say("looking where every condition stands: 40 of 2000 sets")
	page += until(t, in, "40 of 2000 sets;")
	close(opened)
	page += until(t, in, "<main")
	if !strings.Contains(page, "<dt>signs</dt>") || strings.Contains(page, `class="queue"`) {
		t.Errorf("the head is %s", page)
	}
	say("looking where every condition stands: 1960 of 2000 sets")
	page += until(t, in, "1960 of 2000 sets;")
	close(library.foreseen)
	close(library.found)
	page = rest(t, in, page)
	whole := rest(t, get(t, t.Context(), s, client, "/").Body, "")
	if strings.Contains(whole, "reading") {
		t.Errorf("a page that is there says %s", whole)
	}
	_, got, _ := strings.Cut(page[strings.LastIndex(page, `class="reading"`):], "</p>\n")
	if _, want, _ := strings.Cut(whole, `<main id="content">`); strings.TrimSpace(got) != strings.TrimSpace(want) || len(got) < 1000 {
		t.Errorf("in pieces it is\n%s\nand as a whole\n%s", got, want)
	}
	if n := library.queues.Load(); n != 1 {
		t.Errorf("made %d times", n)
	}
}

// TestManyShareOnePage holds fifty who ask at once to one page, made once, and another page to be made while they wait.
func TestManyShareOnePage(t *testing.T) {
	library := &slow{foreseen: make(chan struct{})}
	s, client := over(t, func() (Library, error) { return library, nil })
	client.Transport.(*http.Transport).MaxIdleConnsPerHost = 50
	var all sync.WaitGroup
	var begun sync.WaitGroup
	var wrong atomic.Int32
	begun.Add(50)
	for range 50 {
		all.Go(func() {
			w := get(t, t.Context(), s, client, "/")
			in := bufio.NewReader(w.Body)
			first := until(t, in, "<h1>")
			begun.Done()
			page := rest(t, in, first)
			if w.StatusCode != 200 || !strings.Contains(page, `<table class="queue">`) {
				wrong.Add(1)
			}
		})
	}
	begun.Wait()
	if w := get(t, t.Context(), s, client, "/machine/x"); w.StatusCode != 200 || !strings.Contains(rest(t, w.Body, ""), "members") {
		t.Error("no other page meanwhile")
	}
	close(library.foreseen)
	all.Wait()
	if wrong.Load() > 0 || library.looks.Load() != 1 || library.queues.Load() != 1 {
		t.Errorf("%d went wrong, looked ahead %d times, made %d times", wrong.Load(), library.looks.Load(), library.queues.Load())
	}
}

// TestWorkGoesOnForTheNext holds a page that nobody waits for any more to be made all the same; and one that was made before anybody asked to be
// taken.
func TestWorkGoesOnForTheNext(t *testing.T) {
	library := &slow{foreseen: make(chan struct{})}
	s, client := over(t, func() (Library, error) { return library, nil })
	ctx, leave := context.WithCancel(t.Context())
	until(t, bufio.NewReader(get(t, ctx, s, client, "/").Body), "<h1>")
	leave()
	close(library.foreseen)
	<-s.Prepare()
	if w := get(t, t.Context(), s, client, "/"); w.StatusCode != 200 || !strings.Contains(rest(t, w.Body, ""), `<table class="queue">`) {
		t.Error(w.StatusCode)
	}
	if n := library.queues.Load(); n != 1 {
		t.Errorf("made %d times", n)
	}
}

// TestErrorInMidPage holds an error after the beginning was sent to be told in the page, whatever came of it before; and one before it to the
// right code.
func TestErrorInMidPage(t *testing.T) {
	for _, test := range []struct {
		name   string
		open   error
		page   error
		panics bool
		code   int
		says   string
	}{
		{name: "a library that cannot be opened", open: errors.New("the disk <is> full"), code: 500, says: "the disk &lt;is&gt; full"},
		{name: "a refusal", page: &Refusal{"nothing <is> in force", "Do <this>"}, code: 409, says: "Do &lt;this&gt;"},
		{name: "nothing of that name", page: &NotFound{"such thing"}, code: 404, says: "there is no such thing here"},
		{name: "a slip of ours", panics: true, code: 500, says: notMade},
	} {
		for _, late := range []bool{false, true} {
			go_ := make(chan struct{})
			library := &slow{fake: fake{trouble: test.page}, panics: test.panics}
			s, client := over(t, func() (Library, error) {
				<-go_
				if test.open != nil {
					return nil, test.open
				}
				return library, nil
			})
			if s.Prompt = time.Minute; late {
				s.Prompt = time.Millisecond
			} else {
				close(go_)
			}
			w := get(t, t.Context(), s, client, "/")
			if !late {
				if page, err := io.ReadAll(w.Body); err != nil || w.StatusCode != test.code || !strings.Contains(string(page), test.says) {
					t.Errorf("%s: %d, %v, %s", test.name, w.StatusCode, err, page)
				}
				continue
			}
			in := bufio.NewReader(w.Body)
			page := until(t, in, "<h1>")
			close(go_)
			page = rest(t, in, page)
			if w.StatusCode != 200 || !strings.Contains(page, test.says) || strings.Contains(page, `<table class="queue">`) {
				t.Errorf("%s, late: %d %s", test.name, w.StatusCode, page)
			}
			if !strings.Contains(page, `role="alert"`) {
				t.Errorf("%s, late: nobody is alerted", test.name)
			}
			if w := get(t, t.Context(), s, client, "/machine/x"); test.open == nil && test.page == nil && w.StatusCode != 200 {
				t.Errorf("%s: the next page is %d", test.name, w.StatusCode)
			}
		}
	}
}

// TestEndOfServer holds a page that is not there when the program ends to say so, and the end not to wait for it.
func TestEndOfServer(t *testing.T) {
	library := &slow{foreseen: make(chan struct{})}
	defer close(library.foreseen)
	s := newServer(fake{})
	s.Open = func(context.Context, time.Time) (Library, error) { return library, nil }
	l := httptest.NewUnstartedServer(nil).Listener
	s.Hosts = []string{l.Addr().String()}
	ctx, end := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- s.Serve(ctx, l) }()
	w := get(t, t.Context(), s, http.DefaultClient, "/")
	in := bufio.NewReader(w.Body)
	until(t, in, "<main")
	end()
	until(t, in, "fettle serve was ended before the page was there.")
	if err := <-ended; err != nil {
		t.Error(err)
	}
}

// TestEveryOpenIsLeft counts who opened a library and did not leave it.
func TestEveryOpenIsLeft(t *testing.T) {
	var users atomic.Int32
	s := newServer(fake{})
	s.Open = func(context.Context, time.Time) (Library, error) {
		users.Add(1)
		return left{fake{decided: new([]Decision)}, &users}, nil
	}
	for _, path := range []string{"/", "/condition/x", "/search?q=x", "/subject/machine/x"} {
		ask(s, http.MethodGet, path, "", nil)
	}
	ask(s, http.MethodPost, "/decide", form(s).Encode(), nil)
	time.Sleep(10 * time.Millisecond)
	if n := users.Load(); n != 0 {
		t.Errorf("%d did not leave", n)
	}
}

type left struct {
	fake
	users *atomic.Int32
}

func (l left) Leave() { l.users.Add(-1) }
