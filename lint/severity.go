package lint

// Severity says how much a finding weighs. They are ordered: Off < Note < Warning < Error.
type Severity uint8

// The severities. A rule that is Off is not run.
const (
	Off     Severity = iota
	Note             // good to know, nothing to do
	Warning          // outside of what is usual; somebody should look
	Error            // cannot be: a limit of physics or of the machine, or a broken promise about records
)

var severityWords = [...]string{"off", "note", "warning", "error"}

// String is the word that files and screens use.
func (s Severity) String() string {
	if int(s) < len(severityWords) {
		return severityWords[s]
	}
	return "off"
}

// SeverityNamed is the other way round.
func SeverityNamed(word string) (Severity, bool) {
	for s, w := range severityWords {
		if w == word {
			return Severity(s), true
		}
	}
	return Off, false
}
