package schema

import (
	"maps"
	"slices"
	"sync"
)

// A Snapshot is a [Source] that can tell the id of a file's content without reading it: equal content, equal id, "" where unknown.
type Snapshot interface {
	Source
	Hash(path string) string
}

// Known remembers files that were read, by path and content, so that two snapshots of one library that differ in one file are
// read once and once more for that file. It may be used by several goroutines.
type Known struct {
	mu      sync.Mutex
	files   map[blobAt]*File
	records map[blobAt]*Record
}

type blobAt struct{ path, hash string }

// NewKnown remembers nothing yet.
func NewKnown() *Known { return &Known{files: map[blobAt]*File{}, records: map[blobAt]*Record{}} }

// Clone knows the same, and what is read with its help from now on is its own.
func (k *Known) Clone() *Known {
	k.mu.Lock()
	defer k.mu.Unlock()
	return &Known{files: maps.Clone(k.files), records: maps.Clone(k.records)}
}

// Of is the snapshot, read with the help of what is known.
func (k *Known) Of(s Snapshot) Snapshot { return knownSource{s, k} }

type knownSource struct {
	Snapshot
	known *Known
}

// Holds reports whether a record was read.
func (k *Known) Holds(path, hash string) bool {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.records[blobAt{path, hash}] != nil
}

// readFrom reads a file of the library, or takes it from what is known. Files are shared but for their problems, to which a
// library adds its own.
func readFrom(src Source, path string) (*File, error) {
	s, ok := src.(knownSource)
	at := blobAt{path: path}
	if ok {
		at.hash = s.Hash(path)
		s.known.mu.Lock()
		f := s.known.files[at]
		s.known.mu.Unlock()
		if f != nil && at.hash != "" {
			return f.Copied(), nil
		}
	}
	data, err := src.Read(path)
	if err != nil {
		return nil, err
	}
	f := ReadFile(path, data)
	if ok && at.hash != "" {
		s.known.mu.Lock()
		s.known.files[at] = f
		s.known.mu.Unlock()
		return f.Copied(), nil
	}
	return f, nil
}

// Copied is the file for another library, which adds problems of its own.
func (f *File) Copied() *File {
	return &File{Path: f.Path, Data: f.Data, object: f.object, scanned: f.scanned, laidOut: f.laidOut, items: f.items, Kind: f.Kind, Value: f.Value, Problems: slices.Clone(f.Problems)}
}

// ReadRecordFrom reads a record of a snapshot, or takes it from what is known.
func ReadRecordFrom(src Source, path string) (*Record, error) {
	s, ok := src.(knownSource)
	at := blobAt{path: path}
	if ok {
		at.hash = s.Hash(path)
		s.known.mu.Lock()
		r := s.known.records[at]
		s.known.mu.Unlock()
		if r != nil && at.hash != "" {
			return r, nil
		}
	}
	data, err := src.Read(path)
	if err != nil {
		return nil, err
	}
	r := ReadRecord(path, data)
	if ok && at.hash != "" {
		s.known.mu.Lock()
		s.known.records[at] = r
		s.known.mu.Unlock()
	}
	return r, nil
}
