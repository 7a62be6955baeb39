package world

import (
	"slices"
	"time"

	"twobin/procedure"
	"twobin/training/drill"
)

// backAfter is how long it takes until a drive with a new cable is there again.
const backAfter = time.Second

// triggers says whether an entry is what an incident waits for. Arrivals were taken in before it is asked. Incidents of
// a copy are not here: [Media] lets them begin, in the midst of its work.
func (s *Scene) triggers(i drill.Planned, e procedure.Entry) bool {
	here := e.Roll == i.Roll
	switch i.Kind {
	case drill.Lacks, drill.Together, drill.Skip, drill.Reused, drill.LabelDiffers:
		f := s.fact(i.Roll)
		return f != nil && f.Here
	}
	switch ev := e.Event.(type) {
	case procedure.TapeMoved:
		return here && (i.Kind == drill.WrongSeat || i.Kind == drill.CallStart && i.Variant == 0)
	case procedure.CardScanned:
		return here && (i.Kind == drill.Unformatted || i.Kind == drill.CallStart && i.Variant != 0)
	case procedure.CopyBegan:
		return here && i.Kind == drill.Wanted && i.Variant == 0
	case procedure.CardPulled:
		return here && (i.Kind == drill.CallDesk || i.Kind == drill.NoFolder || i.Kind == drill.Wanted && i.Variant != 0)
	case procedure.RollTaken:
		return here && ev.For == "erase" && (i.Kind == drill.NewTake || i.Kind == drill.WrongErase)
	case procedure.LockLooked:
		return here && ev.Open && i.Kind == drill.CallErase
	}
	return false
}

// holds says whether the step that a call is about is still due. Calls come after a while: whoever is quicker has not met
// them. What comes at once holds always.
func (s *Scene) holds(i drill.Planned) bool {
	from, to := procedure.StepNone, procedure.StepNone
	switch i.Kind {
	case drill.CallStart:
		from, to = procedure.StepSeat, procedure.StepStart
	case drill.CallDesk:
		from, to = procedure.StepLook, procedure.StepBin
	case drill.Wanted:
		from, to = procedure.StepLog, procedure.StepBin
	case drill.CallErase:
		from, to = procedure.StepErase, procedure.StepErase
	default:
		return true
	}
	r := s.shift.InLane(lane)
	return r != nil && r.Label == i.Roll && r.Step >= from && r.Step <= to && !r.Erasing
}

// fact is a roll by its true label, nil for none.
func (s *Scene) fact(l procedure.Label) *Fact {
	for _, f := range s.facts {
		if f.Label == l {
			return f
		}
	}
	return nil
}

// happened takes an incident's beginning, or an act of the trainee, from the journal.
func (s *Scene) happened(ev procedure.Incident) []Deed {
	if ev.Kind == drill.ActKind {
		return s.act(ev.ID, ev.Text)
	}
	for _, i := range s.plan.Incidents {
		if i.ID != ev.ID {
			continue
		}
		s.begun[i.ID], s.fresh[i.ID] = true, s.swaps
		if i.Kind == drill.DriveFull {
			s.full[i.ID] = ev.Text
		}
		if rings(i.Kind) {
			s.ringing = append(s.ringing, i)
		}
	}
	return nil
}

// rings: somebody wants something now and goes on wanting it.
func rings(k drill.Kind) bool {
	switch k {
	case drill.CallStart, drill.CallDesk, drill.CallErase, drill.Wanted:
		return true
	}
	return false
}

