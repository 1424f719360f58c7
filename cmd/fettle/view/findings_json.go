package view

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"unicode/utf16"
	"unicode/utf8"

	"fettle/lint"
)

// FindingsFormat is the version of the JSON that [FindingsJSON] writes. Members are only ever added to it.
const FindingsFormat = 1

type findingsJSON struct {
	Format   int           `json:"format"`
	Findings []findingJSON `json:"findings"`
	Summary  summaryJSON   `json:"summary"`
}

type findingJSON struct {
	Rule     string `json:"rule"`
	Severity string `json:"severity"`
	Path     string `json:"path"`
	Line     int    `json:"line"`
	Column   int    `json:"column"` // in code points, from 1
	ID       string `json:"id"`
	Field    string `json:"field"`
	Message  string `json:"message"`
	Help     string `json:"help"`
	Old      bool   `json:"old,omitempty"` // it stood before the change
}

type summaryJSON struct {
	Files      int `json:"files"`
	Conditions int `json:"conditions"`
	Errors     int `json:"errors"`
	Warnings   int `json:"warnings"`
	Notes      int `json:"notes"`
}

// FindingsJSON writes findings for programs. All members but "old" are always there; "id" and "field" are empty where a finding is
// about no condition.
func FindingsJSON(w io.Writer, r lint.Result) error {
	out := findingsJSON{Format: FindingsFormat, Findings: make([]findingJSON, 0, len(r.Findings))}
	for _, f := range r.Findings {
		out.Findings = append(out.Findings, findingJSON{Rule: f.Rule, Severity: f.Severity.String(), Path: f.Path, Line: f.Line, Column: f.Column,
			ID: f.ID, Field: f.Field, Message: f.Message, Help: f.Help, Old: f.Old})
	}
	out.Summary.Files, out.Summary.Conditions = r.Files, r.Conditions
	out.Summary.Errors, out.Summary.Warnings, out.Summary.Notes = r.Count()
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", "  ")
	if err := enc.Encode(out); err != nil {
		return err
	}
	_, err := w.Write(escapeHidden(b.Bytes()))
	return err
}

// escapeHidden writes what a terminal would act on, or could not show, as JSON escapes. It changes nothing of what the text means,
// since such characters stand only inside of strings.
func escapeHidden(text []byte) []byte {
	out := make([]byte, 0, len(text))
	for len(text) > 0 {
		r, size := utf8.DecodeRune(text)
		switch {
		case r == '\n' || !hidden(r):
			out = append(out, text[:size]...)
		case r > 0xffff:
			high, low := utf16.EncodeRune(r)
			out = fmt.Appendf(out, `\u%04x\u%04x`, high, low)
		default:
			out = fmt.Appendf(out, `\u%04x`, r)
		}
		text = text[size:]
	}
	return out
}
