package school

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"time"

	"twobin/guard"
	"twobin/procedure"
	"twobin/training/drill"
)

// plan is what happens to one roll.
type plan struct {
	label procedure.Label
	from  string
	what  []happening
	erase bool
	// small: the dummy card of a drill, copied in seconds.
	small bool
}

// happening is an incident and what becomes of it.
type happening struct {
	drill.Planned
	verdict drill.Verdict
	done    bool
}

// receive takes a roll in.
func (d *day) receive(w *plan) {
	d.happens(w, procedure.StepReceive)
	d.add(w.label, procedure.RollReceived{Answered: d.answer("receive.bin", procedure.StepReceive, 1), From: w.from, Colour: d.shift.Colour(w.label.Camera())})
}

// happens lets what is planned for a step begin, and says whether the operator puts back or holds because of it.
func (d *day) happens(w *plan, s procedure.Step) (back, hold bool) {
	for i := range w.what {
		h := &w.what[i]
		spec, _ := drill.SpecOf(h.Kind)
		if h.done || spec.Step != s {
			continue
		}
		h.done = true
		d.add(w.label, procedure.Incident{Kind: string(h.Kind), ID: h.ID, Text: h.Says})
		good := h.verdict == drill.Right || h.verdict == drill.Late
		switch h.Kind {
		case drill.CallStart, drill.WrongSeat, drill.CallErase, drill.WrongErase:
			back = good
		case drill.LabelDiffers, drill.NoFolder, drill.BadCopy, drill.DriveFull, drill.DriveReadOnly, drill.DriveGone, drill.Unreadable:
			hold = good
		case drill.CallDesk, drill.Wanted:
			d.called(w, h.verdict)
		default:
		}
	}
	if (back || hold) && d.p.rng.IntN(3) == 0 {
		d.wait(time.Duration(10+d.p.rng.IntN(30)) * time.Second) // it takes a moment to see what is wrong
	}
	return back, hold
}

// called: somebody who answers goes away, and the card lies on the desk.
func (d *day) called(w *plan, v drill.Verdict) {
	if v != drill.Wrong {
		return
	}
	d.add(w.label, procedure.AwayBegan{Step: d.shift.Due(1).String()})
	gone := time.Duration(150+d.p.rng.IntN(120)) * time.Second
	d.wait(gone)
	d.add(w.label, procedure.AwayEnded{Step: d.shift.Due(1).String(), AwayMS: gone.Milliseconds()})
	if d.shift.Due(1) == procedure.StepLook {
		d.add(w.label, procedure.TooLate{Step: "desk", LimitMS: 180_000})
	}
}

func (d *day) putBack(w *plan, s procedure.Step, why string) {
	d.add(w.label, procedure.PutBack{Answered: d.answer(s.String()+".go", s, 1), Step: s.String(), Reason: why})
}

func (d *day) hold(w *plan, why string) {
	d.add(w.label, procedure.RollHeld{Answered: d.answer("next", 0, 0), Step: d.shift.Due(1).String(), Reason: why, By: "operator"})
	d.wait(40 * time.Second)
}

// walk takes a roll from the red bin to the green one, in as many passes as it takes.
func (d *day) walk(w *plan) {
	for tries := 0; d.err == nil && tries < 12; tries++ {
		if d.pass(w) {
			d.p.runs++
			return
		}
	}
}

// pass is one pass from pick to bin; false: it was put back or held.
func (d *day) pass(w *plan) bool {
	l := w.label
	d.disorder(w)
	d.add(l, procedure.RollPicked{Answered: d.answer("next", 0, 0), Pass: d.shift.Roll(l).Pass + 1})
	_, hold := d.happens(w, procedure.StepPick)
	if d.p.slips(d.p.Careless) {
		d.add(l, procedure.LabelRead{Answered: d.answer("pick.card", procedure.StepPick, 0.5), Where: "card", Read: string(procedure.MakeLabel(l.Camera(), l.Number()+1))})
	}
	if hold {
		d.hold(w, "label differs")
		return false
	}
	d.add(l, procedure.LabelRead{Answered: d.answer("pick.card", procedure.StepPick, 0.55), Where: "card", Read: string(l), Right: true})
	d.add(l, procedure.LabelRead{Answered: d.answer("pick.tape", procedure.StepPick, 0.45), Where: "tape", Read: string(l), Right: true})
	if !d.seat(w) || !d.copy(w) {
		return false
	}
	return d.desk(w)
}

