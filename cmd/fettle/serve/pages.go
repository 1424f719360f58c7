package serve

import (
	"bytes"
	"context"
	_ "embed"
	"errors"
	"fmt"
	"html/template"
	"net/http"
	"runtime/debug"
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
	s.show("GET /{$}", "queue", "What waits for a decision", func(l Library, r *http.Request) (any, error) { return l.Queue() })
	s.show("GET /review/{id...}", "review", "", func(l Library, r *http.Request) (any, error) { return l.Card(r.PathValue("id")) })
	s.show("GET /subject/{kind}/{name}", "review", "", func(l Library, r *http.Request) (any, error) {
		return l.Subject(r.PathValue("kind"), r.PathValue("name"))
	})
	s.show("GET /condition/{id...}", "condition", "", func(l Library, r *http.Request) (any, error) { return l.Condition(r.PathValue("id")) })
	s.show("GET /history/{id...}", "history", "", func(l Library, r *http.Request) (any, error) { return l.History(r.PathValue("id")) })
	s.show("GET /family/{name...}", "family", "", func(l Library, r *http.Request) (any, error) { return l.Family(r.PathValue("name")) })
	s.show("GET /machine/{name}", "machine", "", func(l Library, r *http.Request) (any, error) { return l.Machine(r.PathValue("name")) })
	s.show("GET /search", "search", "Search", func(l Library, r *http.Request) (any, error) { return l.Search(query(r)) })
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

// show answers a GET with a template.
func (s *Server) show(pattern, name, title string, find func(Library, *http.Request) (any, error)) {
	s.mux.HandleFunc(pattern, func(w http.ResponseWriter, r *http.Request) {
		said := r.URL.Query().Get("said")
		heading := title
		if heading == "" {
			heading = strings.Trim(r.URL.Path[strings.Index(r.URL.Path[1:], "/")+1:], "/")
		}
		page, ok := s.patiently(r.Context(), func(library Library, err error) made {
			if err != nil {
				return s.trouble(nil, err)
			}
			address := r.URL.Path + "?" + query(r)
			before := s.ready(library, address)
			if said == "" && time.Since(before.at) < headKept {
				return before
			}
			body, until := before.found, before.until
			if body == nil || !time.Now().Before(until) {
				if body, err = find(library, r); err != nil {
					return s.trouble(library, err)
				}
				until = library.Until()
			}
			p := page{Title: heading, Query: query(r), Body: body, Notice: s.take(said)}
			if c, ok := body.(*Card); ok && c.Kind != "" {
				p.Title = c.Card.ID
			}
			page := s.render(http.StatusOK, library, name, p)
			if page.found, page.until = body, until; said == "" && page.code == http.StatusOK && s.Keep {
				s.made[address] = page
			}
			return page
		})
		if !ok {
			s.working(w, s.base+r.URL.RequestURI())
			return
		}
		page.send(w)
		s.forget(said)
	})
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

// patiently waits for its turn, has the library looked at, and makes a page; one at a time. It is not ok where that takes longer than anybody
// likes to look at nothing: the work goes on, and whoever asks again profits from it.
func (s *Server) patiently(ctx context.Context, do func(Library, error) made) (page made, ok bool) {
	asked := time.Now()
	ctx, cancel := context.WithTimeout(ctx, s.Patience)
	defer cancel()
	select {
	case s.turn <- struct{}{}:
	case <-ctx.Done():
		return made{}, false
	}
	done := make(chan made, 1) // nobody may be there to read
	go func() {
		defer func() { <-s.turn }()
		s.mu.Lock()
		s.began = time.Now()
		s.mu.Unlock()
		defer func() {
			if p := recover(); p != nil {
				fmt.Fprintf(s.Errors, "fettle: %v\n%s\n", p, debug.Stack())
				done <- made{code: http.StatusInternalServerError, body: []byte("The page could not be made.")}
			}
		}()
		library, err := s.Open(context.WithoutCancel(ctx), asked)
		done <- do(library, err)
	}()
	select {
	case page := <-done:
		return page, true
	case <-ctx.Done():
		return made{}, false
	}
}

// working says that there is work under way, for how long already, and asks again by itself.
func (s *Server) working(w http.ResponseWriter, address string) {
	s.mu.Lock()
	since := time.Since(s.began)
	s.mu.Unlock()
	doing := ""
	if s.Doing != nil {
		doing = s.Doing()
	}
	var b bytes.Buffer
	if err := pages().ExecuteTemplate(&b, "working", struct {
		Base, Address, Doing string
		Seconds              int
	}{s.base, address, doing, int(since.Seconds())}); err != nil {
		http.Error(w, "The page could not be made.", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Refresh", "1; url="+address)
	made{code: http.StatusAccepted, body: b.Bytes()}.send(w)
}

func (m made) send(w http.ResponseWriter) {
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(m.code)
	w.Write(m.body)
}

// render makes a page as a whole before anything is sent.
func (s *Server) render(code int, library Library, name string, p page) made {
	p.Base, p.Token = s.base, s.token
	if library != nil {
		head, err := library.Head()
		if err != nil && code == http.StatusOK {
			return s.trouble(nil, err)
		}
		p.Head = head
	}
	if s.ReadOnly {
		p.Head.ReadOnly = "it was opened to the network, so that it only shows"
	}
	var b bytes.Buffer
	if err := pages().ExecuteTemplate(&b, name, p); err != nil {
		fmt.Fprintf(s.Errors, "fettle: page %s: %v\n", name, err)
		return made{code: http.StatusInternalServerError, body: []byte("The page could not be made.")}
	}
	return made{code: code, body: b.Bytes(), at: time.Now()}
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
	return s.render(code, library, "trouble", page{Title: "That did not work", Notice: n})
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
		s.turn <- struct{}{}
		defer func() { <-s.turn }()
		s.mu.Lock()
		s.began = time.Now()
		s.mu.Unlock()
		work.answer = s.carryOut(d, asked)
	}()
	s.await(w, r, id, work)
}

// carryOut takes a decision, and gives the answer to whoever took it.
func (s *Server) carryOut(d Decision, asked time.Time) func(http.ResponseWriter) {
	library, err := s.Open(context.Background(), asked)
	if err != nil {
		return s.trouble(nil, err).send
	}
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