// act is what the world does when the trainee does something in it. text is what the journal says of it besides.
func (s *Scene) act(name, text string) []Deed {
	s.said = nil
	switch name {
	case drill.ActAnswer:
		if len(s.ringing) == 0 {
			s.said = []string{"Nobody calls."}
			return nil
		}
		for _, i := range s.ringing {
			s.said = append(s.said, i.Reply)
		}
		s.ringing = nil
	case drill.ActAsk:
		if !drill.SaysWhich(text) { // a journal of an older version
			text = s.open("")
		}
		s.ask(text)
	case drill.ActGive:
		s.said = []string{"You hold the card out. The one who takes it looks at it and gives it back."}
		if s.Reader() != none {
			s.said = []string{"You reach for the card in the reader. The one who wants it waits beside you, then goes away without it."}
		}
		s.ringing = slices.DeleteFunc(s.ringing, func(i drill.Planned) bool { return i.Kind == drill.Wanted })
	case drill.ActSwap:
		s.swaps++
		s.said = []string{"You take another reader and other cables."}
		var deeds []Deed
		for name := range s.shift.GoneDests {
			deeds = append(deeds, Deed{Do: DeedBack, After: backAfter, Drive: name})
		}
		return deeds
	case drill.ActFree:
		s.said = []string{"On " + text + " stands nothing that may go."}
		for _, i := range s.plan.Incidents {
			if i.Kind == drill.DriveFull && s.begun[i.ID] && s.full[i.ID] == text {
				s.said = []string{"You ask whose the old folders on " + text + " are. They are moved away: it has room now."}
				return []Deed{{Do: DeedFree, Drive: text}}
			}
		}
	}
	return nil
}

// open is the ID of the incident that the camera department speaks of when somebody asks now, of those that have begun
// and were not spoken of: first what the question on the screen is about, a missing number, the card that is held out or the
// roll in the hand; then the newest in the plan's order; [drill.AskedNone] for none. prompt is the question's ID.
func (s *Scene) open(prompt string) string {
	about := func(drill.Planned) bool { return false }
	waiting, roll := s.Waiting(), s.shift.InLane(lane)
	switch {
	case prompt == "receive.gap":
		about = func(i drill.Planned) bool { return i.Kind == drill.Skip }
	case roll != nil:
		about = func(i drill.Planned) bool { return i.Roll == roll.Label }
	case len(waiting) > 0:
		about = func(i drill.Planned) bool { return i.Roll == waiting[0].Label && i.Kind != drill.Skip }
	}
	best := drill.AskedNone
	for _, i := range slices.Backward(s.plan.Incidents) {
		switch {
		case !s.begun[i.ID] || s.asked[i.ID] || i.Reply == "" || rings(i.Kind):
		case about(i):
			return i.ID
		case i.Kind == drill.LabelDiffers && !s.held(i.Roll): // nobody has noticed: it lies in the bin
		case best == drill.AskedNone:
			best = i.ID
		}
	}
	return best
}

// held: a roll of the plan is on hold.
func (s *Scene) held(l procedure.Label) bool {
	r := s.shift.Rolls[l]
	return r != nil && r.Held != nil
}

// ask puts the question of an incident to the camera department. What they put right is right from then on.
func (s *Scene) ask(id string) {
	s.said = []string{"The camera department has nothing to add."}
	for _, i := range s.plan.Incidents {
		if i.ID != id {
			continue
		}
		s.asked[id] = true
		s.said = []string{i.Reply}
		f := s.fact(i.Roll)
		if f == nil {
			return
		}
		switch i.Kind {
		case drill.LabelDiffers, drill.Reused, drill.Lacks:
			f.OnTape, f.OnCard, f.NoCase = string(f.Label), string(f.Label), false
		}
	}
}

// settle ends what an entry ends: a wrong card comes out, a caller gives up, words fade.
func (s *Scene) settle(e procedure.Entry) {
	gone := func(ks ...drill.Kind) {
		s.ringing = slices.DeleteFunc(s.ringing, func(i drill.Planned) bool { return i.Roll == e.Roll && slices.Contains(ks, i.Kind) })
	}
	switch e.Event.(type) {
	case procedure.PutBack, procedure.RollHeld:
		for _, i := range s.plan.Incidents {
			if i.Roll == e.Roll && s.planned[i.ID] && (i.Kind == drill.WrongSeat || i.Kind == drill.WrongErase) {
				s.over[i.ID] = true
			}
		}
		// Who calls goes on calling: put back, then answer.
	case procedure.RollLogged:
		gone(drill.CallStart)
	case procedure.RollBinned:
		gone(drill.Wanted)
		s.said = nil
	case procedure.RollPicked, procedure.RollTaken, procedure.CloseBegan:
		s.ringing, s.said, s.opened = nil, nil, ""
	case procedure.RollReturned:
		gone(drill.CallErase)
		s.said = nil
	}
}

// Begun says whether an incident is in the journal.
func (s *Scene) Begun(id string) bool { return s.begun[id] }
