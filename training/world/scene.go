package world

import (
	"time"

	"twobin/procedure"
	"twobin/training/drill"
)

// none says that there is no card: in the reader, or of a roll.
const none = -1

// Pace is how long things take outside. The zero value is: at once.
type Pace struct {
	// Seat and Pull are from the decision to the card being in or out of the reader.
	Seat, Pull time.Duration
	// Copy is how long a copy takes at least.
	Copy time.Duration
}

// Natural is the pace of a drill with a person at the desk.
var Natural = Pace{Seat: 1500 * time.Millisecond, Pull: 1500 * time.Millisecond, Copy: 8 * time.Second}

// Faster is the pace sped up by a factor.
func (p Pace) Faster(by float64) Pace {
	f := func(d time.Duration) time.Duration { return time.Duration(float64(d) / by) }
	return Pace{Seat: f(p.Seat), Pull: f(p.Pull), Copy: f(p.Copy)}
}

// DeedKind is what is done outside.
type DeedKind int

// The deeds.
const (
	_ DeedKind = iota
	// DeedReader: make the reader hold what [Scene.Reader] says.
	DeedReader
	// DeedIncident: the incident begins.
	DeedIncident
	// DeedBack: the drive is there again.
	DeedBack
	// DeedGrow: more is shot on the card of the roll, without formatting it.
	DeedGrow
	// DeedMark: an erase is over; a real practice card gets its marker back.
	DeedMark
	// DeedFree: there is room on the drive again.
	DeedFree
)

// Deed is one thing to be done after a while.
type Deed struct {
	Do    DeedKind
	After time.Duration
	What  drill.Planned // DeedIncident
	Drive string        // DeedBack, DeedFree
	Roll  drill.Roll    // DeedGrow
}

// Fact is what is written on and around one roll of the plan, as it is now.
type Fact struct {
	drill.Roll
	// Known is the label under which the trainee took it in; empty: not yet.
	Known procedure.Label
	// Here: it was brought. Gone: it was taken away again.
	Here bool
	Gone bool
}

// Scene is the outside. Make one with [NewScene].
type Scene struct {
	plan  *drill.Plan
	pace  Pace
	shift *procedure.Shift
	facts []*Fact
	// reached has, for every roll of the plan, which cues it has given.
	reached []map[drill.Cue]bool
	// planned and begun are incidents that are on their way, and that are in the journal.
	planned map[string]bool
	begun   map[string]bool
	over    map[string]bool
	// ringing are those that somebody still talks or rings for.
	ringing []drill.Planned
	// said is what was said last.
	said  []string
	wasIn int
	swaps int
	// fresh is how often reader and cables had been changed when an incident began.
	fresh map[string]int
	// full is the drive that an incident has filled.
	full   map[string]string
	asked  map[string]bool
	opened string
	copies map[procedure.Label]int
}

// NewScene is the outside before the set-up.
func NewScene(p *drill.Plan, pace Pace) *Scene {
	s := &Scene{
		plan: p, pace: pace, shift: procedure.NewShift(), planned: map[string]bool{}, begun: map[string]bool{}, over: map[string]bool{},
		wasIn: none, asked: map[string]bool{}, fresh: map[string]int{}, full: map[string]string{}, copies: map[procedure.Label]int{},
	}
	for _, r := range p.Rolls {
		s.facts = append(s.facts, &Fact{Roll: r})
		s.reached = append(s.reached, map[drill.Cue]bool{})
	}
	return s
}

// Hear takes one journaled entry and says what happens outside because of it. An entry that does not fold is ignored:
// the runner has accepted it, so only a newer journal can bring one.
func (s *Scene) Hear(e procedure.Entry) []Deed {
	if s.shift.Apply(e) != nil {
		return nil
	}
	var deeds []Deed
	switch ev := e.Event.(type) {
	case procedure.RollReceived:
		s.received(e.Roll)
	case procedure.CopyBegan:
		s.copies[e.Roll]++
		s.reach(e.Roll, drill.CueLogging)
	case procedure.RollBinned:
		s.reach(e.Roll, drill.CueBinned)
	case procedure.RollReturned:
		s.reach(e.Roll, drill.CueReturned)
	case procedure.EraseDone, procedure.EraseStopped:
		deeds = append(deeds, Deed{Do: DeedMark})
	case procedure.Incident:
		deeds = append(deeds, s.happened(ev)...)
	}
	deeds = append(deeds, s.arrivals()...)
	for _, i := range s.plan.Incidents {
		if !s.planned[i.ID] && !s.begun[i.ID] && s.triggers(i, e) {
			s.planned[i.ID] = true
			deeds = append(deeds, Deed{Do: DeedIncident, After: i.Delay, What: i})
		}
	}
	s.settle(e)
	if in := s.Reader(); in != s.wasIn {
		d := Deed{Do: DeedReader, After: s.pace.Seat}
		if in == none {
			d.After = s.pace.Pull
		}
		s.wasIn = in
		deeds = append(deeds, d)
	}
	return deeds
}

