package drill

import (
	"fmt"
	"strings"
)

// Drill is one exercise, as data.
type Drill struct {
	// Name is what the command line calls it; Title says it in a few words.
	Name, Title string
	// Stage orders the drills: nobody is offered a drill of a stage before those of earlier ones are passed.
	Stage int
	// Teaches is what is learned, one line each.
	Teaches []string
	// Brief is what the trainee is told before it begins.
	Brief []string
	// Cameras and Rolls are how many there are.
	Cameras, Rolls int
	// Pairs: rolls may come two at a time. Erase: cards are erased at the cart; SomeErase: some are, as whoever brings
	// them says. Spare: there is a spare drive. Slow: a drive may be slow.
	Pairs, Erase, SomeErase, Spare, Slow bool
	// Slots are incidents that may happen.
	Slots []Slot
	Criteria
}

// Slot is an incident that may happen, at most once for every roll that it fits, Most times in all.
type Slot struct {
	Kind Kind
	// Chance is that it happens at all, from 0 to 1; for a long day, at each roll.
	Chance float64
	Most   int
}

// Criteria say when a drill is passed. They are shown before it and after it. The zero value asks for everything.
type Criteria struct {
	// Late is how many incidents may be handled late. None may be handled wrong or missed.
	Late int
	// Orders is how many things may be tried out of their order; the program refuses them, they still count.
	Orders int
	// Desk: how many cards may lie on the desk longer than the limit; AnyDesk: it does not count in this drill.
	Desk    int
	AnyDesk bool
}

// Says is the criteria in words, one line each.
func (c Criteria) Says() []string {
	out := strings.SplitN(Common, ", no ", 2)
	out[1] = "no " + out[1]
	if c.Late == 0 {
		out = append(out, "none handled late")
	} else {
		out = append(out, fmt.Sprintf("at most %d handled late", c.Late))
	}
	switch c.Orders {
	case 0:
		out = append(out, "nothing tried out of its order")
	case 1:
		out = append(out, "at most 1 thing tried out of its order")
	default:
		out = append(out, fmt.Sprintf("at most %d things tried out of their order", c.Orders))
	}
	switch {
	case c.AnyDesk:
	case c.Desk == 0:
		out = append(out, "no card on the desk for longer than the limit")
	case c.Desk == 1:
		out = append(out, "at most 1 card on the desk for longer than the limit")
	default:
		out = append(out, fmt.Sprintf("at most %d cards on the desk for longer than the limit", c.Desk))
	}
	return out
}

// Common is what every drill is passed by.
const Common = "every roll closed or on hold with a reason, tapes and book counted right, no incident handled wrong or missed"

// Allows is what may go wrong in a drill that is passed all the same, in words.
func (c Criteria) Allows() string {
	var out []string
	if c.Late > 0 {
		out = append(out, fmt.Sprintf("%d handled late", c.Late))
	}
	if c.Orders > 0 {
		out = append(out, fmt.Sprintf("%d tried out of order", c.Orders))
	}
	if c.AnyDesk {
		out = append(out, "any time on the desk")
	} else if c.Desk > 0 {
		out = append(out, fmt.Sprintf("%d over the desk limit", c.Desk))
	}
	if len(out) == 0 {
		return "nothing"
	}
	return strings.Join(out, ", ")
}

// FirstRoll is the drill that a newcomer begins with.
const FirstRoll = "first-roll"

// LongDay is the drill that has everything.
const LongDay = "long-day"

// likely is the chance of an incident that a drill is about: often, but not always.
const likely = 0.75

// Drills lists every drill, in the order in which they are offered.
func Drills() []Drill {
	return append(early(), late()...)
}

func early() []Drill {
	return []Drill{
		{
			Name: FirstRoll, Title: "one roll from the red bin back to the camera", Stage: 1, Cameras: 1, Rolls: 1,
			Teaches:  []string{"the thirteen steps and their order", "set-up and close"},
			Brief:    []string{"One camera, one card. Take your time."},
			Criteria: Criteria{Orders: 5, AnyDesk: true},
		},
		{
			Name: "red-bin", Title: "cards that arrive", Stage: 2, Cameras: 2, Rolls: 4, Pairs: true,
			Teaches: []string{"first in, first out", "nothing stays outside the red bin", "tape and case belong to a card", "numbers that have not come in"},
			Slots:   []Slot{{Together, likely, 1}, {Skip, likely, 1}, {Lacks, likely, 2}}, Criteria: Criteria{Late: 1, Orders: 2, AnyDesk: true},
		},
		{
			Name: "labels", Title: "what is written on tape and card", Stage: 2, Cameras: 2, Rolls: 3,
			Teaches: []string{"read the label, never guess it", "a label is used once"},
			Slots:   []Slot{{LabelDiffers, likely, 1}, {Reused, likely, 1}}, Criteria: Criteria{Late: 1, Orders: 2, AnyDesk: true},
		},
		{
			Name: "look", Title: "open the drive and look", Stage: 2, Cameras: 1, Rolls: 2,
			Teaches: []string{"the look is done on every drive, with the eyes"},
			Slots:   []Slot{{NoFolder, likely, 1}}, Criteria: Criteria{Late: 1, Orders: 2, AnyDesk: true},
		},
		{
			Name: "phone", Title: "calls while the hands are full", Stage: 3, Cameras: 1, Rolls: 3,
			Teaches: []string{"seating and starting is not interrupted", "a card on the desk is finished first"},
			Slots:   []Slot{{CallStart, likely, 2}, {CallDesk, likely, 1}}, Criteria: Criteria{Orders: 1},
		},
		{
			Name: "wrong-card", Title: "the card in the reader is another one", Stage: 3, Cameras: 2, Rolls: 2,
			Teaches: []string{"look at the card while it goes into the reader", "put back is always allowed"},
			Slots:   []Slot{{WrongSeat, likely, 1}}, Criteria: Criteria{Late: 1, Orders: 1, AnyDesk: true},
		},
		{
			Name: "old-clips", Title: "a card that was not formatted", Stage: 3, Cameras: 1, Rolls: 2,
			Teaches: []string{"copy all that is there, and tell the camera department"},
			Slots:   []Slot{{Unformatted, likely, 1}}, Criteria: Criteria{Late: 1, Orders: 1, AnyDesk: true},
		},
	}
}

