package drill

import (
	"strings"
	"time"

	"twobin/procedure"
	"twobin/training/dummy"
)

// Plan is one run of a drill, all of it decided. It is a function of drill and seed.
type Plan struct {
	Drill      string
	Seed       int64
	Production string
	Day        int
	// Brief is what the trainee is told before it begins, one line each.
	Brief   []string
	Cameras []procedure.CameraInfo
	Drives  []Drive
	Rolls   []Roll
	// Cards is how many physical cards there are; rolls name them by number, from 0. CardSize is what one can hold, in bytes.
	Cards    int
	CardSize int64
	// Take is the bytes of one more take that is shot on a card; Stranger those on a card that belongs to nobody here.
	Take, Stranger int64
	Incidents      []Planned
}

// Drive is a simulated drive.
type Drive struct {
	Name string
	// Capacity is bytes in all; Speed is bytes a second, 0 for as fast as the disk goes.
	Capacity int64
	Speed    int64
	// Spare drives lie in a drawer: they are there, but the shift does not begin with them.
	Spare bool
}

// Cue is when a roll is brought to the cart.
type Cue int

// The cues. All but CueStart refer to the roll named by Roll.After.
const (
	_ Cue = iota
	// CueStart: as soon as the set-up is done.
	CueStart
	// CueTogether: in the same hand as the other roll.
	CueTogether
	// CueLogging: while the other roll copies.
	CueLogging
	// CueBinned: when the other roll lies in the green bin for the first time.
	CueBinned
	// CueReturned: when the other roll was handed back.
	CueReturned
	// CueAsked: when the camera department says of a take on the other roll's card that it is a roll of its own. It is the
	// same card.
	CueAsked
)

// Roll is one roll that somebody brings.
type Roll struct {
	Label procedure.Label
	// Card is the number of the physical card.
	Card int
	From string
	Cue  Cue
	// After is the index of the roll that Cue refers to.
	After int
	// OnTape and OnCard are what is written there; OnTape empty: there is no tape.
	OnTape, OnCard string
	// NoCase: it comes without its case.
	NoCase bool
	Shape  dummy.Shape
	// Size is bytes.
	Size int64
	// Erase: the camera department asks for it to be erased at the cart.
	Erase bool
	// Over: the card was not formatted; its earlier files are still on it.
	Over bool
}

// Planned is an incident that will happen in this run.
type Planned struct {
	// ID is unique in the plan: "i1".
	ID   string
	Kind Kind
	// Roll is the label of the roll that it happens to, as the journal will have it.
	Roll procedure.Label
	// Other is a second roll or label that it is about; Dest a drive.
	Other procedure.Label
	Dest  string
	// Variant chooses one of the kind's appearances.
	Variant int
	// Delay is the time from the trigger to the appearance.
	Delay time.Duration
	// Reply is what is said when the trainee asks; Keys are words of it that an honest note of it has.
	Reply string
	Keys  []string
	// Says is what is heard or seen when it begins.
	Says string
}

// Roll finds a roll of the plan by its label.
func (p *Plan) Roll(l procedure.Label) (Roll, bool) {
	for _, r := range p.Rolls {
		if r.Label == l {
			return r, true
		}
	}
	return Roll{}, false
}

// Stuck says of every roll of the plan whether it cannot come as things are: it waits for a card that is on hold, for
// one that does, or for a question that nobody may ask.
func (p *Plan) Stuck(s *procedure.Shift) []bool {
	stuck := make([]bool, len(p.Rolls))
	for again := true; again; {
		again = false
		for i, r := range p.Rolls {
			if stuck[i] || r.Cue == CueStart || s.Rolls[r.Label] != nil {
				continue
			}
			base := s.Rolls[p.Rolls[r.After].Label]
			if stuck[r.After] || r.Cue == CueAsked || r.Over && base != nil && base.Held != nil {
				stuck[i], again = true, true
			}
		}
	}
	return stuck
}

// due is how many rolls of the plan there are to take in. asked has the IDs of the incidents that the camera department
// was asked about.
func (p *Plan) due(s *procedure.Shift, asked map[string]bool) int {
	n := 0
	for i, stuck := range p.Stuck(s) {
		if !stuck || p.Rolls[i].Cue == CueAsked && asked[p.asksFor(p.Rolls[i])] {
			n++
		}
	}
	return n
}

// asksFor is the ID of the incident that a roll with CueAsked comes of.
func (p *Plan) asksFor(r Roll) string {
	i, _ := p.Of(p.Rolls[r.After].Label, NewTake)
	return i.ID
}

// WentOn is the roll as which a roll's card went on, if it was taken in: there was one more take on it, and that is a
// roll of its own.
func (p *Plan) WentOn(l procedure.Label, s *procedure.Shift) (procedure.Label, bool) {
	i, ok := p.Of(l, NewTake)
	return i.Other, ok && i.Other != "" && s.Rolls[i.Other] != nil
}

// Of lists the incidents of a roll of one kind.
func (p *Plan) Of(l procedure.Label, k Kind) (Planned, bool) {
	for _, i := range p.Incidents {
		if i.Roll == l && i.Kind == k {
			return i, true
		}
	}
	return Planned{}, false
}

// CapacityOf is the bytes that a drive of the plan has in all, 0 for a drive that is not in it.
func (p *Plan) CapacityOf(name string) int64 {
	for _, d := range p.Drives {
		if d.Name == name {
			return d.Capacity
		}
	}
	return 0
}

// Has says whether an incident of a kind happens.
func (p *Plan) Has(k Kind) bool {
	for _, i := range p.Incidents {
		if i.Kind == k {
			return true
		}
	}
	return false
}

// Acts of the trainee in the drill's world. They are the same in every drill, so that nothing hints.
const (
	// ActAnswer: answer the phone, the radio or the person at the cart.
	ActAnswer = "answer"
	// ActAsk: ask the camera department about what does not fit.
	ActAsk = "ask"
	// ActGive: hand over the card that somebody asks for.
	ActGive = "give"
	// ActSwap: another reader, another cable.
	ActSwap = "swap"
	// ActFree: have room made on a drive by somebody who may. It has the drive's name with it.
	ActFree = "free"
	// ActOpen: open a drive's folder and look.
	ActOpen = "open"
)

// ActKind is the Kind under which an act of the trainee is journaled, as an Incident whose ID is the act. The Text of
// an ActAsk is the ID of the incident that was spoken of, or [AskedNone]; journals of older versions have there what the
// trainee had typed, in capitals, or nothing.
const ActKind = "act"

// AskedNone is the Text of an ActAsk to which there was nothing to say.
const AskedNone = "none"

// SaysWhich says whether the Text of an ActAsk names what was spoken of: not so in a journal of an older version.
func SaysWhich(text string) bool { return text != strings.ToUpper(text) }

// DrillKind is the Kind under which the whole drill's result is journaled, as an IncidentScored whose ID is the drill.
const DrillKind = "drill"
