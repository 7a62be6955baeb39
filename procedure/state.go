package procedure

import (
	"maps"
	"slices"
	"time"

	"twobin/guard"
)

// CopyState is how far a roll's copy is in this pass. The zero value is: no copy.
type CopyState int

// The states of a copy.
const (
	CopyNone CopyState = iota
	CopyRunning
	CopyIsProven
	CopyIsFailed
)

// Hold is why a roll is on hold.
type Hold struct {
	Reason string
	By     string
	At     Moment
	Step   Step
}

// LockNote is the last verdict on a roll's erase step.
type LockNote struct {
	Open       bool
	At         Moment
	Conditions []guard.Condition
	// Void: something happened since (a volume came or went, another operator), so it counts no more.
	Void bool
}

// Roll is one roll's state. The zero value is not a roll.
type Roll struct {
	Label  Label
	Place  Place
	Since  Moment // in this place since
	Step   Step   // due next
	DueAt  Moment // due since
	Pass   int    // passes through the routine begun, from 1
	Held   *Hold  // open hold, nil for none
	Holds  []Hold // every hold, also lifted ones
	Backs  int    // put backs
	From   string
	To     string
	Colour string
	Lacks  string

	Came       Moment // received
	ReadCard   bool   // label read from the card in this pass
	ReadTape   bool
	CardAsked  bool // a label was read from the card, right or wrong
	TapeMoved  bool
	CardID     string        // identity of the card's volume as last seated
	Seated     *guard.Volume // the card's volume while it is in the reader
	SeatedAt   Moment
	Scanned    *CardScanned
	ScannedAt  Moment
	Copy       CopyState
	CopyAt     Moment
	ProvenAt   Moment
	Proof      string // of the newest proven copy
	Copies     []CopyNote
	Files      int
	Bytes      int64
	Logged     bool // in this pass
	InBook     bool // in any pass: it has a line in the book
	Serial     string
	Notes      string
	CountShown bool
	CountFiles bool
	CountSize  bool
	Out        bool // the volume is gone from the reader
	OutAt      Moment
	Looked     map[string]string // destination -> who looked there and answered right, in this pass
	LookTries  map[string]int    // destination -> wrong answers in this pass
	LookedBy   string
	Marked     bool
	Binned     bool
	BinnedAt   Moment
	Reseated   bool
	Lock       *LockNote
	Erasing    bool // an erase began and its end is not in the journal
	Partly     bool // an erase stopped half way: only the camera may format this card
	Erased     bool
	ErasedAt   Moment
	ReturnedAt Moment
}

// Lane is one reader and the roll in it.
type Lane struct {
	Roll   Label // empty: nobody walks the routine here
	Volume *guard.Volume
}

// Note is a note of the day.
type Note struct {
	ID     int
	Roll   Label
	Camera Camera
	Text   string
	At     Moment
	Done   bool
}

// CameraInfo is a camera as set up.
type CameraInfo struct {
	Camera Camera
	Colour string
}

// Shift is the state of one shift: what a fold over its events gives. The zero value is a shift not opened.
// It is not safe for concurrent use; Clone gives a copy that shares nothing that changes.
type Shift struct {
	Opened     *ShiftOpened
	OpenedAt   Moment
	Operator   string
	Run        int
	Cameras    []CameraInfo
	Marking    string
	Kit        bool
	Bins       bool
	Dests      []Destination
	GoneDests  map[string]bool
	Dropped    []Destination // taken out of use; their names stay theirs
	Ready      bool          // set-up done
	Rolls      map[Label]*Roll
	Order      []Label // in order of arrival
	Red        []Label // red bin, first in line first, without rolls on hold
	Lanes      map[int]*Lane
	Notes      []Note
	Strays     []guard.Volume
	Away       *Moment
	Closing    bool
	TapesDone  bool // counted in this close, right or wrong
	BookDone   bool
	TapesRight bool
	BookRight  bool
	Tapes      int
	Book       int
	Stood      *CopiesLooked // the last look at the copies, nil: not taken since the close began or rolls moved
	Sheet      *SheetWritten // the log sheet of this close, nil: not written yet
	Closed     bool
	OpenPoints []string
	CodeRight  bool
	Refusals   int
	Last       Moment

	strict bool // limits of time are asked
	voids  int  // how often every verdict was made void
}

// NewShift gives a shift that is not opened yet.
func NewShift() *Shift {
	return &Shift{
		Rolls: map[Label]*Roll{}, Lanes: map[int]*Lane{}, GoneDests: map[string]bool{},
	}
}

// Clone gives an independent copy.
func (s *Shift) Clone() *Shift {
	c := *s
	c.Cameras = slices.Clone(s.Cameras)
	c.Dests = slices.Clone(s.Dests)
	c.GoneDests = maps.Clone(s.GoneDests)
	c.Dropped = slices.Clone(s.Dropped)
	c.Order = slices.Clone(s.Order)
	c.Red = slices.Clone(s.Red)
	c.Notes = slices.Clone(s.Notes)
	c.Strays = slices.Clone(s.Strays)
	c.OpenPoints = slices.Clone(s.OpenPoints)
	c.Rolls = make(map[Label]*Roll, len(s.Rolls))
	for l, r := range s.Rolls {
		n := *r
		n.Holds = slices.Clone(r.Holds)
		n.Copies = slices.Clone(r.Copies)
		n.Looked = maps.Clone(r.Looked)
		n.LookTries = maps.Clone(r.LookTries)
		if r.Lock != nil {
			k := *r.Lock
			n.Lock = &k
		}
		c.Rolls[l] = &n
	}
	c.Lanes = make(map[int]*Lane, len(s.Lanes))
	for i, l := range s.Lanes {
		n := *l
		c.Lanes[i] = &n
	}
	return &c
}

