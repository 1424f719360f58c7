package view

import (
	"bytes"
	"encoding/gob"
	"errors"
	"io"
	"os"
)

// A Stored keeps the sets of a document in a file until it is written: what comes first in it is known when all are there, and of a hundred
// thousand cards only a few fit into memory. A few sets are kept without one.
type Stored struct {
	memory []byte
	file   *os.File
	size   int64
	spans  [][2]int64 // of each set in the order in which they came: from, to
	order  []int
	cards  int
	err    error
}

// storedInMemory is how many bytes are kept without a file.
const storedInMemory = 4 << 20

// Add puts a set behind those that are there.
func (s *Stored) Add(set *ReviewSet) error {
	var b bytes.Buffer
	if err := gob.NewEncoder(&b).Encode(set); err != nil {
		return err
	}
	s.memory = append(s.memory, b.Bytes()...)
	s.spans = append(s.spans, [2]int64{s.size, s.size + int64(b.Len())})
	s.order = append(s.order, len(s.order))
	s.size += int64(b.Len())
	s.cards += len(set.Cards)
	if len(s.memory) < storedInMemory {
		return nil
	}
	if s.file == nil {
		file, err := os.CreateTemp("", "fettle-review-")
		if err != nil {
			return err
		}
		s.file = file
		_ = os.Remove(file.Name()) // where that can be done to an open file, nothing is left behind however this ends
	}
	_, err := s.file.Write(s.memory)
	s.memory = s.memory[:0]
	return err
}

// Order says in which order the sets stand in the document, by when they came.
func (s *Stored) Order(order []int) { s.order = order }

// Close removes the file.
func (s *Stored) Close() error {
	if s == nil || s.file == nil {
		return nil
	}
	err := s.file.Close()
	_ = os.Remove(s.file.Name())
	return err
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
	written := s.size - int64(len(s.memory))
	from := io.Reader(bytes.NewReader(s.memory[max(0, span[0]-written):]))
	if span[0] < written {
		from = io.NewSectionReader(s.file, span[0], span[1]-span[0])
	}
	var set ReviewSet
	return &set, gob.NewDecoder(from).Decode(&set)
}
