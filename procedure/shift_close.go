package procedure

import (
	"fmt"
	"strconv"
	"strings"
)

// applyClose folds the close of the shift.
func (s *Shift) applyClose(e Entry) error {
	if _, begins := e.Event.(CloseBegan); !begins && !s.Closing {
		return s.refuse(e, "the close has not begun")
	}
	switch ev := e.Event.(type) {
	case CloseBegan:
		for _, l := range s.Lanes {
			if l.Roll != "" {
				return s.refuse(e, fmt.Sprintf("%s is under way", l.Roll))
			}
		}
		s.closeAnew(true)
	case CloseLeft:
		s.closeAnew(false)
	case TapesCounted:
		if ev.Right != (ev.Counted == s.Handled()) || ev.Want != s.Handled() {
			return s.refuse(e, "the count does not match its own verdict")
		}
		s.Tapes, s.TapesRight, s.TapesDone = ev.Counted, ev.Right, true
	case BookCounted:
		if ev.Right != (ev.Counted == s.Lines()) || ev.Want != s.Lines() {
			return s.refuse(e, "the count does not match its own verdict")
		}
		s.Book, s.BookRight, s.BookDone = ev.Counted, ev.Right, true
	case CopiesLooked:
		s.Stood = &ev
	case SheetWritten:
		s.Sheet = &ev
	case ShiftClosed:
		// Asked before it is journaled, not of what is: older journals have no last look,
		if s.strict && s.Stood == nil {
			return s.refuse(e, "the last look at the copies was not taken")
		}
		p := s.points()
		if s.strict { // nor did they count the copies on drives in use
			p = append(p, s.Short()...)
		}
		if len(ev.Open) == 0 && len(p) > 0 {
			return s.refuse(e, p[0])
		}
		s.Closed, s.OpenPoints = true, ev.Open
	}
	return nil
}

// closeAnew begins a close, or leaves it: what one before it counted, saw and wrote is void.
func (s *Shift) closeAnew(closing bool) {
	s.Closing, s.Stood, s.Sheet = closing, nil, nil
	s.Tapes, s.TapesDone, s.TapesRight = 0, false, false
	s.Book, s.BookDone, s.BookRight = 0, false, false
}

// Points lists what does not add up at the close, or is not done yet: open rolls, the two counts, what the last look at
// the copies found, a log sheet that could not be written, and rolls with too few copies.
func (s *Shift) Points() []string { return append(s.points(), s.Short()...) }

// minCopies is how many proven copies on drives in use a roll needs at least, whatever the policy says (common practice,
// no source).
const minCopies = 2

// Short lists the proven rolls that have fewer proven copies on drives in use than the policy asks for, those with
// the same drives in one line. A copy on a drive that was dropped is named and does not count: nobody here sees it again.
func (s *Shift) Short() []string {
	need := max(minCopies, s.limits().Destinations)
	var order []string
	rolls := map[string][]Label{}
	for _, r := range s.where(func(r *Roll) bool { return r.Copy == CopyIsProven }) {
		var here, gone []string
		for _, c := range r.Copies {
			switch _, used := s.Dest(c.Name); {
			case !c.Proven:
			case used:
				here = append(here, c.Name)
			default:
				gone = append(gone, c.Name)
			}
		}
		if len(here) >= need {
			continue
		}
		text := "proven on no drive in use"
		if len(here) > 0 {
			text = fmt.Sprintf("proven on %s in use (%s)", plural(len(here), "drive"), strings.Join(here, ", "))
		}
		text += fmt.Sprintf(", %d needed", need)
		if len(gone) > 0 {
			text += "; also on " + strings.Join(gone, ", ") + ", dropped"
		}
		if rolls[text] == nil {
			order = append(order, text)
		}
		rolls[text] = append(rolls[text], r.Label)
	}
	for i, text := range order {
		order[i] = strings.Join(LabelRuns(rolls[text]), " ") + ": " + text
	}
	return order
}

