package read

import (
	"twobin/procedure"
	"twobin/training/drill"
)

// The names of the events that the review looks at.
var (
	evReceived = (procedure.RollReceived{}).Name()
	evGap      = (procedure.GapAsked{}).Name()
	evPicked   = (procedure.RollPicked{}).Name()
	evLabel    = (procedure.LabelRead{}).Name()
	evTape     = (procedure.TapeMoved{}).Name()
	evSeated   = (procedure.CardSeated{}).Name()
	evScanned  = (procedure.CardScanned{}).Name()
	evGone     = (procedure.CardGone{}).Name()
	evCopy     = (procedure.CopyBegan{}).Name()
	evProven   = (procedure.CopyProven{}).Name()
	evFailed   = (procedure.CopyFailed{}).Name()
	evLogged   = (procedure.RollLogged{}).Name()
	evCount    = (procedure.CountRead{}).Name()
	evPulled   = (procedure.CardPulled{}).Name()
	evLooked   = (procedure.DestLooked{}).Name()
	evMarked   = (procedure.RollMarked{}).Name()
	evBinned   = (procedure.RollBinned{}).Name()
	evTaken    = (procedure.RollTaken{}).Name()
	evLock     = (procedure.LockLooked{}).Name()
	evErase    = (procedure.EraseBegan{}).Name()
	evErased   = (procedure.EraseDone{}).Name()
	evStopped  = (procedure.EraseStopped{}).Name()
	evReturned = (procedure.RollReturned{}).Name()
	evPutBack  = (procedure.PutBack{}).Name()
	evHeld     = (procedure.RollHeld{}).Name()
	evBegan    = (procedure.RunBegan{}).Name()
	evRefused  = (procedure.Refused{}).Name()
	evLate     = (procedure.TooLate{}).Name()
	evAway     = (procedure.AwayEnded{}).Name()
	evMisfit   = (procedure.Misfit{}).Name()
	evTapes    = (procedure.TapesCounted{}).Name()
	evBook     = (procedure.BookCounted{}).Name()
	evCode     = (procedure.CodeRead{}).Name()
	evIncident = (procedure.Incident{}).Name()
	evScored   = (procedure.IncidentScored{}).Name()
)

// event folds one event. A flat switch: one event a case.
func (f *folder) event() {
	d, name := &f.d, f.line.Event
	if f.line.Roll == "" {
		f.aside(name)
		return
	}
	switch name {
	case evRefused, evLate, evAway, evMisfit, evIncident, evScored:
		f.aside(name)
		return
	}
	w := f.roll(f.line.Roll)
	f.answer(w)
	switch name {
	case evReceived:
		f.done(w, procedure.StepReceive)
		f.last = w.run
	case evPicked:
		f.pick(w)
	case evLabel:
		f.label(w)
	case evTape, evSeated, evScanned, evGone:
		f.seat(w, name)
	case evCopy:
		r := f.done(w, procedure.StepStart)
		r.SeatToStart = f.since(w.seatedAt, r.Scan)
	case evProven:
		f.run(w).Copy += d.CopyMS
	case evFailed:
		f.run(w).Copy += d.CopyMS
		f.mark(CopyFailed, procedure.StepLog, "")
	case evLogged:
		f.done(w, procedure.StepLog)
	case evCount:
		f.count(w)
	case evPulled:
		f.done(w, procedure.StepPull)
		w.pulledAt = f.now()
	case evLooked:
		if !d.Right {
			f.mark(Misseen, procedure.StepLook, d.Dest)
		}
	case evMarked:
		f.done(w, procedure.StepLook)
		f.done(w, procedure.StepMark)
	case evBinned:
		r := f.done(w, procedure.StepBin)
		r.Desk = f.since(w.pulledAt, 0)
		w.binned = true
		f.free()
	case evTaken:
		f.here[f.line.Lane] = f.line.Roll
	case evLock, evErase, evErased, evStopped:
		f.erase(w, name)
	case evReturned:
		f.done(w, procedure.StepReturn)
		f.free()
	case evPutBack:
		f.putBack(w)
	case evHeld:
		step, _ := procedure.StepByID(d.Step)
		f.mark(Hold, step, d.Reason)
		f.broken(w, step)
		f.leave(w)
	}
}

func (f *folder) free() {
	for lane, l := range f.here {
		if l == f.line.Roll {
			delete(f.here, lane)
		}
	}
}

// pick begins a pass. The first one goes on with the run that the receiving began.
func (f *folder) pick(w *way) {
	received := w.run >= 0 && w.pass == 0
	w.pass = max(f.d.Pass, w.pass+1)
	if !received {
		*w = way{run: -1, pass: w.pass}
	}
	r := f.run(w)
	r.Pass, r.Began = w.pass, f.line.Time
	f.here[f.line.Lane] = f.line.Roll
}

func (f *folder) label(w *way) {
	switch {
	case !f.d.Right:
		w.right = false
		f.mark(Misread, procedure.StepPick, f.d.Where+" read as "+f.d.Read)
	case f.d.Where == "card":
		w.right = true
	case w.right:
		f.done(w, procedure.StepPick)
	}
}

