package drill

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"twobin/procedure"
)

// Standard is the house's standard for the operator's own time at a step: the half of all answers should be given
// within it. Own choice, no source; the limits of the policy are another matter.
func Standard(s procedure.Step) time.Duration {
	switch s {
	case procedure.StepReceive, procedure.StepPick, procedure.StepMark, procedure.StepBin, procedure.StepPull:
		return 15 * time.Second
	case procedure.StepSeat, procedure.StepStart:
		return 10 * time.Second
	case procedure.StepLog, procedure.StepCount, procedure.StepLook:
		return 30 * time.Second
	case procedure.StepReseat, procedure.StepErase, procedure.StepReturn:
		return 20 * time.Second
	case procedure.StepNone:
	}
	return 0
}

// Debrief writes what a trainee is told after a drill. earlier are the trainee's own times by step from earlier drills;
// nil for none. Every line of it says DRILL.
func Debrief(w io.Writer, d Drill, r Result, earlier map[procedure.Step]Times) error {
	p := &page{}
	p.line("debrief: %s, %s. Seed %d, coach %s.", r.Drill, d.Title, r.Seed, r.Coach)
	p.line("result: %s", outcomeWords(r))
	for _, l := range r.Lacking {
		p.line("  lacking: %s", l)
	}
	p.line("passed by: %s.", strings.Join(d.Says(), "; "))
	r.tellFindings(p)
	for _, s := range r.Slips {
		p.line("out of order, refused %s: %s%s, due was %s. %s", clock(s.At, r.Began), s.Asked, about(s.Roll), s.Due, sentence(s.Why))
	}
	if n := r.StartOver; n > 0 {
		p.line("start limit passed: %d times", n)
	}
	r.tellTimes(p, earlier)
	_, err := io.WriteString(w, p.b.String())
	return err
}

type page struct{ b strings.Builder }

func (p *page) line(format string, a ...any) {
	fmt.Fprintf(&p.b, "DRILL %s\n", procedure.Plain(fmt.Sprintf(format, a...)))
}

func outcomeWords(r Result) string {
	switch r.Outcome {
	case Passed:
		return "PASSED."
	case NotPassed:
		return "not passed yet."
	case Quit:
		return "quit before its end; recorded as such."
	case BrokenOff:
	}
	return "broken off."
}

// tellFindings: what went right first, then what did not, with moment, reason and what to do.
func (r *Result) tellFindings(p *page) {
	fs := slices.SortedStableFunc(slices.Values(r.Findings), byTime)
	met := 0
	for _, f := range fs {
		if f.Verdict == Right {
			s, _ := SpecOf(f.Kind)
			p.line("right %s%s: %s. %s", clock(f.At, r.Began), about(f.Roll), s.Title, sentence(f.Why))
		}
		if f.Verdict != NotMet {
			met++
		}
	}
	for _, f := range fs {
		if f.Verdict != Late && f.Verdict != Wrong && f.Verdict != Missed {
			continue
		}
		s, _ := SpecOf(f.Kind)
		p.line("%s %s%s: %s. %s", f.Verdict, clock(f.At, r.Began), about(f.Roll), s.Title, sentence(f.Why))
		p.line("  right is: %s", s.Right)
		p.line("  why: %s", s.Why)
		p.line("  do: %s", s.Do)
	}
	if met == 0 {
		p.line("nothing unusual happened in this drill.")
	}
}

func (r *Result) tellTimes(p *page, earlier map[procedure.Step]Times) {
	for _, spec := range procedure.Routine() {
		t := r.Steps[spec.Step]
		if len(t) == 0 {
			continue
		}
		text := fmt.Sprintf("time at %s: %s in the middle, %s at most", spec.ID, span(t.Median()), span(t.Longest()))
		if before := earlier[spec.Step]; len(before) > 0 {
			text += fmt.Sprintf("; yours before: %s", span(before.Median()))
		}
		text += fmt.Sprintf("; standard: %s", span(Standard(spec.Step)))
		p.line("%s", text)
	}
	if len(r.Critical) > 0 {
		p.line("in critical steps: %s in the middle, %s at most", span(r.Critical.Median()), span(r.Critical.Longest()))
	}
	if len(r.Desk) > 0 {
		p.line("on the desk: %s in the middle, %s at most; over the limit: %d", span(r.Desk.Median()), span(r.Desk.Longest()), r.DeskOver)
	}
}

// span is a duration for reading: tenths below ten seconds.
func span(d time.Duration) string {
	if d < 10*time.Second {
		return fmt.Sprintf("%.1f s", d.Seconds())
	}
	return procedure.Clockface(d)
}

// clock is a moment as time since the beginning.
func clock(at, began procedure.Moment) string {
	d, _ := at.Since(began)
	return "at " + procedure.Clockface(d)
}

func about(l procedure.Label) string {
	if l == "" {
		return ""
	}
	return " (" + string(l) + ")"
}

func sentence(s string) string {
	s = strings.TrimSuffix(strings.TrimSpace(s), ".")
	if s == "" {
		return ""
	}
	return strings.ToUpper(s[:1]) + s[1:] + "."
}
