package signature

import (
	"strings"
	"time"
)

const timeLayout = "20060102150405"

// readTime reads a time of an allowed_signers option: YYYYMMDD, YYYYMMDDHHMM or YYYYMMDDHHMMSS, with Z or UTC behind it.
func readTime(text string) (time.Time, *fault) {
	digits, utc := strings.CutSuffix(strings.ToUpper(text), "Z")
	if !utc {
		digits, utc = strings.CutSuffix(digits, "UTC")
	}
	const form = `write it as "20271231Z" or "20271231235959Z", in UTC`
	for _, c := range digits {
		if c < '0' || c > '9' {
			return time.Time{}, &fault{quote(text) + " is not a time", form}
		}
	}
	switch len(digits) {
	case 8, 12, 14:
	default:
		return time.Time{}, &fault{quote(text) + " is not a time", form}
	}
	t, err := time.Parse(timeLayout[:len(digits)], digits)
	if err != nil {
		return time.Time{}, &fault{quote(text) + " is on no calendar", form}
	}
	if !utc {
		return time.Time{}, &fault{quote(text) + " is in local time, another moment on another machine", `put a Z behind it for UTC: "` + digits + `Z"`}
	}
	if t.Unix() <= 0 {
		return time.Time{}, &fault{quote(text) + " is before 1970", form}
	}
	return t, nil
}

// writeTime is the one way to write t in a roster.
func writeTime(t time.Time) string { return t.UTC().Format(timeLayout) + "Z" }
