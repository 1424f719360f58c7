package hooks

import (
	"fettle/history"
	"fettle/schema"
)

// quickly judges a push from what is remembered of the library as it stood before, as [running.quick] does for a commit: nil where
// anything speaks against the push, or is out of the ordinary. Then all of it is read.
//
// On a server the memory lies below the directory of the bare repository, where nobody writes who only pushes: whoever could alter it
// could replace the hook that calls the gate. It is of a state that a protected branch stood at, never of one that is only on its way in.
func (r *Ruling) quickly(running *running, root string, wait func() error) (*verdict, error) {
	anchor := func(there func(schema.Digest) bool) (string, error) {
		pins, err := r.gate.pins()
		if err != nil || len(pins) == 0 { // no adoption comes with the push, so the one that counted is the one that counts
			return "", err
		}
		return pinned(pins, there), nil
	}
	return running.quick(root, anchor, func(l *library) preparation {
		prepare := r.prepare(l)
		return func(c *Case, standing *history.Standing) error {
			if err := wait(); err != nil {
				return err
			}
			return prepare(c, standing)
		}
	})
}