// seat is complete when the tape is on the reader and the card is seated and read.
func (f *folder) seat(w *way, name string) {
	switch name {
	case evTape:
		w.tape = true
	case evSeated:
		w.seatedAt = f.now()
		return
	case evScanned:
		f.run(w).Scan += f.d.ScanMS
		w.scanned = true
	case evGone:
		w.scanned = false
		return
	}
	if r := f.run(w); w.tape && w.scanned && !w.binned && !r.Done[procedure.StepStart] {
		f.done(w, procedure.StepSeat)
	}
}

func (f *folder) count(w *way) {
	if !f.d.Right {
		f.mark(Miscount, procedure.StepCount, f.d.What+" read as "+f.d.Read)
		return
	}
	if f.d.What == "size" {
		f.done(w, procedure.StepCount)
	}
}

// erase is the fresh look, and the erase itself.
func (f *folder) erase(w *way, name string) {
	switch name {
	case evLock:
		f.run(w).Look += f.d.LookMS
		if f.d.Open {
			f.done(w, procedure.StepReseat)
			w.lookedAt = f.now()
		}
	case evErase:
		r := f.done(w, procedure.StepErase)
		r.LookToErase = f.since(w.lookedAt, 0)
	case evErased:
		f.run(w).Erase += f.d.EraseMS
	case evStopped:
		f.broken(w, procedure.StepErase)
	}
}

// putBack: before the green bin the pass is over; after it the same pass waits in the green bin.
func (f *folder) putBack(w *way) {
	step, _ := procedure.StepByID(f.d.Step)
	f.mark(PutBack, step, f.d.Reason)
	f.broken(w, step)
	if w.binned {
		f.free()
		return
	}
	f.leave(w)
}

// aside folds what moves no roll.
func (f *folder) aside(name string) {
	d := &f.d
	step, _ := procedure.StepByID(d.Step)
	switch name {
	case evBegan:
		f.programBegan()
	case evGap: // belongs to the receiving of the roll that showed the gap
		if f.last >= 0 {
			f.s.Runs[f.last].Hands[procedure.StepReceive] += d.TookMS
		}
	case evRefused:
		due, _ := procedure.StepByID(d.Due)
		k := Unfit
		if slip(d, f.names) {
			k = Order
		}
		f.mark(k, due, d.Asked+": "+d.Why)
	case evLate:
		if d.Step == "desk" {
			step = procedure.StepLook
		}
		f.mark(Over, step, d.Step)
	case evAway:
		f.mark(Away, step, "")
		if w := f.state[f.line.Roll]; w != nil && w.run >= 0 {
			f.s.Runs[w.run].Away += d.AwayMS
		}
	case evMisfit:
		f.mark(Misfit, step, d.Text)
	case evTapes:
		f.closing("tapes")
	case evBook:
		f.closing("book lines")
	case evCode:
		f.closing("closing code")
	case evIncident:
		f.incident()
	case evScored:
		f.scored()
	}
}

func (f *folder) closing(what string) {
	if !f.d.Right {
		f.mark(Miscount, procedure.StepNone, what)
	}
}

// programBegan: what was in hand or in a reader when the last run of the program ended is due again at the pick.
func (f *folder) programBegan() {
	for lane, l := range f.here {
		w := f.state[l]
		if w == nil || w.run < 0 {
			continue
		}
		r := &f.s.Runs[w.run]
		if w.binned || r.Done[procedure.StepPull] {
			w.hands = [Steps]int64{}
			if w.binned {
				delete(f.here, lane)
			}
			continue
		}
		r.Marks = append(r.Marks, Mark{Kind: Ended, Line: f.line.Seq, Who: r.Trainee})
		*w = way{run: -1, pass: w.pass}
		delete(f.here, lane)
	}
}

func (f *folder) incident() {
	if f.d.Kind == drill.ActKind {
		return
	}
	f.s.Incidents = append(f.s.Incidents, Incident{
		Kind: f.d.Kind, ID: string(f.d.ID), Roll: f.line.Roll, Who: f.who(), At: f.line.Time,
	})
	spec, _ := drill.SpecOf(drill.Kind(f.d.Kind))
	f.mark(Happened, spec.Step, f.d.Kind)
}

func (f *folder) scored() {
	if f.d.isDrill() {
		f.s.Outcome, f.s.Lacking = f.d.Result, f.d.Why
		return
	}
	for i := range f.s.Incidents {
		in := &f.s.Incidents[i]
		if in.ID == string(f.d.ID) && in.Kind == f.d.Kind {
			in.Result, in.Why = f.d.Result, f.d.Why
			return
		}
	}
	f.s.Incidents = append(f.s.Incidents, Incident{
		Kind: f.d.Kind, ID: string(f.d.ID), Roll: f.line.Roll, Who: f.who(), Result: f.d.Result, Why: f.d.Why, At: f.line.Time,
	})
}
