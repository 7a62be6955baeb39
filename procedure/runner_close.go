package procedure

import (
	"context"
	"fmt"
	"strconv"
	"strings"
	"sync"

	"twobin/guard"
	"twobin/procedure/journal"
)

// close begins the close of the shift, or says what keeps it from closing.
func (r *Runner) close() error {
	if err := r.told(r.record("", CloseBegan{r.answered()})); err != nil {
		return err
	}
	d := &r.draft
	d.openOK, d.standOK, d.sheetOK, d.tapes, d.lines = false, false, false, 0, 0
	r.notices = nil
	return nil
}

// amiss is what does not add up, when the close asks what to do about it.
func (r *Runner) amiss() []string {
	if r.prompt == nil {
		return nil
	}
	var open []string
	switch s := r.shift; r.prompt.ID {
	case "close.open":
		open = s.Open()
	case "close.copies":
		open = s.Stood.Open()
	case "close.done":
		open = s.Points()
	}
	var out []string
	const show = 6
	for i, o := range open {
		if i == show {
			return append(out, fmt.Sprintf("and %d more; the hand-over lists them", len(open)-show))
		}
		out = append(out, Plain(o))
	}
	return out
}

// maxCounts is how often a wrong count at the close is asked again before it becomes an open point.
const maxCounts = 2

var (
	optStand = []Option{{"l", "look again"}, {"b", "back to work"}, {"o", "close with these open points"}}
	optSheet = []Option{{"w", "write it again"}, {"b", "back to work"}, {"o", "close without it"}}
)

// askClose is what is due at the close, nil while a drive is looked at or the sheet is written.
func (r *Runner) askClose() *Prompt {
	s, d := r.shift, &r.draft
	switch {
	case len(s.Open()) > 0 && !d.openOK:
		return choice("close.open", "It does not add up. What now?", optOpen...)
	case !s.TapesRight && d.tapes < maxCounts:
		return hidden("close.tapes", "Count the tapes that you kept. How many?")
	case !s.BookRight && d.lines < maxCounts:
		return hidden("close.book", "Count the lines of today in the book. How many rolls?")
	case s.Stood == nil || r.job != nil:
		return nil
	case len(s.Stood.Open()) > 0 && !d.standOK:
		return choice("close.copies", "The copies' last look does not add up. What now?", optStand...)
	case s.Sheet == nil && r.cfg.Sheet != nil:
		return nil
	case s.Sheet != nil && s.Sheet.Fault != "" && !d.sheetOK:
		return choice("close.sheet", "The log sheet is not written. What now?", optSheet...)
	case len(s.Points()) > 0:
		return choice("close.done", "It does not add up.", optOpen...)
	}
	return choice("close.done", "Everything adds up.", Option{"c", "close the shift"}, Option{"b", "back to work"})
}

// closeWork begins the machine's part of the close when it is due: the last look at the copies, then the log sheet.
func (r *Runner) closeWork() {
	s := r.shift
	if !s.Closing || s.Closed || r.job != nil || r.broken != nil || r.ended || r.book == nil || !r.away.IsZero() || r.askClose() != nil {
		return
	}
	if s.Stood == nil {
		r.lastLook()
		return
	}
	r.writeSheet()
}

func (r *Runner) answerClose(p *Prompt, v string) error {
	d := &r.draft
	if v == "b" && (p.Kind == PromptChoice || p.ID == "close.tapes" || p.ID == "close.book") {
		return r.reopen()
	}
	switch p.ID {
	case "close.open":
		d.openOK = true
	case "close.tapes", "close.book":
		return r.countedAtClose(p.ID, v)
	case "close.copies":
		if v == "l" {
			r.notices = nil
			r.lastLook()
			return nil
		}
		d.standOK = true
	case "close.sheet":
		if v == "w" {
			r.notices = nil
			r.writeSheet()
			return nil
		}
		d.sheetOK = true
	case "close.done":
		if err := r.told(r.record("", ShiftClosed{Answered: r.answered(), Open: r.shift.Points()})); err != nil {
			return err
		}
		r.code = r.book.Code()
	case "close.written":
		r.codeWritten = true
	case "close.code":
		return r.readCode(v)
	}
	return nil
}

