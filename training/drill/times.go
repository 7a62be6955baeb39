package drill

import (
	"slices"
	"time"

	"twobin/procedure"
)

// Times are durations of one kind.
type Times []time.Duration

// Spans are the trainee's own times, over all rolls and passes.
type Spans struct {
	Steps map[procedure.Step]Times
	// Critical is the time from tape to start, and from the green bin to the erase or put back. Desk is on the desk.
	Critical, Desk Times
}

// Add takes in the times of another drill.
func (s *Spans) Add(o Spans) {
	if s.Steps == nil {
		s.Steps = map[procedure.Step]Times{}
	}
	for step, t := range o.Steps {
		s.Steps[step] = append(s.Steps[step], t...)
	}
	s.Critical, s.Desk = append(s.Critical, o.Critical...), append(s.Desk, o.Desk...)
}

// Median is the middle one, 0 for none.
func (t Times) Median() time.Duration {
	if len(t) == 0 {
		return 0
	}
	s := slices.Sorted(slices.Values(t))
	return s[(len(s)-1)/2]
}

// Longest is the longest one, 0 for none.
func (t Times) Longest() time.Duration {
	if len(t) == 0 {
		return 0
	}
	return slices.Max(t)
}

// spans measures from event to event, within one run of the program.
func (r *Result) spans(es []procedure.Entry) {
	critical := map[procedure.Label]procedure.Moment{}
	desk := map[procedure.Label]procedure.Moment{}
	end := func(from map[procedure.Label]procedure.Moment, e procedure.Entry, into *Times) {
		at, ok := from[e.Roll]
		if !ok {
			return
		}
		delete(from, e.Roll)
		if d, trusted := e.At.Since(at); trusted {
			*into = append(*into, d)
		}
	}
	for _, e := range es {
		switch ev := e.Event.(type) {
		case procedure.TapeMoved:
			critical[e.Roll] = e.At
		case procedure.RollTaken:
			if ev.For == "erase" {
				critical[e.Roll] = e.At
			}
		case procedure.CopyBegan, procedure.EraseBegan:
			end(critical, e, &r.Critical)
		case procedure.CardPulled:
			desk[e.Roll] = e.At
		case procedure.RollBinned:
			end(desk, e, &r.Desk)
		case procedure.PutBack, procedure.RollHeld:
			end(critical, e, &r.Critical)
			end(desk, e, &r.Desk)
		}
	}
}