// disorder: something is tried that is not due; the program refuses it.
func (d *day) disorder(w *plan) {
	if d.p.slips(d.p.Order) {
		d.add(w.label, procedure.Refused{Asked: (procedure.CopyBegan{}).Name(), Due: d.shift.Due(1).String(), Why: string(w.label) + " is due at pick, not at start"})
	}
}

func (d *day) seat(w *plan) bool {
	l := w.label
	back, _ := d.happens(w, procedure.StepSeat)
	d.add(l, procedure.TapeMoved{Answered: d.answer("seat.tape", procedure.StepSeat, 1)})
	d.wait(time.Duration(1500+d.p.rng.IntN(2500)) * time.Millisecond)
	d.add(l, procedure.CardSeated{Volume: card(l)})
	scan := int64(300 + d.p.rng.IntN(900))
	d.wait(time.Duration(scan) * time.Millisecond)
	d.add(l, procedure.CardScanned{Files: 9, Bytes: d.size(w), Digest: "d1", ScanMS: scan})
	late, bad := d.happens(w, procedure.StepStart)
	if bad {
		d.add(l, procedure.CopyBegan{Answered: d.answer("start.go", procedure.StepStart, 1), To: []string{"SHUTTLE", "RAID"}})
		d.failed(w)
		return false
	}
	if back || late {
		d.putBack(w, procedure.StepStart, "not the right moment")
		return false
	}
	if d.p.slips(d.p.Careless / 3) {
		d.wait(40 * time.Second)
		d.add(l, procedure.TooLate{Step: "start", LimitMS: 30_000})
		d.putBack(w, procedure.StepStart, "too long since seating")
		return false
	}
	d.add(l, procedure.CopyBegan{Answered: d.answer("start.go", procedure.StepStart, 1), To: []string{"SHUTTLE", "RAID"}})
	return true
}

func (d *day) size(w *plan) int64 {
	if w.small {
		return 48e6
	}
	return int64(120+w.label.Number()%7*20) * 1e9
}

// copy: log and count while it copies.
func (d *day) copy(w *plan) bool {
	l := w.label
	if _, hold := d.happens(w, procedure.StepLog); hold {
		d.failed(w)
		return false
	}
	d.add(l, procedure.RollLogged{Answered: d.answer("log.notes", procedure.StepLog, 1), Serial: "HL-" + string(l.Camera()), Notes: ""})
	shown := procedure.CountShown{Answered: d.answer("count.written", procedure.StepCount, 0.5), Files: 9, Bytes: d.size(w)}
	d.add(l, shown)
	if d.p.slips(d.p.Careless) {
		d.add(l, procedure.CountRead{Answered: d.answer("count.files", procedure.StepCount, 0.2), What: "files", Read: "8"})
		d.add(l, procedure.CountShown{Answered: d.answer("count.written", procedure.StepCount, 0.4), Files: 9, Bytes: d.size(w)})
	}
	d.add(l, procedure.CountRead{Answered: d.answer("count.files", procedure.StepCount, 0.25), What: "files", Read: "9", Right: true})
	d.add(l, procedure.CountRead{Answered: d.answer("count.size", procedure.StepCount, 0.25), What: "size", Read: procedure.SizeText(d.size(w)), Right: true})
	ms := d.size(w) / 250_000 // at 250 MB a second
	d.wait(time.Duration(ms) * time.Millisecond)
	sum := sha256.Sum256(fmt.Appendf(nil, "%s %s", l, d.wall))
	ev := procedure.CopyProven{Proof: hex.EncodeToString(sum[:]), Files: 9, Bytes: d.size(w), CopyMS: ms}
	for _, n := range []string{"SHUTTLE", "RAID"} {
		ev.Copies = append(ev.Copies, procedure.CopyNote{Name: n, Path: "/media/" + n, Folder: string(l), Proven: true, Honesty: "device"})
	}
	d.add(l, ev)
	return true
}

