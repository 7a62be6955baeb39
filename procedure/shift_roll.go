package procedure

import (
	"fmt"
)

// maxLookTries is how many wrong answers a sighted check takes before the roll goes on hold.
const maxLookTries = 2

// applyRoll folds what happens to one roll that came in.
func (s *Shift) applyRoll(e Entry, r *Roll) error {
	switch ev := e.Event.(type) {
	case LabelRead:
		return s.labelRead(e, r, ev)
	case TapeMoved:
		if err := s.due(e, r, StepSeat); err != nil {
			return err
		}
		if r.TapeMoved {
			return s.refuse(e, "the tape is on the reader already")
		}
		r.TapeMoved = true
		s.seatDone(e, r)
	case CardSeated:
		return s.seated(e, r, ev)
	case CardScanned:
		if err := s.due(e, r, StepSeat); err != nil {
			return err
		}
		if r.Seated == nil {
			return s.refuse(e, "no card is seated")
		}
		r.Scanned, r.ScannedAt = &ev, e.At
		s.seatDone(e, r)
	case CardGone:
		return s.gone(e, r)
	case CopyBegan, CopyProven, CopyFailed:
		return s.copying(e, r)
	case CopyAdded:
		return s.copyAdded(e, r, ev)
	case RollLogged, CountShown, CountRead, CardPulled:
		return s.whileCopying(e, r)
	case DestLooked:
		return s.looked(e, r, ev)
	case RollMarked:
		if err := s.due(e, r, StepMark); err != nil {
			return err
		}
		r.Marked = true
		s.advance(e, r, StepBin)
	case RollBinned:
		if err := s.due(e, r, StepBin); err != nil {
			return err
		}
		r.Binned, r.BinnedAt = true, e.At
		s.move(e, r, PlaceGreenBin)
		s.leave(r)
		s.advance(e, r, StepReseat)
	case PutBack:
		return s.puttingBack(e, r)
	case RollTaken, RollReseated, LockLooked, EraseBegan, EraseDone, EraseStopped, RollReturned:
		return s.applyGreen(e, r)
	default:
		return s.refuse(e, "not an event of a roll")
	}
	return nil
}

// labelRead: first the card, then the tape; the seat step opens only when both say this roll's label.
func (s *Shift) labelRead(e Entry, r *Roll, ev LabelRead) error {
	if err := s.due(e, r, StepPick); err != nil {
		return err
	}
	if r.Place != PlaceHand {
		return s.refuse(e, fmt.Sprintf("%s is not in your hand", r.Label))
	}
	l, err := ParseLabel(ev.Read)
	right := err == nil && l == r.Label
	if right != ev.Right {
		return s.refuse(e, "the reading does not match its own verdict")
	}
	switch ev.Where {
	case "card":
		r.ReadCard, r.CardAsked = right, true
	case "tape":
		if !r.CardAsked {
			return s.refuse(e, "the card's label is read first")
		}
		if r.ReadCard && right {
			if c := s.critical(e.Lane); c != "" {
				return s.refuse(e, fmt.Sprintf("%s is in a critical step", c))
			}
		}
		r.ReadTape = r.ReadCard && right // a right tape on another card opens nothing
	default:
		return s.refuse(e, "a label is read from card or tape")
	}
	if r.ReadCard && r.ReadTape {
		s.advance(e, r, StepSeat)
	}
	return nil
}

func (s *Shift) seated(e Entry, r *Roll, ev CardSeated) error {
	if r.Step != StepSeat && r.Step != StepReseat {
		return s.refuse(e, fmt.Sprintf("%s is due at %s: no card is to be seated", r.Label, r.Step))
	}
	if err := s.due(e, r, r.Step); err != nil {
		return err
	}
	v := ev.Volume
	if r.Step == StepSeat {
		r.CardID = v.ID
	}
	r.Seated, r.SeatedAt, r.Out = &v, e.At, false
	s.lane(e.Lane).Volume = &v
	s.move(e, r, PlaceReader)
	return nil
}

func (s *Shift) seatDone(e Entry, r *Roll) {
	if r.TapeMoved && r.Seated != nil && r.Scanned != nil {
		s.advance(e, r, StepStart)
	}
}

