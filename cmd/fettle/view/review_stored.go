package view

import (
	"bytes"
	"encoding/gob"
	"errors"
)

// A Stored keeps the sets of a document in a file until it is written: what comes first in it is known when all are there, and of a hundred
// thousand cards only a few fit into memory. A few sets are kept without one.
type Stored struct {
	aside Aside
	spans [][2]int64 // of each set in the order in which they came: from, to
	order []int
	cards int
	err   error
}

// Add puts a set behind those that are there.
func (s *Stored) Add(set *ReviewSet) error {
	var b bytes.Buffer
	if err := gob.NewEncoder(&b).Encode(set); err != nil {
		return err
	}
	at := s.aside.Size()
	s.spans = append(s.spans, [2]int64{at, at + int64(b.Len())})
	s.order = append(s.order, len(s.order))
	s.cards += len(set.Cards)
	_, err := s.aside.Write(b.Bytes())
	return err
}

// Order says in which order the sets stand in the document, by when they came.
func (s *Stored) Order(order []int) { s.order = order }

// Close removes the file.
func (s *Stored) Close() error {
	if s == nil {
		return nil
	}
	return s.aside.Close()
}

// Err is what kept a set from being read again.
func (s *Stored) Err() error {
	if s == nil {
		return nil
	}
	return s.err
}

func (s *Stored) each(yield func(*ReviewSet) bool) {
	for _, n := range s.order {
		set, err := s.read(s.spans[n])
		if err != nil {
			s.err = errors.Join(s.err, err)
			return
		}
		if !yield(set) {
			return
		}
	}
}

func (s *Stored) read(span [2]int64) (*ReviewSet, error) {
	var set ReviewSet
	return &set, gob.NewDecoder(s.aside.Read(span[0], span[1])).Decode(&set)
}
