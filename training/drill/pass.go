package drill

import (
	"fmt"
	"strings"

	"twobin/procedure"
)

// askedAbout has the IDs of the incidents that the camera department was asked about.
func askedAbout(es []procedure.Entry) map[string]bool {
	out := map[string]bool{}
	for _, e := range es {
		if act(e) == ActAsk {
			out[e.Event.(procedure.Incident).Text] = true
		}
	}
	return out
}

// pass asks the criteria.
func (r *Result) pass(d Drill, plan *Plan, s *procedure.Shift, asked map[string]bool) {
	lack := func(format string, a ...any) { r.Lacking = append(r.Lacking, fmt.Sprintf(format, a...)) }
	if !s.Closed {
		lack("the shift was not closed")
	}
	if s.Closed && (!s.TapesRight || !s.BookRight) {
		lack("tapes or book lines did not add up")
	}
	here := 0
	for _, l := range s.Order {
		roll := s.Rolls[l]
		here++
		switch {
		case roll.Held != nil:
		case roll.Place != procedure.PlaceReturned:
			lack("%s was not closed: %s", l, roll.Place)
		default:
			_, wentOn := plan.WentOn(l, s)
			if p, ok := plan.Roll(l); ok && p.Erase && !roll.Erased && !wentOn {
				lack("%s was to be erased at the cart, and was not", l)
			}
		}
	}
	if due := plan.due(s, asked); here < due {
		lack("%d of %d cards were taken in", here, due)
	}
	late := 0
	for _, f := range r.Findings {
		switch f.Verdict {
		case Wrong, Missed:
			spec, _ := SpecOf(f.Kind)
			lack("%s: %s", spec.Title, f.Verdict)
		case Late:
			late++
		case Right, NotMet:
		}
	}
	if late > d.Late {
		lack("%d incidents handled late, %d allowed", late, d.Late)
	}
	if len(r.Slips) > d.Orders {
		lack("%d things tried out of their order, %d allowed", len(r.Slips), d.Orders)
	}
	if !d.AnyDesk && r.DeskOver > d.Desk {
		lack("%d cards lay on the desk too long, %d allowed", r.DeskOver, d.Desk)
	}
	r.Outcome = NotPassed
	if len(r.Lacking) == 0 {
		r.Outcome = Passed
	}
}

// isSlip: something was tried that was not due. A wrong answer to the question that was asked is none, nor is a label
// that is taken, nor a start that came too late: those are counted by themselves.
func isSlip(plan *Plan, l procedure.Label, ev procedure.Refused) bool {
	switch {
	case ev.Asked == (procedure.RollReceived{}).Name() || ev.Asked == "receive" && l == "":
		return false
	case ev.Asked == (procedure.CopyBegan{}).Name() && ev.Due == procedure.StepStart.String(): // too late, or too few drives
		return false
	case ev.Asked == (procedure.EraseBegan{}).Name() && ev.Due == procedure.StepErase.String(): // its look is too old
		return false
	case strings.HasPrefix(ev.Asked, "setup.") || strings.HasPrefix(ev.Asked, "close."):
		return false
	case strings.HasPrefix(ev.Asked, "answer "):
		return true
	}
	for _, e := range procedure.Events() {
		if e.Name() == ev.Asked {
			return true
		}
	}
	switch ev.Asked {
	case "receive", "pick", "put back", "note", "operator", "return", "pull":
		return true
	case "erase":
		return ev.Due != procedure.StepErase.String()
	}
	return false
}
