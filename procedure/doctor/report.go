package doctor

import (
	"fmt"
	"time"
)

// Mark is how one subject stands. The zero value is no mark.
type Mark int

const (
	markInvalid Mark = iota
	// Fine: nothing to do.
	Fine
	// Look: a shift can run, but somebody should know or do something.
	Look
	// Stop: a shift cannot run like this.
	Stop
)

// String is the word on the screen and in JSON.
func (m Mark) String() string {
	switch m {
	case Fine:
		return "fine"
	case Look:
		return "look"
	case Stop:
		return "stop"
	case markInvalid:
	}
	return "invalid"
}

// MarshalText gives the word.
func (m Mark) MarshalText() ([]byte, error) { return []byte(m.String()), nil }

// UnmarshalText takes the word back.
func (m *Mark) UnmarshalText(text []byte) error {
	for _, k := range []Mark{Fine, Look, Stop} {
		if k.String() == string(text) {
			*m = k
			return nil
		}
	}
	return fmt.Errorf("mark %q: want fine, look or stop", text)
}

// Line is one subject.
type Line struct {
	// Subject is a word or two, the same at every run.
	Subject string `json:"subject"`
	Mark    Mark   `json:"mark"`
	// Seen is what was found, in words. It may hold names that come from drives: untrusted text.
	Seen string `json:"seen"`
	// Do is what to do about it; empty if there is nothing to do.
	Do string `json:"do,omitempty"`
}

// Report is the outcome of a check. It marshals to JSON as it is.
type Report struct {
	At    time.Time `json:"at"`
	Lines []Line    `json:"lines"`
}

// Stops says whether a shift cannot run here.
func (r Report) Stops() bool { return r.count(Stop) > 0 }

func (r Report) count(m Mark) int {
	n := 0
	for _, l := range r.Lines {
		if l.Mark == m {
			n++
		}
	}
	return n
}

// Verdict is the last line of the screen: one sentence.
func (r Report) Verdict() string {
	stops, looks := r.count(Stop), r.count(Look)
	switch {
	case stops > 0:
		return fmt.Sprintf("A shift cannot run here yet: see %s.", marked(stops, Stop))
	case looks > 0:
		return fmt.Sprintf("A shift can run here; read %s first.", marked(looks, Look))
	}
	return "A shift can run here."
}

func marked(n int, m Mark) string {
	if n == 1 {
		return fmt.Sprintf("the line marked %s", m)
	}
	return fmt.Sprintf("the %d lines marked %s", n, m)
}
