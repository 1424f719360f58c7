package serve

import (
	"bytes"
	"context"
	_ "embed"
	"errors"
	"fmt"
	"html/template"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"fettle/cmd/fettle/view"
)

//go:embed serve.html
var pageSource string

//go:embed serve.css
var pageStyle string

// pages are parsed when the first page is asked for: other commands do not pay for them.
var pages = sync.OnceValue(func() *template.Template {
	t := view.NewTemplates().Funcs(template.FuncMap{"members": func(base string, list []Member) any {
		return struct {
			Base    string
			Members []Member
		}{base, list}
	}})
	return template.Must(t.Parse(pageSource))
})

// A page is what a template gets.
type page struct {
	Base, Token string
	Title       string
	Head        Head
	Notice      *notice
	Query       string
	Body        any
}

// A route is how a page is made.
type route struct {
	name    string // of its template
	title   string
	address string
	query   string // that was typed into the search
	said    string // names the notice that it shows
	foresee bool   // it needs what a library foresees
	find    func(Library) (any, error)
}

// A notice is what a decision came to.
type notice struct {
	Good    bool
	Message string
	Lines   []string
}

func (s *Server) routes() {
	s.mux = http.NewServeMux()
	s.mux.HandleFunc("GET /sheet.css", func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "text/css; charset=utf-8")
		w.Write([]byte(view.Sheet() + pageStyle))
	})
	named := func(title string) func(*http.Request) string { return func(*http.Request) string { return title } }
	id := func(r *http.Request) string { return r.PathValue("id") }
	name := func(r *http.Request) string { return r.PathValue("name") }
	s.show("GET /{$}", "queue", named(queueTitle), func(l Library, r *http.Request) (any, error) { return l.Queue() })
	s.show("GET /review/{id...}", "review", id, func(l Library, r *http.Request) (any, error) { return l.Card(id(r)) })
	s.show("GET /subject/{kind}/{name}", "review", func(r *http.Request) string { return Decision{Kind: r.PathValue("kind"), ID: name(r)}.what() },
		func(l Library, r *http.Request) (any, error) { return l.Subject(r.PathValue("kind"), name(r)) })
	s.show("GET /condition/{id...}", "condition", id, func(l Library, r *http.Request) (any, error) { return l.Condition(id(r)) })
	s.show("GET /history/{id...}", "history", id, func(l Library, r *http.Request) (any, error) { return l.History(id(r)) })
	s.show("GET /family/{name...}", "family", name, func(l Library, r *http.Request) (any, error) { return l.Family(name(r)) })
	s.show("GET /machine/{name}", "machine", name, func(l Library, r *http.Request) (any, error) { return l.Machine(name(r)) })
	s.show("GET /search", "search", named("Search"), func(l Library, r *http.Request) (any, error) { return l.Search(query(r)) })
	s.mux.HandleFunc("POST /decide", s.decide)
	s.mux.HandleFunc("GET /decided/{deed}", func(w http.ResponseWriter, r *http.Request) {
		s.mu.Lock()
		work := s.deeds[r.PathValue("deed")]
		s.mu.Unlock()
		if work == nil {
			http.Redirect(w, r, s.base+"/", http.StatusSeeOther)
			return
		}
		s.await(w, r, r.PathValue("deed"), work)
	})
	s.mux.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) { s.fail(w, &NotFound{"such page"}) })
}

func query(r *http.Request) string {
	q := strings.TrimSpace(r.URL.Query().Get("q"))
	return q[:min(len(q), 200)]
}

const queueTitle = "What waits for a decision"

// show answers a GET with a template.
func (s *Server) show(pattern, name string, title func(*http.Request) string, find func(Library, *http.Request) (any, error)) {
	s.mux.HandleFunc(pattern, func(w http.ResponseWriter, r *http.Request) {
		to := route{name: name, title: title(r), address: r.URL.Path + "?" + query(r), query: query(r), said: r.URL.Query().Get("said"), foresee: name == "queue" || name == "search",
			find: func(l Library) (any, error) { return find(l, r) }}
		s.answer(w, r, s.fly(to))
		s.forget(to.said)
	})
}

