package serve

import (
	"bytes"
	"context"
	_ "embed"
	"errors"
	"fmt"
	"html/template"
	"net/http"
	"strings"
	"sync"

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
	s.show("GET /family/{name...}", "family", "", func(l Library, r *http.Request) (any, error) { return l.Family(r.PathValue("name")) })
	s.show("GET /machine/{name}", "machine", "", func(l Library, r *http.Request) (any, error) { return l.Machine(r.PathValue("name")) })
	s.show("GET /search", "search", "Search", func(l Library, r *http.Request) (any, error) { return l.Search(query(r)) })
	s.mux.HandleFunc("POST /decide", s.decide)
	s.mux.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) { s.fail(w, nil, &NotFound{"such page"}) })
}

func query(r *http.Request) string {
	q := strings.TrimSpace(r.URL.Query().Get("q"))
	return q[:min(len(q), 200)]
}

// show answers a GET with a template.
func (s *Server) show(pattern, name, title string, find func(Library, *http.Request) (any, error)) {
	s.mux.HandleFunc(pattern, func(w http.ResponseWriter, r *http.Request) {
		library, leave, ok := s.look(w, r)
		if !ok {
			return
		}
		defer leave()
		body, err := find(library, r)
		if err != nil {
			s.fail(w, library, err)
			return
		}
		heading := title
		if heading == "" {
			heading = strings.Trim(r.URL.Path[strings.Index(r.URL.Path[1:], "/")+1:], "/")
		}
		if c, ok := body.(*Card); ok && c.Kind != "" {
			heading = c.Card.ID
		}
		p := page{Title: heading, Query: query(r), Body: body, Notice: s.take(r.URL.Query().Get("said"))}
		s.write(w, http.StatusOK, library, name, p)
	})
}

// look waits for its turn and takes a fresh look at the library.
func (s *Server) look(w http.ResponseWriter, r *http.Request) (library Library, leave func(), ok bool) {
	ctx := r.Context()
	timer, cancel := context.WithTimeout(ctx, s.Wait)
	defer cancel()
	select {
	case s.turn <- struct{}{}:
	case <-timer.Done():
		w.Header().Set("Retry-After", "5")
		http.Error(w, "Another page is taking long. Try again.", http.StatusServiceUnavailable)
		return nil, nil, false
	}
	leave = func() { <-s.turn }
	library, err := s.Open(ctx)
	if err != nil {
		leave()
		s.fail(w, nil, err)
		return nil, nil, false
	}
	return library, leave, true
}

// write renders a page as a whole before anything is sent.
func (s *Server) write(w http.ResponseWriter, code int, library Library, name string, p page) {
	p.Base, p.Token = s.base, s.token
	if library != nil {
		head, err := library.Head()
		if err != nil && code == http.StatusOK {
			s.fail(w, nil, err)
			return
		}
		p.Head = head
	}
	if s.ReadOnly {
		p.Head.ReadOnly = "it was opened to the network, so that it only shows"
	}
	var b bytes.Buffer
	if err := pages().ExecuteTemplate(&b, name, p); err != nil {
		fmt.Fprintf(s.Errors, "fettle: page %s: %v\n", name, err)
		http.Error(w, "The page could not be made.", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(code)
	w.Write(b.Bytes())
}

// fail says on a page what went wrong.
func (s *Server) fail(w http.ResponseWriter, library Library, err error) {
	code, n := http.StatusInternalServerError, &notice{Message: err.Error()}
	var missing *NotFound
	var refused *Refusal
	switch {
	case errors.As(err, &missing):
		code = http.StatusNotFound
	case errors.As(err, &refused):
		code, n.Lines = http.StatusConflict, lines(refused.Help)
	}
	s.write(w, code, library, "trouble", page{Title: "That did not work", Notice: n})
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
		s.fail(w, nil, &Refusal{Message: "nothing can be decided here: the page was opened to the network, so that it only shows"})
		return
	}
	d := Decision{Kind: r.PostForm.Get("kind"), ID: r.PostForm.Get("id"), Seen: r.PostForm.Get("digest"), Because: strings.TrimSpace(strings.ReplaceAll(r.PostForm.Get("because"), "\r\n", "\n"))}
	switch r.PostForm.Get("decision") {
	case "approve":
		d.Approve = true
	case "reject":
	default:
		s.fail(w, nil, &Refusal{Message: "the form does not say whether to approve or to reject"})
		return
	}
	library, leave, ok := s.look(w, r)
	if !ok {
		return
	}
	defer leave()
	said, err := library.Decide(d)
	if err != nil {
		s.fail(w, library, err)
		return
	}
	n := notice{Good: true, Message: map[bool]string{true: "Approved: ", false: "Rejected: "}[d.Approve] + d.what(), Lines: lines(said)}
	http.Redirect(w, r, s.base+"/?said="+s.keep(n), http.StatusSeeOther)
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
	delete(s.notice, id)
	return &n
}