func late() []Drill {
	return []Drill{
		{
			Name: "bad-copy", Title: "a copy that differs from the card", Stage: 4, Cameras: 1, Rolls: 2, Spare: true,
			Teaches: []string{"a bad copy is never green", "another drive, and copy again"},
			Slots:   []Slot{{BadCopy, likely, 1}}, Criteria: Criteria{Late: 1, Orders: 1, AnyDesk: true},
		},
		{
			Name: "drives", Title: "drives that fill up, drop off or cannot be written", Stage: 4, Cameras: 1, Rolls: 3, Spare: true,
			Slow:    true,
			Teaches: []string{"stop, replace or free, prove again"},
			Slots:   []Slot{{DriveFull, 0.6, 1}, {DriveReadOnly, 0.6, 1}, {DriveGone, 0.6, 1}}, Criteria: Criteria{Late: 1, Orders: 1, AnyDesk: true},
		},
		{
			Name: "reader", Title: "a card that cannot be read", Stage: 4, Cameras: 1, Rolls: 2,
			Teaches: []string{"another reader or cable first; no trying again and again"},
			Slots:   []Slot{{Unreadable, likely, 1}}, Criteria: Criteria{Late: 1, Orders: 1, AnyDesk: true},
		},
		{
			Name: "hurry", Title: "somebody wants the card now", Stage: 4, Cameras: 1, Rolls: 3, Slow: true,
			Teaches: []string{"no card leaves before it is green", "the desk clock goes on"},
			Slots:   []Slot{{Wanted, likely, 2}, {CallDesk, 0.5, 1}}, Criteria: Criteria{Orders: 1},
		},
		{
			Name: "erase", Title: "erasing at the cart", Stage: 5, Cameras: 1, Rolls: 3, Erase: true,
			Teaches: []string{"a closed lock says what is wrong: put back, find out", "a distraction at the erase: put back"},
			Brief:   []string{"On this shoot the cards are erased at the cart before they go back."},
			Slots:   []Slot{{WrongErase, 0.6, 1}, {NewTake, 0.6, 1}, {CallErase, 0.6, 1}}, Criteria: Criteria{Late: 1, Orders: 1, AnyDesk: true},
		},
		{
			Name: "power-cut", Title: "the power fails during a copy", Stage: 5, Cameras: 1, Rolls: 2,
			Teaches: []string{"half a copy is no copy: take it up as the program says"},
			Slots:   []Slot{{PowerCut, likely, 1}}, Criteria: Criteria{Late: 1, Orders: 1, AnyDesk: true},
		},
		{
			Name: LongDay, Title: "twelve cameras, thirty rolls", Stage: 6, Cameras: 12, Rolls: 30, Pairs: true, SomeErase: true, Spare: true, Slow: true,
			Brief:   []string{"Some cards are erased at the cart before they go back: whoever brings them says so."},
			Teaches: []string{"all of it, for a whole day", "the board stays true, nothing is left lying"},
			Slots: []Slot{
				{Together, 0.1, 3}, {Skip, 0.1, 2}, {Lacks, 0.06, 2}, {LabelDiffers, 0.05, 2}, {Reused, 0.04, 1}, {NoFolder, 0.04, 1},
				{CallStart, 0.1, 3}, {CallDesk, 0.08, 2}, {WrongSeat, 0.04, 1}, {Unformatted, 0.08, 2}, {BadCopy, 0.04, 1},
				{DriveFull, 0.03, 1}, {DriveReadOnly, 0.03, 1}, {DriveGone, 0.03, 1}, {Unreadable, 0.03, 1}, {PowerCut, 0.02, 1},
				{Wanted, 0.08, 2}, {WrongErase, 0.2, 1}, {NewTake, 0.2, 1}, {CallErase, 0.2, 1},
			},
			Criteria: Criteria{Late: 2, Orders: 3, Desk: 1},
		},
	}
}

// Find gives a drill by its name.
func Find(name string) (Drill, bool) {
	for _, d := range Drills() {
		if d.Name == name {
			return d, true
		}
	}
	return Drill{}, false
}
