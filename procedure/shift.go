package procedure

import (
	"fmt"
	"slices"

	"twobin/guard"
)

// Refusal says that an event is not allowed now. It is the routine's no, not a failure.
type Refusal struct {
	// Asked is the event or step that was tried, Due the step that is due instead (none: nothing is).
	Asked string
	Roll  Label
	Due   Step
	// Why is one line for the operator.
	Why string
}

// Error is the reason with what was asked.
func (r *Refusal) Error() string { return r.Asked + ": " + r.Why }

// Apply folds one event into the state, or refuses it and leaves the state as it was. It is the only place that
// says what may happen next. It reads no clock: all time is in the entries.
func (s *Shift) Apply(e Entry) error {
	if err := s.apply(e); err != nil {
		return err
	}
	s.Last = e.At
	return nil
}

// May says whether an entry may happen now: whatever Apply refuses, and besides what comes too late (start, erase).
// Limits of time are asked here, before an event is journaled; Apply takes journaled times as they are, because a line
// that is on disk has happened. The erase itself has a limit of its own, in [guard.Permit].
func (s *Shift) May(e Entry) error {
	c := s.Clone()
	c.strict = true
	return c.Apply(e)
}

func (s *Shift) apply(e Entry) error {
	if s.Opened == nil {
		switch e.Event.(type) {
		case ShiftOpened, RunBegan, ClockJumped:
		default:
			return s.refuse(e, "the shift is not open")
		}
	}
	if s.Closed {
		return s.applyClosed(e)
	}
	switch ev := e.Event.(type) {
	case ShiftOpened:
		return s.open(e, ev)
	case RunBegan:
		s.recover(e)
		return nil
	case Refused, TooLate, ClockJumped, Misfit, NoteMade, NoteDone, AwayBegan, AwayEnded, Incident, IncidentScored,
		StrayVolume, DestGone, DestBack, OperatorChanged:
		return s.applyAside(e)
	case CameraSet, MarkingAgreed, KitChecked, BinsPlaced, DestinationSet, DestinationDropped, SetUpDone:
		return s.applySetUp(e)
	case CloseBegan, TapesCounted, BookCounted, CloseLeft, CopiesLooked, SheetWritten, ShiftClosed:
		return s.applyClose(e)
	case CodeRead:
		return s.refuse(e, "the shift is not closed")
	}
	if !s.Ready {
		return s.refuse(e, "the set-up is not done")
	}
	switch ev := e.Event.(type) {
	case RollReceived:
		return s.receive(e, ev)
	case GapAsked:
		return nil
	case RollPicked:
		return s.pick(e, ev)
	}
	r := s.Rolls[e.Roll]
	if r == nil {
		return s.refuse(e, "no such roll came in")
	}
	var err error
	if h, ok := e.Event.(RollHeld); ok {
		err = s.hold(e, r, h)
	} else {
		err = s.applyRoll(e, r)
	}
	if err == nil {
		s.Stood, s.Sheet = nil, nil // what a close had found and written is of before
	}
	return err
}

func (s *Shift) refuse(e Entry, why string) *Refusal {
	f := &Refusal{Asked: e.Event.Name(), Roll: e.Roll, Why: why}
	if r := s.Rolls[e.Roll]; r != nil {
		f.Due = r.Step
	} else {
		f.Due = s.Due(e.Lane)
	}
	return f
}

// due refuses unless step is the roll's due step and the roll is the one that walks in this lane.
func (s *Shift) due(e Entry, r *Roll, step Step) error {
	if r.Step != step {
		return s.refuse(e, fmt.Sprintf("%s is due at %s, not at %s", r.Label, r.Step, step))
	}
	if l := s.Lanes[e.Lane]; l == nil || l.Roll != r.Label {
		return s.refuse(e, fmt.Sprintf("%s is not the roll of this lane", r.Label))
	}
	return nil
}

func (s *Shift) advance(e Entry, r *Roll, to Step) {
	r.Step = to
	r.DueAt = e.At
}