// Reader is the number of the card that belongs in the reader now, none for none. It is a function of the routine's
// state: the hands do what the step says.
func (s *Scene) Reader() int {
	roll := s.shift.InLane(lane)
	if roll == nil {
		return none
	}
	switch roll.Step {
	case procedure.StepSeat:
		if !roll.TapeMoved {
			return none
		}
		return s.seats(roll.Label, drill.WrongSeat)
	case procedure.StepStart:
		return s.seats(roll.Label, drill.WrongSeat)
	case procedure.StepLog, procedure.StepCount:
		return s.seats(roll.Label, drill.WrongSeat)
	case procedure.StepPull:
		if roll.Copy == procedure.CopyIsProven {
			return none
		}
		return s.seats(roll.Label, drill.WrongSeat)
	case procedure.StepReseat, procedure.StepErase:
		return s.seats(roll.Label, drill.WrongErase)
	default:
		return none
	}
}

// lane is the only lane of a drill.
const lane = 1

// seats is the card that goes into the reader for a roll: its own, unless an incident of kind k is at work, which lasts
// until the card was taken out again.
func (s *Scene) seats(l procedure.Label, k drill.Kind) int {
	if i, ok := s.plan.Of(l, k); ok && !s.over[i.ID] {
		return s.decoy()
	}
	return s.card(l)
}

// decoy is the card that belongs to nobody: one more than the plan's.
func (s *Scene) decoy() int { return s.plan.Cards }

// card is the physical card of a roll as the trainee named it.
func (s *Scene) card(l procedure.Label) int {
	if f := s.known(l); f != nil {
		return f.Card
	}
	return none
}

// known is the roll that was taken in under a label, nil for none.
func (s *Scene) known(l procedure.Label) *Fact {
	for _, f := range s.facts {
		if f.Known == l {
			return f
		}
	}
	return nil
}

// Waiting lists rolls that were brought and are not in the red bin yet, in order.
func (s *Scene) Waiting() []*Fact {
	var out []*Fact
	for _, f := range s.facts {
		if f.Here && !f.Gone && f.Known == "" {
			out = append(out, f)
		}
	}
	return out
}

// received joins a label that was taken in with a card that waits: the one that says so, else the first.
func (s *Scene) received(l procedure.Label) {
	w := s.Waiting()
	if len(w) == 0 {
		return
	}
	best := w[0]
	for _, f := range w {
		if f.OnTape == string(l) || f.OnTape == "" && f.OnCard == string(l) {
			best = f
			break
		}
	}
	best.Known = l
}

func (s *Scene) reach(l procedure.Label, c drill.Cue) {
	for i, f := range s.facts {
		if f.Known == l {
			s.reached[i][c] = true
		}
	}
}

// arrivals lets rolls be brought whose cue was given.
func (s *Scene) arrivals() []Deed {
	var deeds []Deed
	for again := true; again; {
		again = false
		for i, f := range s.facts {
			if f.Here || !s.cued(s.plan.Rolls[i]) {
				continue
			}
			f.Here, again = true, true
			s.said = nil
			if f.Cue == drill.CueAsked { // the tape that was kept says still what it was
				s.facts[f.After].OnCard = f.OnCard
			}
			if f.Over {
				deeds = append(deeds, Deed{Do: DeedGrow, Roll: f.Roll})
			}
		}
	}
	return deeds
}

func (s *Scene) cued(r drill.Roll) bool {
	switch r.Cue {
	case drill.CueStart:
		return s.shift.Ready
	case drill.CueTogether:
		return s.facts[r.After].Here
	case drill.CueLogging, drill.CueBinned:
		return s.reached[r.After][r.Cue] || s.onHold(r.After)
	case drill.CueReturned:
		return s.reached[r.After][r.Cue] || !r.Over && s.onHold(r.After) && s.lastOf(r)
	case drill.CueAsked:
		i, ok := s.plan.Of(s.plan.Rolls[r.After].Label, drill.NewTake)
		return ok && s.asked[i.ID]
	default:
		return false
	}
}

// onHold: a roll of the plan is on hold, and may stay so for good. The day goes on without it.
func (s *Scene) onHold(i int) bool {
	r := s.shift.Rolls[s.facts[i].Known]
	return r != nil && r.Held != nil
}

// lastOf: every other roll that can come is in. What waits for a return is the same card as that (Over), which is not to be
// had from a hold, or it comes after all others: a label must be there before it can be used again.
func (s *Scene) lastOf(r drill.Roll) bool {
	stuck := s.plan.Stuck(s.shift)
	for i, f := range s.facts {
		if f.Label != r.Label && f.Known == "" && !stuck[i] {
			return false
		}
	}
	return true
}
