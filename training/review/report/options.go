package report

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"twobin/procedure"
	"twobin/training/review/read"
)

// Mode is which journals count. The zero value is all.
type Mode int

// The modes.
const (
	All Mode = iota
	Shifts
	Drills
)

// String is the mode in words.
func (m Mode) String() string {
	switch m {
	case Shifts:
		return "shifts"
	case Drills:
		return "drills"
	case All:
	}
	return "drills and shifts"
}

// Options are what the trainer asks for. The zero value is everything.
type Options struct {
	// Trainees limits the review to these names; case does not matter.
	Trainees []string
	// References are whose median is the standard; none: there is no standard.
	References []string
	// Since leaves out journals that began before; zero: none. Runs keep the numbers that they have with all of them.
	Since time.Time
	// Steps limits what is said about times; none: all of the routine.
	Steps []procedure.Step
	Mode  Mode
	// Compare are two sides; nil for no comparison.
	Compare *[2]Side
}

// Side is one side of a comparison: a trainee, or a period.
type Side struct {
	Name string
	// From and To are the first and last day of a period, in the offset of each journal; zero for a trainee.
	From, To time.Time
}

// Period says whether the side is a period.
func (s Side) Period() bool { return !s.From.IsZero() }

// String is the side in words.
func (s Side) String() string {
	if s.Period() {
		return s.From.Format(time.DateOnly) + " to " + s.To.Format(time.DateOnly)
	}
	return s.Name
}

// ParseSides reads "NAME,NAME" or "FROM..TO,FROM..TO" with days as 2031-05-06.
func ParseSides(text string) (*[2]Side, error) {
	a, b, ok := strings.Cut(text, ",")
	a, b = strings.TrimSpace(a), strings.TrimSpace(b)
	if !ok || a == "" || b == "" || strings.Contains(b, ",") {
		return nil, fmt.Errorf("%q: two names, or two periods like 2031-05-01..2031-05-31, joined by one comma", text)
	}
	var out [2]Side
	for i, t := range []string{a, b} {
		out[i].Name = t
		from, to, period := strings.Cut(t, "..")
		if !period {
			continue
		}
		var err error
		if out[i].From, err = time.Parse(time.DateOnly, from); err == nil {
			out[i].To, err = time.Parse(time.DateOnly, to)
		}
		if err != nil || out[i].To.Before(out[i].From) {
			return nil, fmt.Errorf("%q is no period: FROM..TO with days like 2031-05-06, the first one first", t)
		}
	}
	if out[0].Period() != out[1].Period() {
		return nil, fmt.Errorf("%q: two names or two periods, not one of each", text)
	}
	return &out, nil
}

// in says whether a moment lies in a period, by the days of its own offset.
func (s Side) in(t time.Time) bool {
	day := t.Format(time.DateOnly)
	return day >= s.From.Format(time.DateOnly) && day <= s.To.Format(time.DateOnly)
}

// key is a name as it is compared: case and blanks around do not matter.
func key(name string) string { return strings.ToLower(strings.TrimSpace(name)) }

func has(names []string, name string) bool {
	return slices.ContainsFunc(names, func(n string) bool { return key(n) == key(name) })
}

// keeps says whether a session is of the mode that is asked for.
func (m Mode) keeps(s *read.Session) bool {
	switch m {
	case Shifts:
		return s.Drill == ""
	case Drills:
		return s.Drill != ""
	case All:
	}
	return true
}