// failed: the copy comes to no proof, and the roll goes on hold.
func (d *day) failed(w *plan) {
	const after = 20 * time.Second
	d.wait(after)
	d.add(w.label, procedure.CopyFailed{Faults: []procedure.Fault{{Op: "copy", Kind: "differs"}}, CopyMS: after.Milliseconds()})
	d.hold(w, "the copy is not proven")
}

// desk: pull, look, mark, bin.
func (d *day) desk(w *plan) bool {
	l := w.label
	ms := d.answer("pull.desk", procedure.StepPull, 1)
	d.add(l, procedure.CardGone{Volume: card(l)})
	d.add(l, procedure.CardPulled{Answered: ms})
	if _, hold := d.happens(w, procedure.StepLook); hold {
		d.hold(w, "the folder is not there")
		return false
	}
	if d.p.slips(d.p.Careless) {
		d.add(l, procedure.DestLooked{Answered: d.answer("look.SHUTTLE", procedure.StepLook, 0.4), Dest: "SHUTTLE", Question: "how many clips", Answer: "7"})
	}
	for _, n := range []string{"SHUTTLE", "RAID"} {
		d.add(l, procedure.DestLooked{Answered: d.answer("look."+n, procedure.StepLook, 0.5), Dest: n, Question: "how many clips", Answer: "8", Right: true})
	}
	d.add(l, procedure.RollMarked{Answered: d.answer("mark.green", procedure.StepMark, 1)})
	d.add(l, procedure.RollBinned{Answered: d.answer("bin.green", procedure.StepBin, 1)})
	return true
}

// giveBack returns a green roll, erased first where that is asked for.
func (d *day) giveBack(w *plan) {
	l := w.label
	if r := d.shift.Roll(l); d.err != nil || r == nil || !r.Binned {
		return
	}
	if !w.erase {
		d.add(l, procedure.RollTaken{Answered: d.answer("next", 0, 0), For: "return"})
		d.add(l, procedure.RollReturned{Answered: d.answer("return.to", procedure.StepReturn, 1), To: w.from})
		return
	}
	for tries := 0; d.err == nil && tries < 4; tries++ {
		d.add(l, procedure.RollTaken{Answered: d.answer("next", 0, 0), For: "erase"})
		d.add(l, procedure.CardSeated{Volume: card(l)})
		if back, _ := d.happens(w, procedure.StepReseat); back {
			d.putBack(w, procedure.StepReseat, "not this card")
			continue
		}
		d.add(l, procedure.RollReseated{Answered: d.answer("reseat.in", procedure.StepReseat, 1)})
		look := int64(700 + d.p.rng.IntN(600))
		d.wait(time.Duration(look) * time.Millisecond)
		d.add(l, procedure.LockLooked{Open: true, Conditions: conditions(), LookMS: look})
		if back, _ := d.happens(w, procedure.StepErase); back {
			d.putBack(w, procedure.StepErase, "distracted")
			continue
		}
		d.add(l, procedure.EraseBegan{Answered: d.answer("erase.label", procedure.StepErase, 1)})
		d.wait(1200 * time.Millisecond)
		d.add(l, procedure.EraseDone{Files: 9, Bytes: d.size(w), TookMS: 1200})
		d.add(l, procedure.CardGone{Volume: card(l)})
		d.add(l, procedure.RollReturned{Answered: d.answer("return.to", procedure.StepReturn, 1), To: w.from})
		return
	}
}

func conditions() []guard.Condition {
	var cs []guard.Condition
	for i := range 8 {
		cs = append(cs, guard.Condition{ID: fmt.Sprintf("L%d", i+1), Holds: true, Says: "holds"})
	}
	return cs
}