// Prepare makes the queue before anybody asks for it. The channel is closed when it is there.
func (s *Server) Prepare() <-chan struct{} {
	return s.fly(route{name: "queue", title: queueTitle, address: "/?", foresee: true, find: func(l Library) (any, error) { return l.Queue() }}).done
}

// ready is a page that was made of the same library, or nothing.
func (s *Server) ready(library Library, address string) made {
	if !s.Keep {
		return made{}
	}
	if s.madeFor != library || len(s.made) > mostMade {
		s.made, s.madeFor = map[string]made{}, library
	}
	return s.made[address]
}

// working says that there is work under way, for how long already, and asks again by itself.
func (s *Server) working(w http.ResponseWriter, address string) {
	s.mu.Lock()
	since := time.Since(s.began)
	s.mu.Unlock()
	body, err := s.execute("working", struct {
		Base, Address, Doing string
		Seconds              int
	}{s.base, address, s.doing(false), int(since.Seconds())})
	if err != nil {
		http.Error(w, notMade, http.StatusInternalServerError)
		return
	}
	w.Header().Set("Refresh", "1; url="+address)
	made{code: http.StatusAccepted, rest: body}.send(w)
}

func (s *Server) doing(foresee bool) string {
	if s.Doing == nil {
		return ""
	}
	return s.Doing(foresee)
}

func (m made) send(w http.ResponseWriter) {
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Content-Length", strconv.Itoa(len(m.first)+len(m.head)+len(m.rest)))
	w.WriteHeader(m.code)
	for _, piece := range [][]byte{m.first, m.head, m.rest} {
		w.Write(piece)
	}
}

// frame is a page without what stands in it.
func (s *Server) frame(title string, head Head) page {
	if s.ReadOnly {
		head.ReadOnly = "it was opened to the network, so that it only shows"
	}
	return page{Base: s.base, Token: s.token, Title: title, Head: head}
}

// headOf is what stands above a page.
func (s *Server) headOf(p page) []byte {
	out, err := s.execute("head", p)
	if err != nil {
		fmt.Fprintf(s.Errors, "fettle: what stands above a page: %v\n", err)
	}
	return out
}

// notMade is said of a page where the program itself is at fault.
const notMade = "The page could not be made."

// render makes a page as a whole before anything of it is sent.
func (s *Server) render(code int, name string, p page) made {
	out := made{code: code, at: time.Now()}
	var errs [3]error
	var said, body []byte
	out.first, errs[0] = s.execute("first", p)
	out.head = s.headOf(p)
	said, errs[1] = s.execute("notice", p)
	body, errs[2] = s.execute(name, p)
	out.rest = slices.Concat(said, body, []byte(bottom))
	if err := errors.Join(errs[:]...); err != nil {
		fmt.Fprintf(s.Errors, "fettle: page %s: %v\n", name, err)
		return broken()
	}
	return out
}

// broken is a page that could not be made.
func broken() made {
	return made{code: http.StatusInternalServerError, first: []byte(`<!DOCTYPE html><html lang="en"><title>fettle</title><body><header>`), head: []byte(`<p>fettle itself is at fault.</p></header><main id="content">`),
		rest: []byte(`<p role="alert"><b>` + notMade + `</b></p>` + bottom)}
}

const bottom = `</main>
<footer><p class="soft">An approval is no release of a part, and it does not replace the machine maker's instructions.</p></footer>
</body>
</html>
`

func (s *Server) execute(name string, data any) ([]byte, error) {
	var b bytes.Buffer
	err := pages().ExecuteTemplate(&b, name, data)
	return b.Bytes(), err
}

// fail says on a page what went wrong.
func (s *Server) fail(w http.ResponseWriter, err error) { s.trouble(nil, err).send(w) }

