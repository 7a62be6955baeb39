package drill

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"github.com/charmbracelet/x/ansi"

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

// Debrief writes what a trainee is told after a drill, for a window of 80 columns. earlier are the trainee's own times
// in earlier drills; the zero value for none. Every line of it says DRILL.
func Debrief(w io.Writer, d Drill, r Result, earlier Spans) error {
	p := &page{}
	p.head("debrief: %s, %s", r.Drill, d.Title)
	p.line(0, "result: %s Seed %d, coach %s.", outcomeWords(r), r.Seed, r.Coach)
	for _, l := range r.Lacking {
		p.line(2, "lacking: %s", l)
	}
	p.line(0, "passed by:")
	for _, c := range d.Says() {
		p.line(2, "%s", c)
	}
	r.tellRight(p)
	r.tellWrong(p)
	r.tellSlips(p)
	r.tellEach(p, r.Misread, "read otherwise than it stands there, %s", "open the drive, or the book, and read it from there; an answer from memory is no look.")
	r.tellEach(p, r.AtErase, "refused at the erase, %s; nothing was removed by it", "read the label from the tape you kept; not sure: put back.")
	r.tellTimes(p, earlier)
	_, err := io.WriteString(w, p.b.String())
	return err
}

// Say writes one paragraph as the debrief does: it says DRILL, and is wrapped to 80 columns.
func Say(w io.Writer, format string, a ...any) error {
	p := &page{}
	p.line(0, format, a...)
	_, err := io.WriteString(w, p.b.String())
	return err
}

// page gathers lines.
type page struct{ b strings.Builder }

// width is the window that a debrief is written for, in columns.
const width = 80

// head begins a part.
func (p *page) head(format string, a ...any) {
	if p.b.Len() > 0 {
		p.b.WriteString("DRILL\n")
	}
	p.line(0, "-- "+format, a...)
}

// line writes one paragraph, indented, and wrapped between words; what does not fit goes two columns further in.
func (p *page) line(indent int, format string, a ...any) {
	const mark = "DRILL "
	room := width - len(mark) - indent
	pad := strings.Repeat(" ", indent)
	for n, l := range strings.Split(ansi.Wordwrap(procedure.Plain(fmt.Sprintf(format, a...)), room-2, ""), "\n") {
		if n == 1 {
			pad += "  "
		}
		p.b.WriteString(strings.TrimRight(mark+pad+l, " ") + "\n")
	}
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

// tellRight: what went right comes first.
func (r *Result) tellRight(p *page) {
	p.head("what went right")
	begun := p.b.Len()
	for _, f := range slices.SortedStableFunc(slices.Values(r.Findings), byTime) {
		if f.Verdict == Right {
			s, _ := SpecOf(f.Kind)
			p.line(2, "%s%s, %s: %s", clock(f.At, r.Began), about(f.Roll), s.Title, sentence(f.Why))
		}
	}
	if len(r.Critical) > 0 && r.StartOver == 0 {
		p.line(2, "Every copy was started within the limit.")
	}
	if len(r.Desk) > 0 && r.DeskOver == 0 {
		p.line(2, "No card lay on the desk for longer than the limit.")
	}
	if len(r.Slips) == 0 {
		p.line(2, "Nothing was tried out of its order.")
	}
	if p.b.Len() == begun {
		p.line(2, "Nothing that could be told yet.")
	}
}

// tellWrong: what did not, with moment, reason, and what to do.
func (r *Result) tellWrong(p *page) {
	met, told := 0, false
	for _, f := range slices.SortedStableFunc(slices.Values(r.Findings), byTime) {
		if f.Verdict != NotMet {
			met++
		}
		if f.Verdict != Late && f.Verdict != Wrong && f.Verdict != Missed {
			continue
		}
		if !told {
			p.head("what did not go right")
			told = true
		}
		s, _ := SpecOf(f.Kind)
		p.line(2, "%s, %s%s, %s: %s", strings.ToUpper(f.Verdict.String()), clock(f.At, r.Began), about(f.Roll), s.Title, sentence(f.Why))
		p.line(4, "right is: %s.", s.Right)
		p.line(4, "why: %s", s.Why)
		p.line(4, "do: %s", s.Do)
	}
	if n := r.StartOver; n > 0 {
		p.head("the start limit was passed %s", times(n))
	}
	if met == 0 {
		p.head("nothing unusual happened in this drill")
	}
}

// tellSlips: what was tried out of its order.
func (r *Result) tellSlips(p *page) {
	if len(r.Slips) == 0 {
		return
	}
	p.head("tried out of order, %s: the program refused it", times(len(r.Slips)))
	for _, s := range r.Slips {
		what := askedWords(s.Asked)
		if what == s.Due {
			what += " too early"
		} else {
			what += ", when " + s.Due + " was due"
		}
		p.line(2, "%s%s: %s. %s", clock(s.At, r.Began), about(s.Roll), what, sentence(s.Why))
	}
}

// tellEach: single moments under one head, and what to do; nothing when there are none. The head has a place for how often.
func (r *Result) tellEach(p *page, slips []Slip, head, do string) {
	if len(slips) == 0 {
		return
	}
	p.head(head, times(len(slips)))
	for _, s := range slips {
		p.line(2, "%s%s: %s", clock(s.At, r.Began), about(s.Roll), sentence(s.Why))
	}
	p.line(4, "do: %s", do)
}

func times(n int) string {
	if n == 1 {
		return "once"
	}
	return fmt.Sprintf("%d times", n)
}

// askedWords says in the routine's words what an event or command would have done.
func askedWords(asked string) string {
	known := map[string]string{
		"roll.received": "receive", "roll.picked": "pick", "label.read": "a label", "tape.moved": "seat", "copy.began": "start",
		"roll.logged": "log", "card.pulled": "pull", "roll.marked": "mark", "roll.binned": "bin", "roll.taken": "a card out of the green bin",
		"erase.began": "erase", "roll.returned": "return", "roll.putback": "put back", "roll.held": "on hold",
	}
	if w, ok := known[asked]; ok {
		return w
	}
	return asked
}

// tellTimes is a table: the trainee's own time by step, beside earlier ones and the house's standard.
func (r *Result) tellTimes(p *page, earlier Spans) {
	type row struct{ name, middle, most, before, standard string }
	var rows []row
	add := func(name string, t, earlier Times, standard string) {
		before := "-"
		if len(earlier) > 0 {
			before = span(earlier.Median())
		}
		if len(t) > 0 {
			rows = append(rows, row{name, span(t.Median()), span(t.Longest()), before, standard})
		}
	}
	for _, spec := range procedure.Routine() {
		add(spec.ID, r.Steps[spec.Step], earlier.Steps[spec.Step], span(Standard(spec.Step)))
	}
	add("critical steps", r.Critical, earlier.Critical, "-")
	add("on the desk", r.Desk, earlier.Desk, "-")
	if len(rows) == 0 {
		return
	}
	p.head("your time at each step, the machine's left out")
	p.line(2, "%-16s%10s%10s%14s%10s", "", "in middle", "at most", "yours before", "standard")
	for _, w := range rows {
		p.line(2, "%-16s%10s%10s%14s%10s", w.name, w.middle, w.most, w.before, w.standard)
	}
	if r.DeskOver > 0 {
		p.line(2, "Over the desk limit: %s.", times(r.DeskOver))
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