func (s *Shift) move(e Entry, r *Roll, to Place) {
	r.Place = to
	r.Since = e.At
}

func (s *Shift) lane(n int) *Lane {
	if s.Lanes[n] == nil {
		s.Lanes[n] = &Lane{}
	}
	return s.Lanes[n]
}

func (s *Shift) leave(r *Roll) {
	for _, l := range s.Lanes {
		if l.Roll == r.Label {
			l.Roll = ""
		}
	}
}

// critical names the roll that is in a critical step in another lane, empty for none.
func (s *Shift) critical(lane int) Label {
	for n, l := range s.Lanes {
		if n != lane && l.Roll != "" && s.Rolls[l.Roll].Step.Critical() {
			return l.Roll
		}
	}
	return ""
}

func (s *Shift) open(e Entry, ev ShiftOpened) error {
	if s.Opened != nil {
		return s.refuse(e, "the shift is open already")
	}
	s.Opened = &ev
	s.OpenedAt = e.At
	s.Operator = ev.Operator
	s.Run = e.At.Run
	return nil
}

func (s *Shift) receive(e Entry, ev RollReceived) error {
	if e.Roll == "" {
		return s.refuse(e, "no label")
	}
	if s.Rolls[e.Roll] != nil {
		return s.refuse(e, fmt.Sprintf("%s came in already", e.Roll))
	}
	if slices.Contains(s.Opened.Known, e.Roll) {
		return s.refuse(e, fmt.Sprintf("%s was used on an earlier day", e.Roll))
	}
	if s.Colour(e.Roll.Camera()) == "" {
		return s.refuse(e, fmt.Sprintf("camera %s is not set up", e.Roll.Camera()))
	}
	r := &Roll{
		Label: e.Roll, From: ev.From, Lacks: ev.Lacks, Colour: s.Colour(e.Roll.Camera()), Came: e.At,
		Looked: map[string]string{}, LookTries: map[string]int{},
	}
	s.move(e, r, PlaceRedBin)
	s.advance(e, r, StepPick)
	s.Rolls[e.Roll] = r
	s.Order = append(s.Order, e.Roll)
	s.Red = append(s.Red, e.Roll)
	return nil
}

func (s *Shift) pick(e Entry, ev RollPicked) error {
	r := s.Rolls[e.Roll]
	switch l := s.Lanes[e.Lane]; {
	case r == nil:
		return s.refuse(e, "no such roll came in")
	case l != nil && l.Roll != "":
		return s.refuse(e, fmt.Sprintf("%s is under way here", l.Roll))
	case r.Place != PlaceRedBin:
		return s.refuse(e, fmt.Sprintf("%s is not in the red bin", r.Label))
	case r.Held == nil && len(s.Red) == 0:
		return s.refuse(e, "first in line is nobody")
	case r.Held == nil && s.Red[0] != r.Label:
		return s.refuse(e, fmt.Sprintf("first in line is %s", s.Red[0]))
	}
	s.Red = slices.DeleteFunc(s.Red, func(l Label) bool { return l == r.Label })
	s.lane(e.Lane).Roll = r.Label
	s.freshPass(r)
	r.Pass++
	r.Held = nil
	s.move(e, r, PlaceHand)
	s.advance(e, r, StepPick)
	return nil
}

// freshPass forgets what only counts within one pass. What was proven before stays in the journal; it proves nothing
// about this pass.
func (s *Shift) freshPass(r *Roll) {
	r.ReadCard, r.ReadTape, r.CardAsked, r.TapeMoved = false, false, false, false
	r.Seated, r.Scanned = nil, nil
	r.Copy, r.Proof, r.Copies = CopyNone, "", nil
	r.Logged, r.CountShown, r.CountFiles, r.CountSize, r.Out = false, false, false, false, false
	r.Looked, r.LookTries, r.LookedBy = map[string]string{}, map[string]int{}, ""
	r.Marked, r.Binned, r.Reseated = false, false, false
	r.Lock, r.Erasing = nil, false
}