func (s *Server) trouble(library Library, err error) made {
	code, n := http.StatusInternalServerError, &notice{Message: err.Error()}
	var missing *NotFound
	var refused *Refusal
	switch {
	case errors.As(err, &missing):
		code = http.StatusNotFound
	case errors.As(err, &refused):
		code, n.Lines = http.StatusConflict, lines(refused.Help)
	}
	var head Head
	if library != nil {
		head, _ = library.Head() // it is in trouble already
	}
	p := s.frame("That did not work", head)
	p.Notice = n
	return s.render(code, "trouble", p)
}

func lines(text string) (out []string) {
	for line := range strings.SplitSeq(text, "\n") {
		if line = strings.TrimSpace(line); line != "" {
			out = append(out, line)
		}
	}
	return out
}

// decide takes a decision, and leads to a page that says what came of it.
func (s *Server) decide(w http.ResponseWriter, r *http.Request) {
	if s.ReadOnly {
		s.fail(w, &Refusal{Message: "nothing can be decided here: the page was opened to the network, so that it only shows"})
		return
	}
	d := Decision{Kind: r.PostForm.Get("kind"), ID: r.PostForm.Get("id"), Seen: r.PostForm.Get("digest"), Because: strings.TrimSpace(strings.ReplaceAll(r.PostForm.Get("because"), "\r\n", "\n"))}
	switch r.PostForm.Get("decision") {
	case "approve":
		d.Approve = true
	case "reject":
	default:
		s.fail(w, &Refusal{Message: "the form does not say whether to approve or to reject"})
		return
	}
	work := &deed{done: make(chan struct{})}
	id := random(6)
	s.mu.Lock()
	s.deeds[id] = work
	s.mu.Unlock()
	asked := time.Now()
	go func() {
		defer close(work.done)
		s.inTurn(func() { work.answer = s.carryOut(d, asked) })
	}()
	s.await(w, r, id, work)
}

// carryOut takes a decision, and gives the answer to whoever took it.
func (s *Server) carryOut(d Decision, asked time.Time) func(http.ResponseWriter) {
	library, err := s.Open(context.Background(), asked)
	if err != nil {
		return s.trouble(nil, err).send
	}
	defer library.Leave()
	said, err := library.Decide(d)
	if err != nil {
		return s.trouble(library, err).send
	}
	n := notice{Good: true, Message: map[bool]string{true: "Approved: ", false: "Rejected: "}[d.Approve] + d.what(), Lines: lines(said)}
	return func(w http.ResponseWriter) {
		w.Header().Set("Location", s.base+"/?said="+s.keep(n))
		w.WriteHeader(http.StatusSeeOther)
	}
}

// await answers with what a decision came to, or says that it is being carried out, and where to ask again.
func (s *Server) await(w http.ResponseWriter, r *http.Request, id string, work *deed) {
	timer := time.NewTimer(s.Patience)
	defer timer.Stop()
	select {
	case <-work.done:
		s.mu.Lock()
		delete(s.deeds, id)
		s.mu.Unlock()
		work.answer(w)
	case <-timer.C:
		if r.Method == http.MethodPost { // so that asking again sends nothing again
			http.Redirect(w, r, s.base+"/decided/"+id, http.StatusSeeOther)
			return
		}
		s.working(w, s.base+"/decided/"+id)
	}
}

// what names what was decided on: an id, machine bay-2, roster.
func (d Decision) what() string {
	if d.Kind == "" || d.Kind == d.ID {
		return d.ID
	}
	return d.Kind + " " + d.ID
}

// keep holds a notice for the page that comes next; of many only the last ones.
func (s *Server) keep(n notice) string {
	s.mu.Lock()
	defer s.mu.Unlock()
	if len(s.notice) > 20 {
		clear(s.notice)
	}
	id := random(6)
	s.notice[id] = n
	return id
}

func (s *Server) take(id string) *notice {
	s.mu.Lock()
	defer s.mu.Unlock()
	n, ok := s.notice[id]
	if !ok {
		return nil
	}
	return &n
}

// forget ends a notice that was shown.
func (s *Server) forget(id string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.notice, id)
}