// gone: the card's volume is no longer in the reader. What that means depends on the step; it never completes one.
func (s *Shift) gone(e Entry, r *Roll) error {
	if r.Seated == nil {
		return s.refuse(e, "no card is seated")
	}
	r.Seated, r.Out, r.OutAt = nil, true, e.At
	s.lane(e.Lane).Volume = nil
	switch r.Step {
	case StepSeat, StepStart:
		r.Scanned = nil
		s.move(e, r, PlaceHand)
		s.advance(e, r, StepSeat)
	case StepReseat, StepErase:
		r.Reseated = false
		if r.Lock != nil {
			r.Lock.Void = true
		}
		if !r.Erasing {
			s.move(e, r, PlaceHand)
			s.advance(e, r, StepReseat)
		}
	default:
	}
	return nil
}

// startOver says whether the start came too late: operator's time since the card was seated, scanning left out.
func (s *Shift) startOver(r *Roll, at Moment) bool {
	if r.Scanned == nil || !s.strict {
		return false
	}
	d, _ := at.Since(r.SeatedAt)
	return d-ms(r.Scanned.ScanMS) > s.StartLimit()
}

func (s *Shift) copying(e Entry, r *Roll) error {
	switch ev := e.Event.(type) {
	case CopyBegan:
		if err := s.due(e, r, StepStart); err != nil {
			return err
		}
		if r.Seated == nil {
			return s.refuse(e, "no card is seated")
		}
		if s.startOver(r, e.At) {
			return s.refuse(e, "too long since seating; put back")
		}
		if len(ev.To) < s.limits().Destinations {
			return s.refuse(e, tooFew(len(ev.To), s.limits().Destinations))
		}
		r.Copy, r.CopyAt = CopyRunning, e.At
		s.advance(e, r, StepLog)
	case CopyProven:
		if r.Copy != CopyRunning {
			return s.refuse(e, "no copy is running")
		}
		n := 0
		for _, c := range ev.Copies {
			if c.Proven {
				n++
			}
		}
		if n < s.limits().Destinations || ev.Proof == "" {
			return s.refuse(e, fmt.Sprintf("%d copies are proven, %d are needed", n, s.limits().Destinations))
		}
		r.Copy, r.ProvenAt, r.Proof, r.Copies = CopyIsProven, e.At, ev.Proof, ev.Copies
		r.Files, r.Bytes = ev.Files, ev.Bytes
	case CopyFailed:
		if r.Copy != CopyRunning {
			return s.refuse(e, "no copy is running")
		}
		r.Copy, r.Copies = CopyIsFailed, ev.Copies
	}
	return nil
}

// copyAdded takes a further proven copy: one more destination that has to be looked at and that the lock asks for.
func (s *Shift) copyAdded(e Entry, r *Roll, ev CopyAdded) error {
	if r.Copy != CopyIsProven || ev.Proof == "" || len(ev.Copies) == 0 {
		return s.refuse(e, "there is no proven copy to add to")
	}
	if r.Erasing {
		return s.refuse(e, "the erase has begun")
	}
	for _, c := range ev.Copies {
		if !c.Proven || proofOf(r, c.Name) != nil {
			return s.refuse(e, fmt.Sprintf("%s is not a further proven copy", clip(c.Name, 20)))
		}
	}
	r.Proof, r.Copies = ev.Proof, append(r.Copies, ev.Copies...)
	r.LookedBy = "" // the new destination was not looked at
	if r.Lock != nil {
		r.Lock.Void = true
	}
	return nil
}

