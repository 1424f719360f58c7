// Package serve is the local page: what waits for a decision, the card of a change with approve and reject, a condition with its figures
// and its history, a family, a machine, a search. It is plain HTML from templates; no script, no network, nothing to install.
//
// What the pages show comes from a [Library], which the command gives; nothing here reads a file. So no path of a URL can reach one: it is
// compared with the names that the library has.
//
// Who may ask is judged before anything else, in this order (see [Server.ServeHTTP]): the Host must be one of ours, so that no foreign name
// that was made to point here gets an answer; a browser that says that another site asks gets none; the path begins with a random part, and
// a cookie that stays below it holds a random key, so that neither other users of this computer nor other servers on it come by either.
// What changes something must come from our own form: by its Origin and by a token in it.
package serve

import (
	"context"
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"io"
	"log"
	"net"
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"

	"fettle/cmd/fettle/view"
)

// A Library answers what one page shows, as things stood when it was opened. It is asked for one page at a time.
type Library interface {
	Leave() // ends its use by whoever opened it
	Head() (Head, error)
	// Foresee is the work of looking where everything stands, which a queue and a search need and which may take long: it is done before one of
	// these is asked for, and beside other pages. It is nil where that is known.
	Foresee() func()
	Until() time.Time // when something changes by the clock alone
	Queue() (*Queue, error)
	Card(id string) (*Card, error)
	Subject(kind, name string) (*Card, error) // roster, people, settings, a machine
	Condition(id string) (*Condition, error)
	History(id string) (*Condition, error) // its timeline, and nothing that takes no history
	Family(name string) (*Family, error)
	Machine(name string) (*Machine, error)
	Search(query string) ([]Hit, error)
	Decide(Decision) (said string, err error)
}

// A NotFound is the answer for a name that the library does not have.
type NotFound struct{ What string }

func (e *NotFound) Error() string { return "there is no " + e.What + " here" }

// A Refusal is a decision that was not taken, with the way out.
type Refusal struct{ Message, Help string }

func (e *Refusal) Error() string { return e.Message }

// A Head is what stands above every page.
type Head struct {
	Library  string
	Person   string // who would sign; "" where nobody can
	ReadOnly string // why nothing can be decided here; "" where it can
	Machines []string
	Unsaved  int // edited conditions that are not saved, which are no part of a review
}

// A Queue is what waits for a decision, the biggest effect first.
type Queue struct {
	Summary  []string // what needs a decision, in a few lines
	Sets     []QueueSet
	Subjects []Waiting
	Others   []view.Row
}

// A QueueSet is the conditions of one machine, material and gas that wait.
type QueueSet struct {
	Name string
	Rows []QueueRow
}

// A QueueRow is a condition that waits: what changes, its biggest effect, and how many findings there are.
type QueueRow struct {
	ID, Status, Short, Biggest, Count string
	Bad                               bool // an error or an earlier no stands against it
}

// A Waiting is something to decide on that is no condition: the roster, the people, the settings, a machine.
type Waiting struct{ What, Status, Short, Kind, Name string }

// A Card is a change to decide on.
type Card struct {
	Kind    string // "" for a condition, else roster, people, settings or machine
	Name    string // of what is no condition
	Card    view.ReviewCard
	Plots   []view.ReviewPlot
	Digest  string // of what is shown; "" for a removal
	Open    bool   // it waits for a decision
	Against string // what speaks against an approval by whoever sits here, with the way out; "" for nothing
	Help    string
}

// HelpLines is the way out, a line each.
func (c *Card) HelpLines() []string { return lines(c.Help) }

// A Condition is one with all that is known of it.
type Condition struct {
	ID, Family, Machine string
	State, Status       string
	Values              []view.Row
	Figures             []view.FigureBlock
	Findings            []view.ReviewFinding
	Trials              view.TrialCondition
	Timeline            *view.Page // nil where it stands on a page of its own
	Code                string     // of the card of what is in force; "" where nothing is
}

// A Family is the conditions of one machine, material, gas and variant over thickness.
type Family struct {
	Name, Machine string
	Plot          view.ReviewPlot
	Members       []Member
}