// Roll gives a roll's state, nil when no such roll came in.
func (s *Shift) Roll(l Label) *Roll { return s.Rolls[l] }

// InLane is the roll that walks the routine in a lane, nil for none.
func (s *Shift) InLane(lane int) *Roll {
	if l := s.Lanes[lane]; l != nil && l.Roll != "" {
		return s.Rolls[l.Roll]
	}
	return nil
}

// Due is the step that is due in a lane: that of its roll; without one, picking (or receiving, with an empty bin).
func (s *Shift) Due(lane int) Step {
	if r := s.InLane(lane); r != nil {
		return r.Step
	}
	if len(s.Red) > 0 {
		return StepPick
	}
	return StepReceive
}

// Colour is a camera's tape colour, empty for an unknown camera.
func (s *Shift) Colour(c Camera) string {
	for _, k := range s.Cameras {
		if k.Camera == c {
			return k.Colour
		}
	}
	return ""
}

// Dest finds a destination by name.
func (s *Shift) Dest(name string) (Destination, bool) {
	for _, d := range s.Dests {
		if d.Name == name {
			return d, true
		}
	}
	return Destination{}, false
}

// Missing lists the numbers of each camera that have not come in although a later one has: those between the first and the
// last of this shift, and those between the last of earlier days and this shift's first. Where that leaves out more than
// farJump, the numbers began anew.
func (s *Shift) Missing() map[Camera][]Label {
	highest := map[Camera]int{}
	lowest := map[Camera]int{}
	have := map[Label]bool{}
	if s.Opened != nil {
		for _, l := range s.Opened.Known {
			have[l] = true
		}
	}
	for _, l := range s.Order {
		have[l] = true
		c, n := l.Camera(), l.Number()
		highest[c] = max(highest[c], n)
		if lowest[c] == 0 || n < lowest[c] {
			lowest[c] = n
		}
	}
	out := map[Camera][]Label{}
	for c, hi := range highest {
		first := lowest[c]
		if k := s.knownBelow(c, first); k > 0 && first-k-1 <= farJump {
			first = k
		}
		for n := first; n < hi; n++ {
			if l := MakeLabel(c, n); !have[l] {
				out[c] = append(out[c], l)
			}
		}
	}
	return out
}

// knownBelow is the highest number below n that a camera had on earlier days, 0 for none.
func (s *Shift) knownBelow(c Camera, n int) int {
	last := 0
	if s.Opened != nil {
		for _, l := range s.Opened.Known {
			if l.Camera() == c && l.Number() < n {
				last = max(last, l.Number())
			}
		}
	}
	return last
}

// OnHold lists rolls on hold, in order of arrival.
func (s *Shift) OnHold() []*Roll {
	return s.where(func(r *Roll) bool { return r.Held != nil })
}

// At lists the rolls in a place, in order of arrival; for the red bin, first in line first, then those on hold.
func (s *Shift) At(p Place) []*Roll {
	if p != PlaceRedBin {
		return s.where(func(r *Roll) bool { return r.Place == p })
	}
	var out []*Roll
	for _, l := range s.Red {
		out = append(out, s.Rolls[l])
	}
	return append(out, s.where(func(r *Roll) bool { return r.Place == PlaceRedBin && r.Held != nil })...)
}

func (s *Shift) where(f func(*Roll) bool) []*Roll {
	var out []*Roll
	for _, l := range s.Order {
		if r := s.Rolls[l]; f(r) {
			out = append(out, r)
		}
	}
	return out
}

// Open lists what keeps the shift from closing cleanly, one line each; nil when everything adds up.
func (s *Shift) Open() []string {
	var open []string
	for _, l := range s.Order {
		r := s.Rolls[l]
		switch {
		case r.Held != nil:
			open = append(open, string(l)+" is on hold: "+r.Held.Reason)
		case r.Place == PlaceRedBin, r.Place == PlaceHand, r.Place == PlaceReader, r.Place == PlaceDesk:
			open = append(open, string(l)+" is not done: "+r.Place.String()+", next is "+r.Step.String())
		}
	}
	for _, c := range slices.Sorted(maps.Keys(s.Missing())) {
		for _, l := range s.Missing()[c] {
			open = append(open, string(l)+" has not come in")
		}
	}
	return open
}

// Handled is the number of rolls that went into the green bin: as many tapes must be kept.
func (s *Shift) Handled() int {
	return len(s.where(func(r *Roll) bool { return r.Binned }))
}

// Lines is the number of rolls logged: as many lines stand in the book.
func (s *Shift) Lines() int {
	return len(s.where(func(r *Roll) bool { return r.InBook }))
}

func (s *Shift) limits() PolicyNote {
	if s.Opened == nil {
		return PolicyNote{}
	}
	return s.Opened.Policy
}

func ms(n int64) time.Duration { return time.Duration(n) * time.Millisecond }

// StartLimit, DeskLimit and EraseLimit are the limits that this shift runs under.
func (s *Shift) StartLimit() time.Duration { return ms(s.limits().StartMS) }

// DeskLimit is how long a card may lie on the desk.
func (s *Shift) DeskLimit() time.Duration { return ms(s.limits().DeskMS) }

// EraseLimit is how fresh the look must be when the erase begins.
func (s *Shift) EraseLimit() time.Duration { return ms(s.limits().EraseMS) }