// countedAtClose takes the count of tapes or of lines in the book.
func (r *Runner) countedAtClose(id, v string) error {
	s := r.shift
	n, err := strconv.Atoi(v)
	if err != nil || n < 0 {
		return r.refuse("", id, fmt.Sprintf("%q is not a number.", clip(v, 20)), "")
	}
	if id == "close.tapes" {
		if n != s.Handled() {
			r.draft.tapes++
			r.wrongCount(r.draft.tapes, fmt.Sprintf("The journal counts otherwise: not %s.", plural(n, "tape")),
				plural(s.Handled(), "roll")+" went into the green bin", "count again; look on reader, desk and floor.")
		}
		return r.record("", TapesCounted{Answered: r.answered(), Counted: n, Want: s.Handled(), Right: n == s.Handled()})
	}
	if n != s.Lines() {
		r.draft.lines++
		r.wrongCount(r.draft.lines, fmt.Sprintf("The journal counts otherwise: not %s in the book.", plural(n, "line")),
			plural(s.Lines(), "roll")+" logged", "compare book and board, then count again.")
	}
	return r.record("", BookCounted{Answered: r.answered(), Counted: n, Want: s.Lines(), Right: n == s.Lines()})
}

// wrongCount tells that a count was wrong, tries of them. The number that was wanted is told only when it is not asked
// for again: the next count is a count.
func (r *Runner) wrongCount(tries int, what, want, again string) {
	n := Notice{Grade: "look", What: what, Do: again}
	if tries >= maxCounts {
		n.What += " " + want + "."
		n.Do = "it is an open point now. To look for what is missing: b, back to work; then close again."
	}
	r.notices = nil // of the count before
	r.notify(n)
}

// reopen goes back to work from the close.
func (r *Runner) reopen() error {
	r.notices = nil
	return r.told(r.record("", CloseLeft{r.answered()}))
}

// standing is what the last look asks of one destination.
type standing struct {
	dest  Destination
	rolls []standingRoll
}

// standingRoll is one roll that has a copy on a destination; proof nil: it could not be read.
type standingRoll struct {
	label  Label
	proven bool
	proof  *guard.Proof
}

// standings lists, for every destination in use, the rolls of this shift that were copied there and are proven
// somewhere; the number is that of all proven rolls.
func (r *Runner) standings() (list []standing, rolls int) {
	s := r.shift
	for _, d := range s.Dests {
		st := standing{dest: d}
		for _, l := range s.Order {
			roll := s.Rolls[l]
			there, proven := false, false
			for _, c := range roll.Copies {
				if c.Name == d.Name {
					there, proven = true, proven || c.Proven
				}
			}
			if there && roll.Copy == CopyIsProven {
				st.rolls = append(st.rolls, standingRoll{l, proven, r.proofs[l]})
			}
		}
		list = append(list, st)
	}
	return list, len(s.where(func(r *Roll) bool { return r.Copy == CopyIsProven }))
}

// lastLook looks once more whether every proven copy stands on every destination in use, all drives at a time. Nothing
// is hashed: that was done when the copies were proven, and is done again by "twobin recheck".
func (r *Runner) lastLook() {
	list, rolls := r.standings()
	notes := make([]StandNote, len(list))
	began := r.cfg.Now()
	r.work("looking once more at the copies on "+plural(len(list), "drive"), func(ctx context.Context) {
		var wg sync.WaitGroup
		for i := range list {
			wg.Go(func() { notes[i] = r.standsThere(ctx, list[i]) })
		}
		wg.Wait()
	}, func() {
		ev := CopiesLooked{Rolls: rolls, Dests: notes, LookMS: r.cfg.Now().Sub(began).Milliseconds()}
		if r.shift.Closing && r.record("", ev) == nil {
			r.sayStood(&ev)
		}
	})
}

// mostPoints bounds how many rolls of one destination stand among the open points with their reasons; of the rest, the
// labels. Beyond it the journal has a reason of fewer signs, so that its line stays short, but every label.
const (
	mostPoints = 20
	longWhy    = 200
	shortWhy   = 60
)