// A Member is a condition in a list.
type Member struct{ ID, Name, Status, Values, Loaded, Waived string }

// A Machine is a profile with all its conditions.
type Machine struct {
	Name     string
	Facts    []view.Row
	Summary  []string
	Waits    string // how the profile stands where it waits for a decision, "" where it is approved
	Families []Family
}

// A Hit is a condition that a search found.
type Hit struct{ ID, Status, Values string }

// A Decision is what somebody decided on a page.
type Decision struct {
	Approve bool
	Kind    string // "" for a condition
	ID      string // of a condition, or the name of something else
	Seen    string // digest of what the page showed
	Because string
}

// Options are what a server needs.
type Options struct {
	Open     func(ctx context.Context, asked time.Time) (Library, error) // the library as it stands at a moment not before asked
	Doing    func(foresee bool) string                                   // what takes time, in words: what [Library] foresees, or else; may be nil
	Hosts    []string                                                    // values of the header Host that are ours: 127.0.0.1:8417
	ReadOnly bool
	Errors   io.Writer     // for what goes wrong in the server itself
	Prompt   time.Duration // after which the beginning of a page is sent, and the rest when it is there
	Patience time.Duration // after which a page says that a decision is under way
	Keep     bool          // whether pages are kept for others who ask for them, while the library is the same
}

// A Server is the local page. Make it with [New].
type Server struct {
	Options
	base  string // random first part of every path
	key   string // in the cookie
	token string // in every form
	mux   *http.ServeMux
	turn  chan struct{} // one page at a time

	mu      sync.Mutex
	notice  map[string]notice  // what a decision came to, shown once
	began   time.Time          // when whoever has the turn got it
	deeds   map[string]*deed   // decisions that take long
	flights map[string]*flight // pages that wait for their turn, by address

	made    map[string]made // pages of one library, by address; whoever has the turn may touch it
	madeFor Library
}

// headKept is how long what stands above a page is kept, who would sign above all: a key may come and go without a trace in the library.
const headKept = time.Second

// mostMade is how many pages are kept.
const mostMade = 500

// A made page is ready to be sent: its beginning, what stands above every page, and the rest.
type made struct {
	code              int
	first, head, rest []byte
	at                time.Time
	found             any       // what the page was made of,
	until             time.Time // and how long that is so
}

// A deed is a decision under way.
type deed struct {
	done   chan struct{}
	answer func(http.ResponseWriter)
}

// New makes a server with a key of its own.
func New(o Options) *Server {
	if o.Prompt == 0 {
		o.Prompt = 25 * time.Millisecond
	}
	if o.Patience == 0 {
		o.Patience = 1500 * time.Millisecond
	}
	s := &Server{Options: o, base: "/" + random(9), key: random(24), token: random(24), turn: make(chan struct{}, 1), notice: map[string]notice{}, deeds: map[string]*deed{},
		flights: map[string]*flight{}}
	s.routes()
	return s
}

func random(n int) string {
	b := make([]byte, n)
	rand.Read(b) // never fails
	return base64.RawURLEncoding.EncodeToString(b)
}

// Entrance is the path to open first; it gives a browser the cookie.
func (s *Server) Entrance() string { return s.base + "/enter?key=" + s.key }

const cookieName = "fettle"

// Limits of a request and of each piece of an answer.
const (
	mostURL      = 2 << 10
	mostForm     = 64 << 10
	writeTimeout = 2 * time.Minute
)

