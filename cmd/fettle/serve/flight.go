package serve

import (
	"context"
	"fmt"
	"net/http"
	"runtime/debug"
	"time"
)

// A flight is a page in the making, for everybody who asks for it before it looks at the library. It comes to its end though all of them go
// away: who asks next profits from it.
type flight struct {
	route
	told chan struct{} // closed when head is there
	head []byte
	done chan struct{} // closed when page is there
	page made
}

// fly has a page made, or joins those who wait for the same.
func (s *Server) fly(to route) *flight {
	s.mu.Lock()
	defer s.mu.Unlock()
	key := to.address + "\x00" + to.said
	if f := s.flights[key]; f != nil {
		return f
	}
	f := &flight{route: to, told: make(chan struct{}), done: make(chan struct{})}
	s.flights[key] = f
	go func() {
		defer close(f.done)
		defer func() {
			if p := recover(); p != nil {
				fmt.Fprintf(s.Errors, "fettle: %v\n%s\n", p, debug.Stack())
				f.page = broken()
			}
		}()
		s.bring(f, func() {
			s.mu.Lock()
			delete(s.flights, key)
			s.mu.Unlock()
		})
	}()
	return f
}

// inTurn does something when nobody else makes a page or decides.
func (s *Server) inTurn(do func()) {
	s.turn <- struct{}{}
	defer func() { <-s.turn }()
	s.mu.Lock()
	s.began = time.Now()
	s.mu.Unlock()
	do()
}

// bring makes the page of a flight. It is told when nobody may join it any more. What takes longest is done beside other pages.
func (s *Server) bring(f *flight, look func()) {
	var library Library
	defer func() {
		if library != nil {
			library.Leave()
		}
	}()
	var ahead func()
	var frame page
	s.inTurn(func() {
		look()
		opened, err := s.Open(context.Background(), time.Now())
		if err != nil {
			f.page = s.trouble(nil, err)
			return
		}
		library = opened
		if known := s.ready(library, f.address); f.said == "" && time.Since(known.at) < headKept {
			f.page = known
			return
		}
		head, err := library.Head()
		if err != nil {
			f.page = s.trouble(nil, err)
			return
		}
		frame = s.frame(f.title, head)
		frame.Query = f.query
		f.tell(s.headOf(frame))
		if f.foresee {
			ahead = library.Foresee()
		}
		if ahead == nil {
			s.make(f, library, frame)
		}
	})
	if ahead != nil {
		ahead()
		s.inTurn(func() { s.make(f, library, frame) })
	}
}

func (f *flight) tell(head []byte) {
	f.head = head
	close(f.told)
}

// make makes the page of a flight from a library, where nothing of it is kept.
func (s *Server) make(f *flight, library Library, p page) {
	var err error
	before := s.ready(library, f.address)
	body, until := before.found, before.until
	if body == nil || !time.Now().Before(until) {
		if body, err = f.find(library); err != nil {
			f.page = s.trouble(library, err)
			return
		}
		until = library.Until()
	}
	p.Body, p.Notice = body, s.take(f.said)
	f.page = s.render(http.StatusOK, f.name, p)
	if f.page.found, f.page.until = body, until; f.said == "" && f.page.code == http.StatusOK && s.Keep {
		s.made[f.address] = f.page
	}
}

// tellEvery is how often a page that is sent in pieces says how far the work is.
const tellEvery = 500 * time.Millisecond

// answer sends the page of a flight: as a whole where it is there at once. Else its beginning comes first, then what is being done and how far
// that is, and the page itself when it is there, all in one answer. Of what is being done no more than the last line is shown, and nothing
// once something stands below it (see the class reading); so it takes no script, and nothing is drawn twice.
func (s *Server) answer(w http.ResponseWriter, r *http.Request, f *flight) {
	asked := time.Now()
	prompt := time.NewTimer(s.Prompt)
	defer prompt.Stop()
	select {
	case <-f.done:
		f.page.send(w)
		return
	case <-r.Context().Done():
		return
	case <-prompt.C:
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	out := http.NewResponseController(w)
	send := func(data ...[]byte) {
		_ = out.SetWriteDeadline(time.Now().Add(writeTimeout)) // not of a recorder
		for _, piece := range data {
			w.Write(piece) // who went away is told by the context
		}
		_ = out.Flush()
	}
	reading := func() []byte {
		line, err := s.execute("reading", struct {
			Doing   string
			Seconds int
		}{s.doing(f.foresee), int(time.Since(asked).Seconds())})
		if err != nil {
			return nil
		}
		return line
	}
	first, err := s.execute("first", s.frame(f.title, Head{}))
	if err != nil {
		broken().send(w)
		return
	}
	send(first, reading())
	told := f.told
	every := time.NewTicker(tellEvery)
	defer every.Stop()
	for {
		select {
		case <-told:
			told = nil
			send(f.head, reading())
		case <-f.done:
			if told != nil {
				send(f.page.head)
			}
			send(f.page.rest)
			return
		case <-every.C:
			send(reading())
		case <-r.Context().Done():
			send([]byte("<p>fettle serve was ended before the page was there.</p>"))
			return
		}
	}
}