// whileCopying: log and count go on beside the copy; pull waits for its proof.
func (s *Shift) whileCopying(e Entry, r *Roll) error {
	switch ev := e.Event.(type) {
	case RollLogged:
		if err := s.due(e, r, StepLog); err != nil {
			return err
		}
		r.Logged, r.InBook, r.Serial, r.Notes = true, true, ev.Serial, ev.Notes
		s.advance(e, r, StepCount)
	case CountShown:
		if err := s.due(e, r, StepCount); err != nil {
			return err
		}
		r.CountShown, r.CountFiles, r.CountSize = true, false, false
	case CountRead:
		if err := s.due(e, r, StepCount); err != nil {
			return err
		}
		switch {
		case !r.CountShown:
			return s.refuse(e, "the figures were not shown yet")
		case !ev.Right:
			r.CountShown, r.CountFiles, r.CountSize = false, false, false
		case ev.What == "files":
			r.CountFiles = true
		case ev.What == "size" && r.CountFiles:
			r.CountSize = true
		default:
			return s.refuse(e, "files are counted first, then the size")
		}
		if r.CountSize { // counted last
			s.advance(e, r, StepPull)
		}
	case CardPulled:
		if err := s.due(e, r, StepPull); err != nil {
			return err
		}
		if r.Copy != CopyIsProven {
			return s.refuse(e, "the copy is not proven yet")
		}
		if !r.Out {
			return s.refuse(e, "the system still sees the card: it is not ejected and pulled")
		}
		s.move(e, r, PlaceDesk)
		s.advance(e, r, StepLook)
	}
	return nil
}

// looked: a sighted check, at its step, or again by a new operator before an erase.
func (s *Shift) looked(e Entry, r *Roll, ev DestLooked) error {
	again := r.Step == StepReseat && !s.lookedAll(r, s.Operator)
	if !again {
		if err := s.due(e, r, StepLook); err != nil {
			return err
		}
	} else if err := s.due(e, r, StepReseat); err != nil {
		return err
	}
	known := false
	for _, c := range r.Copies {
		known = known || (c.Name == ev.Dest && c.Proven)
	}
	if !known {
		return s.refuse(e, fmt.Sprintf("%s holds no proven copy of %s", clip(ev.Dest, 20), r.Label))
	}
	if !ev.Right {
		r.LookTries[ev.Dest]++
		delete(r.Looked, ev.Dest)
		return nil
	}
	r.Looked[ev.Dest] = s.Operator
	if !s.lookedAll(r, s.Operator) {
		return nil
	}
	r.LookedBy = s.Operator
	if !again {
		s.advance(e, r, StepMark)
	}
	return nil
}

func (s *Shift) puttingBack(e Entry, r *Roll) error {
	switch {
	case s.Lanes[e.Lane] == nil || s.Lanes[e.Lane].Roll != r.Label:
		return s.refuse(e, fmt.Sprintf("%s is not the roll of this lane", r.Label))
	case r.Erasing:
		return s.refuse(e, "the erase has begun")
	case r.Step == StepPick && r.Place == PlaceHand, r.Step == StepSeat, r.Step == StepStart, r.Step == StepReseat,
		r.Step == StepErase, r.Step == StepReturn && r.Place == PlaceHand:
		r.Backs++
		s.putBack(e, r)
		return nil
	}
	return s.refuse(e, fmt.Sprintf("%s is at %s; put back is for critical steps", r.Label, r.Step))
}

// applyGreen folds the steps after the green bin: seat again, erase, return.
func (s *Shift) applyGreen(e Entry, r *Roll) error {
	switch ev := e.Event.(type) {
	case RollTaken:
		return s.taken(e, r, ev)
	case RollReseated:
		if err := s.due(e, r, StepReseat); err != nil {
			return err
		}
		if r.Seated == nil {
			return s.refuse(e, "no card is seated")
		}
		if r.Reseated {
			return s.refuse(e, "that was said already")
		}
		r.Reseated = true
	case LockLooked:
		return s.lockLooked(e, r, ev)
	case EraseBegan:
		if err := s.eraseMay(e, r); err != nil {
			return err
		}
		r.Erasing = true
	case EraseDone:
		if !r.Erasing {
			return s.refuse(e, "no erase has begun")
		}
		r.Erasing, r.Erased, r.ErasedAt = false, true, e.At
		s.advance(e, r, StepReturn)
	case EraseStopped:
		if !r.Erasing {
			return s.refuse(e, "no erase has begun")
		}
		r.Erasing, r.Lock, r.Reseated = false, nil, false
		if ev.Removed > 0 || ev.Doubtful != "" {
			r.Partly = true
			s.advance(e, r, StepReturn)
		} else {
			s.advance(e, r, StepReseat)
		}
	case RollReturned:
		return s.returned(e, r, ev)
	}
	return nil
}