// ServeHTTP judges who asks, and answers.
func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	h := w.Header()
	h.Set("Content-Security-Policy", "default-src 'none'; style-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'")
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("X-Frame-Options", "DENY")
	h.Set("Referrer-Policy", "same-origin") // with no-referrer, browsers send the Origin null with our own forms
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	h.Set("Cache-Control", "no-store")
	refuse := func(code int, message string) { http.Error(w, message, code) }
	switch site := r.Header.Get("Sec-Fetch-Site"); {
	case !slices.Contains(s.Hosts, strings.ToLower(r.Host)):
		refuse(http.StatusMisdirectedRequest, "This name is not the one that fettle serve printed.")
		return
	case len(r.RequestURI) > mostURL:
		refuse(http.StatusRequestURITooLong, "The address is too long.")
		return
	case r.Method != http.MethodGet && r.Method != http.MethodHead && r.Method != http.MethodPost:
		h.Set("Allow", "GET, HEAD, POST")
		refuse(http.StatusMethodNotAllowed, "Not here.")
		return
	case site != "" && site != "same-origin" && site != "none" && r.URL.Path != s.base+"/enter": // the entrance asks for the key itself
		refuse(http.StatusForbidden, "Another site asked for this page. Open the address that fettle serve printed.")
		return
	case !strings.HasPrefix(r.URL.Path, s.base+"/"):
		refuse(http.StatusNotFound, "Open the address that fettle serve printed.")
		return
	}
	if r.URL.Path == s.base+"/enter" {
		s.enter(w, r)
		return
	}
	if cookie, err := r.Cookie(cookieName); err != nil || !same(cookie.Value, s.key) {
		refuse(http.StatusForbidden, "Open the address that fettle serve printed: this browser has no key.")
		return
	}
	if r.Method == http.MethodPost {
		if origin := r.Header.Get("Origin"); origin != "http://"+r.Host {
			refuse(http.StatusForbidden, "The form is not of this page.")
			return
		}
		r.Body = http.MaxBytesReader(w, r.Body, mostForm)
		if kind, _, _ := strings.Cut(r.Header.Get("Content-Type"), ";"); kind != "application/x-www-form-urlencoded" {
			refuse(http.StatusUnsupportedMediaType, "The form is not of this page.")
			return
		}
		if err := r.ParseForm(); err != nil {
			var most *http.MaxBytesError
			if errors.As(err, &most) {
				refuse(http.StatusRequestEntityTooLarge, "The text is too long.")
				return
			}
			refuse(http.StatusBadRequest, "The form cannot be read.")
			return
		}
		if !same(r.PostForm.Get("token"), s.token) {
			refuse(http.StatusForbidden, "The form is not of this page, or of an earlier run of fettle serve. Open the page again.")
			return
		}
	}
	http.StripPrefix(s.base, s.mux).ServeHTTP(w, r)
}

func same(a, b string) bool { return subtle.ConstantTimeCompare([]byte(a), []byte(b)) == 1 }

// enter gives the cookie to who has the key, and leads to a page without the key in its address.
func (s *Server) enter(w http.ResponseWriter, r *http.Request) {
	if r.Method == http.MethodPost || !same(r.URL.Query().Get("key"), s.key) {
		http.Error(w, "Open the address that fettle serve printed.", http.StatusForbidden)
		return
	}
	http.SetCookie(w, &http.Cookie{Name: cookieName, Value: s.key, Path: s.base + "/", HttpOnly: true, SameSite: http.SameSiteStrictMode})
	// A redirect would be a request that the browser counts as coming from where the link was; Strict cookies stay behind then.
	w.Header().Set("Refresh", "0; url="+s.base+"/")
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	io.WriteString(w, `<!DOCTYPE html><html lang="en"><title>fettle</title><p><a href="`+s.base+`/">To the queue</a></p></html>`)
}

// Serve answers on a listener until the context ends.
func (s *Server) Serve(ctx context.Context, l net.Listener) error {
	server := &http.Server{Handler: s, ReadHeaderTimeout: 5 * time.Second, ReadTimeout: 15 * time.Second, WriteTimeout: writeTimeout, IdleTimeout: time.Minute,
		MaxHeaderBytes: 16 << 10, ErrorLog: log.New(s.Errors, "", 0), BaseContext: func(net.Listener) context.Context { return ctx }}
	done := make(chan error, 1)
	go func() { done <- server.Serve(l) }()
	select {
	case err := <-done:
		return err
	case <-ctx.Done():
		end, cancel := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Second)
		defer cancel()
		return server.Shutdown(end) // lets a decision that is being written come to its end
	}
}
