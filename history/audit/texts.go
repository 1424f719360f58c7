package audit

import (
	"strings"

	"fettle/schema"
)

// texts hold what many say once, and on to none of the files that it was read from: of one condition that is remembered, the whole version of its
// set would stay.
type texts map[string]string

func (t texts) own(text string) string {
	known, ok := t[text]
	if !ok {
		known = strings.Clone(text)
		t[known] = known
	}
	return known
}

func (t texts) id(id schema.ID) schema.ID {
	return schema.ID{Machine: t.own(id.Machine), Material: t.own(id.Material), Gas: t.own(id.Gas), Thickness: t.own(id.Thickness), Variant: t.own(id.Variant), Process: t.own(id.Process)}
}