// standsThere looks at one destination. A drive that goes away meanwhile is not asked for the rest of its rolls;
// what was found before stays.
func (r *Runner) standsThere(ctx context.Context, st standing) StandNote {
	n := StandNote{Dest: st.dest.Name}
	if err := r.cfg.Media.Stand(ctx, st.dest, nil); err != nil {
		n.Why = Plain(err.Error())
		return n
	}
	point := func(l Label, why string) {
		room := longWhy
		if len(n.Points) >= mostPoints {
			room = shortWhy
		}
		n.Points = append(n.Points, StandPoint{l, clip(why, room)})
	}
	n.Seen = true
	for _, k := range st.rolls {
		switch {
		case !k.proven:
			point(k.label, "its copy is not proven")
			continue
		case k.proof == nil:
			point(k.label, "its proof could not be read, so nothing says what must stand there")
			continue
		}
		err := r.cfg.Media.Stand(ctx, st.dest, k.proof)
		if err == nil {
			n.Rolls++
			continue
		}
		if gone := r.cfg.Media.Stand(ctx, st.dest, nil); gone != nil {
			n.Seen, n.Why = false, Plain(gone.Error())
			return n
		}
		point(k.label, Plain(err.Error()))
	}
	return n
}

// sayStood tells what the last look found, and of rolls that stand on too few drives.
func (r *Runner) sayStood(ev *CopiesLooked) {
	if len(ev.Open()) == 0 {
		r.notify(Notice{Grade: "info", What: stoodText(ev)})
		if len(r.shift.Short()) > 0 {
			r.notify(Notice{Grade: "look", What: "Not every roll has its number of proven copies on the drives in use.",
				Safe: "what stands there is in order.", Do: "a dropped drive that is here: to PATH. Else close with open points, and tell post.", lasting: true})
		}
		return
	}
	r.notices = nil
	r.notify(Notice{Grade: "look", What: "The last look did not find every copy in order.",
		Do: "plug in what is missing, then look again; a drive that has left for good: drop NAME.", lasting: true})
	r.ring("fault")
}

// stoodText says how many copies stand on which drive; in short when it is all of them on each.
func stoodText(ev *CopiesLooked) string {
	if ev.Rolls == 0 {
		return "Last look: no roll has proven copies to look for."
	}
	all := true
	var each []string
	for _, d := range ev.Dests {
		all = all && d.Rolls == ev.Rolls
		each = append(each, d.Dest+" "+plural(d.Rolls, "roll"))
	}
	if all {
		return fmt.Sprintf("Last look: the copies of %s stand on %s, every file by its name and size.", plural(ev.Rolls, "roll"), plural(len(ev.Dests), "drive"))
	}
	return fmt.Sprintf("Last look: of %s stand: %s; every file by its name and size.", plural(ev.Rolls, "roll"), strings.Join(each, ", "))
}

// writeSheet writes the log sheet of the close. That it fails is an open point and stops nothing.
func (r *Runner) writeSheet() {
	s := r.shift.Clone()
	var files []string
	var err error
	r.work("writing the log sheet", func(ctx context.Context) { files, err = r.cfg.Sheet(ctx, s) }, func() {
		ev := SheetWritten{Files: files}
		if err != nil {
			ev.Fault = clip(Plain(err.Error()), 300)
		}
		if !r.shift.Closing || r.record("", ev) != nil {
			return
		}
		if err != nil {
			r.cfg.Log.Error("log sheet", "err", err)
			r.notify(Notice{Grade: "look", What: "The log sheet could not be written.", Safe: "the journal has all that would stand in it.",
				Do: "make room, then write it again; or later: twobin sheet.", Cause: ev.Fault, lasting: true})
			return
		}
		r.notify(Notice{Grade: "info", What: "The log sheet is written: " + strings.Join(shortNames(files), ", ") + "."})
	})
}

// shortNames gives the first path whole and of the others their endings, when only those differ.
func shortNames(paths []string) []string {
	var out []string
	for i, p := range paths {
		ext := p[strings.LastIndexByte(p, '.')+1:]
		if i > 0 && strings.TrimSuffix(p, ext) == strings.TrimSuffix(paths[0], paths[0][strings.LastIndexByte(paths[0], '.')+1:]) {
			out = append(out, "."+ext)
			continue
		}
		out = append(out, Plain(p))
	}
	return out
}

// readCode compares what was typed back from the book with the closing code.
func (r *Runner) readCode(v string) error {
	right := journal.SameCode(v, r.code)
	if err := r.record("", CodeRead{Answered: r.answered(), Right: right}); err != nil {
		return err
	}
	if !right {
		r.notify(Notice{Grade: "look", What: "That is not the closing code.", Safe: "the journal is closed and whole.", Do: "it is shown again: correct the book."})
		r.codeWritten = false
		return nil
	}
	r.notify(Notice{Grade: "info", What: "The shift is closed."})
	r.ring("done")
	r.ended = true
	return nil
}