func (s *Shift) hold(e Entry, r *Roll, ev RollHeld) error {
	if r.Place == PlaceReturned {
		return s.refuse(e, fmt.Sprintf("%s was handed back", r.Label))
	}
	if r.Erased || r.Erasing || r.Partly {
		return s.refuse(e, fmt.Sprintf("the erase of %s has begun; only its return is left", r.Label))
	}
	h := Hold{Reason: ev.Reason, By: ev.By, At: e.At, Step: r.Step}
	r.Held = &h
	r.Holds = append(r.Holds, h)
	s.Red = slices.DeleteFunc(s.Red, func(l Label) bool { return l == r.Label })
	s.leave(r)
	s.freshPass(r)
	s.move(e, r, PlaceRedBin)
	s.advance(e, r, StepPick)
	return nil
}

// putBack takes a roll out of a critical step to where it was: green bin for the erase steps, else first in line in
// the red bin.
func (s *Shift) putBack(e Entry, r *Roll) {
	s.leave(r)
	if r.Binned {
		r.Reseated, r.Lock = false, nil
		r.Seated, r.Out = nil, true
		if r.Erasing {
			r.Erasing, r.Partly = false, true
		}
		s.move(e, r, PlaceGreenBin)
		if r.Partly || r.Erased {
			s.advance(e, r, StepReturn)
		} else {
			s.advance(e, r, StepReseat)
		}
		return
	}
	s.freshPass(r)
	s.Red = append([]Label{r.Label}, slices.DeleteFunc(s.Red, func(l Label) bool { return l == r.Label })...)
	s.move(e, r, PlaceRedBin)
	s.advance(e, r, StepPick)
}

// recover is what a new run of the program makes of the last one's end, which may have been a power cut: a roll in
// hand or in the reader goes back, because nobody saw what happened to it meanwhile. Invariant 8.
func (s *Shift) recover(e Entry) {
	s.Run = e.At.Run
	s.Away = nil
	for _, l := range s.Lanes {
		l.Volume = nil
	}
	for _, l := range slices.Backward(s.Order) {
		switch r := s.Rolls[l]; r.Place {
		case PlaceHand, PlaceReader:
			s.putBack(e, r)
		case PlaceDesk:
			r.Lock = nil
		case PlaceUnknown, PlaceRedBin, PlaceGreenBin, PlaceReturned:
		}
	}
}

// voidLocks makes every verdict void: something changed since the look.
func (s *Shift) voidLocks() {
	s.voids++
	for _, r := range s.Rolls {
		if r.Lock != nil {
			r.Lock.Void = true
		}
	}
}

// Facts is what the journal says of a roll, for the lock. whole is whether the journal's chain is whole, fault why not.
func (s *Shift) Facts(l Label, whole bool, fault string) guard.Facts {
	f := guard.Facts{Label: string(l), JournalWhole: whole, JournalFault: fault}
	if s.Opened != nil {
		f.Drill = s.Opened.Drill != ""
	}
	r := s.Rolls[l]
	if r == nil {
		return f
	}
	f.Looked = s.lookedAll(r, r.LookedBy)
	f.Marked, f.Binned = r.Marked, r.Binned
	f.LookedBy, f.Operator = r.LookedBy, s.Operator
	f.ProofSHA = r.Proof
	if r.Held != nil {
		f.Holds = append(f.Holds, r.Held.Reason)
	}
	return f
}

// lookedAll: every destination that the proof counts was looked at, with a right answer, by this operator.
func (s *Shift) lookedAll(r *Roll, by string) bool {
	n := 0
	for _, c := range r.Copies {
		if !c.Proven {
			continue
		}
		n++
		if who, ok := r.Looked[c.Name]; !ok || who != by {
			return false
		}
	}
	return n > 0 && n >= s.limits().Destinations
}