func (s *Shift) taken(e Entry, r *Roll, ev RollTaken) error {
	switch l := s.Lanes[e.Lane]; {
	case r.Place != PlaceGreenBin || !r.Binned:
		return s.refuse(e, fmt.Sprintf("%s is not in the green bin", r.Label))
	case l != nil && l.Roll != "":
		return s.refuse(e, fmt.Sprintf("%s is under way here", l.Roll))
	}
	switch ev.For {
	case "erase":
		if r.Erased || r.Partly {
			return s.refuse(e, "only its return is left")
		}
		if c := s.critical(e.Lane); c != "" {
			return s.refuse(e, fmt.Sprintf("%s is in a critical step", c))
		}
		s.advance(e, r, StepReseat)
	case "return":
		s.advance(e, r, StepReturn)
	default:
		return s.refuse(e, "a roll is taken for erase or return")
	}
	s.lane(e.Lane).Roll = r.Label
	r.Out, r.Reseated, r.Lock = true, false, nil
	s.move(e, r, PlaceHand)
	return nil
}

func (s *Shift) lockLooked(e Entry, r *Roll, ev LockLooked) error {
	if r.Step != StepReseat && r.Step != StepErase {
		return s.refuse(e, fmt.Sprintf("%s is due at %s", r.Label, r.Step))
	}
	if err := s.due(e, r, r.Step); err != nil {
		return err
	}
	if !r.Reseated || r.Seated == nil {
		return s.refuse(e, "the card is not seated again")
	}
	if r.Erasing {
		return s.refuse(e, "the erase has begun")
	}
	open := len(ev.Conditions) > 0
	for _, c := range ev.Conditions {
		open = open && c.Holds
	}
	if open != ev.Open {
		return s.refuse(e, "the verdict does not match its conditions")
	}
	r.Lock = &LockNote{Open: open, At: e.At, Conditions: ev.Conditions}
	if open {
		s.advance(e, r, StepErase)
	} else {
		s.advance(e, r, StepReseat)
	}
	return nil
}

// eraseMay repeats, from the journal alone, what the lock asks for: the erase is reachable only through it. Invariant 5.
func (s *Shift) eraseMay(e Entry, r *Roll) error {
	if err := s.due(e, r, StepErase); err != nil {
		return err
	}
	switch {
	case r.Erasing:
		return s.refuse(e, "the erase has begun")
	case r.Lock == nil || !r.Lock.Open:
		return s.refuse(e, "the lock is closed")
	case r.Lock.Void:
		return s.refuse(e, "something changed since the look; look again")
	case r.Lock.At.Run != e.At.Run:
		return s.refuse(e, "the look is of an earlier run; look again")
	case r.Seated == nil || !r.Reseated:
		return s.refuse(e, "the card is not seated again")
	case r.Copy != CopyIsProven || r.Proof == "":
		return s.refuse(e, "the copy is not proven")
	case !r.Marked || !r.Binned || !s.lookedAll(r, s.Operator):
		return s.refuse(e, "look, mark or bin is not done, or not by this operator")
	case r.Held != nil:
		return s.refuse(e, "the roll is on hold")
	}
	if d, _ := e.At.Since(r.Lock.At); s.strict && (d < 0 || d >= s.EraseLimit()) {
		return s.refuse(e, "the look is too old; look again")
	}
	return nil
}

func (s *Shift) returned(e Entry, r *Roll, ev RollReturned) error {
	if err := s.due(e, r, StepReturn); err != nil {
		return err
	}
	if r.Place == PlaceReader && !r.Out {
		return s.refuse(e, "the system still sees the card: it is not ejected and pulled")
	}
	r.To, r.ReturnedAt = ev.To, e.At
	s.leave(r)
	s.move(e, r, PlaceReturned)
	s.advance(e, r, StepNone)
	return nil
}

// proofOf gives the named copy of a roll, nil when there is none.
func proofOf(r *Roll, dest string) *CopyNote {
	for i := range r.Copies {
		if r.Copies[i].Name == dest {
			return &r.Copies[i]
		}
	}
	return nil
}
