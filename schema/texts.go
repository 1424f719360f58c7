package schema

import "strings"

// Texts hold what many say once, and on to none of the files that it was read from: of one condition that is remembered, the whole version of its
// set would stay.
type Texts map[string]string

// Own is the text as it is held.
func (t Texts) Own(text string) string {
	known, ok := t[text]
	if !ok {
		known = strings.Clone(text)
		t[known] = known
	}
	return known
}

// ID is an id of texts that are held.
func (t Texts) ID(id ID) ID {
	return ID{Machine: t.Own(id.Machine), Material: t.Own(id.Material), Gas: t.Own(id.Gas), Thickness: t.Own(id.Thickness), Variant: t.Own(id.Variant), Process: t.Own(id.Process)}
}