// points is Points without the rolls with too few copies.
func (s *Shift) points() []string {
	p := s.Open()
	switch handled := plural(s.Handled(), "roll") + " handled"; {
	case !s.TapesDone:
		p = append(p, "tapes kept are not counted yet; "+handled)
	case !s.TapesRight || s.Tapes != s.Handled():
		p = append(p, fmt.Sprintf("tapes kept do not match: %d counted, %s", s.Tapes, handled))
	}
	switch logged := plural(s.Lines(), "roll") + " logged"; {
	case !s.BookDone:
		p = append(p, "book lines are not counted yet; "+logged)
	case !s.BookRight || s.Book != s.Lines():
		p = append(p, fmt.Sprintf("book lines do not match: %d counted, %s", s.Book, logged))
	}
	if s.Stood != nil {
		p = append(p, s.Stood.Open()...)
	}
	if s.Sheet != nil && s.Sheet.Fault != "" {
		p = append(p, "the log sheet was not written: "+s.Sheet.Fault)
	}
	return p
}

// Open lists what the last look found amiss, one line each; nil when every copy stands.
func (c *CopiesLooked) Open() []string {
	var out []string
	for _, d := range c.Dests {
		if !d.Seen {
			out = append(out, d.Dest+" was not seen at the last look: "+d.Why)
		}
		var rest []Label
		for i, p := range d.Points {
			if i >= mostPoints {
				rest = append(rest, p.Roll)
				continue
			}
			out = append(out, "on "+d.Dest+", "+string(p.Roll)+": "+p.Why)
		}
		if len(rest) > 0 {
			out = append(out, fmt.Sprintf("on %s, %s more: %s", d.Dest, plural(len(rest), "roll"), strings.Join(LabelRuns(rest), " ")))
		}
		if d.More > 0 {
			out = append(out, fmt.Sprintf("on %s, %s more", d.Dest, plural(d.More, "roll")))
		}
	}
	return out
}

// Says is what the last look found on a destination, in words; empty when it did not look for it.
func (c *CopiesLooked) Says(dest string) string {
	if c == nil {
		return ""
	}
	for _, d := range c.Dests {
		switch {
		case d.Dest != dest:
		case !d.Seen && len(d.Points)+d.More > 0:
			return fmt.Sprintf("not seen: %s; not in order before that: %d", d.Why, len(d.Points)+d.More)
		case !d.Seen:
			return "not seen: " + d.Why
		case len(d.Points) == 0 && d.Rolls == 0:
			return "no roll has proven copies there"
		case len(d.Points) == 0:
			return fmt.Sprintf("the copies of %s stand there, every file by its name and size", plural(d.Rolls, "roll"))
		default:
			return fmt.Sprintf("the copies of %s stand there; not in order: %d", plural(d.Rolls, "roll"), len(d.Points)+d.More)
		}
	}
	return ""
}

// Amiss is what the last look found wrong with a roll's copy on a destination; empty: nothing, or it was not looked at.
// A journal of before every roll was named has the number of the others only (More): there each roll of that destination
// may be one of them, and none counts as in order.
func (c *CopiesLooked) Amiss(dest string, l Label) string {
	if c == nil {
		return ""
	}
	for _, d := range c.Dests {
		if d.Dest != dest {
			continue
		}
		for _, p := range d.Points {
			if p.Roll == l {
				return p.Why
			}
		}
		if d.More > 0 {
			return "maybe one of the rolls not in order that are not named: " + strconv.Itoa(d.More)
		}
	}
	return ""
}

// LabelRuns writes labels as "first-last" where their numbers follow each other; the order stays.
func LabelRuns(ls []Label) []string {
	var out []string
	for i := 0; i < len(ls); {
		j := i
		for j+1 < len(ls) && ls[j+1] == MakeLabel(ls[i].Camera(), ls[j].Number()+1) {
			j++
		}
		t := string(ls[i])
		if j > i {
			t += "-" + string(ls[j])
		}
		out = append(out, t)
		i = j + 1
	}
	return out
}
