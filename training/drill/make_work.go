package drill

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"time"

	"twobin/procedure"
)

// seating: what happens between tape and start.
func (m *maker) seating(r *Roll) {
	switch {
	case m.wants(WrongSeat):
		m.add(WrongSeat, r, func(k *Planned) { k.Other = "Z040" })
	case m.wants(CallStart):
		m.add(CallStart, r, func(k *Planned) { k.Delay = delay(m.rng, 300*time.Millisecond, time.Second) })
	}
}

// copying: what happens between start and proof; the card's own troubles before the drives'.
func (m *maker) copying(r *Roll) {
	dest := m.p.Drives[m.rng.IntN(2)].Name
	on := func(k *Planned) { k.Dest = dest }
	switch {
	case m.d.Rolls > 1 && m.unformatted(r):
	case m.wants(Unreadable):
		m.add(Unreadable, r, nil)
	case m.broken():
		// One drive has failed for good: a second one would leave too few.
	case m.wants(BadCopy):
		m.add(BadCopy, r, on)
	case m.wants(DriveFull):
		m.add(DriveFull, r, on)
	case m.wants(DriveReadOnly):
		m.add(DriveReadOnly, r, on)
	}
	if !m.copyTrouble(r) && m.wants(DriveGone) {
		m.add(DriveGone, r, on)
	}
	if !m.copyTrouble(r) && m.wants(PowerCut) {
		m.add(PowerCut, r, nil)
	}
}

// broken: a drive of the plan does not come back by itself.
func (m *maker) broken() bool {
	return m.p.Has(DriveFull) || m.p.Has(DriveReadOnly) || m.p.Has(BadCopy)
}

func (m *maker) copyTrouble(r *Roll) bool {
	return slices.ContainsFunc(m.p.Incidents, func(i Planned) bool {
		return i.Roll == r.Label && slices.Contains([]Kind{Unreadable, BadCopy, DriveFull, DriveReadOnly, DriveGone, PowerCut, Unformatted}, i.Kind)
	})
}

// after: what happens from the desk to the return.
func (m *maker) after(r *Roll) {
	switch {
	case m.wants(NoFolder):
		m.add(NoFolder, r, func(k *Planned) { k.Dest = m.p.Drives[m.rng.IntN(2)].Name })
	case m.wants(CallDesk):
		m.add(CallDesk, r, func(k *Planned) { k.Delay = delay(m.rng, 500*time.Millisecond, 2*time.Second) })
	case m.wants(Wanted):
		m.add(Wanted, r, func(k *Planned) { k.Delay = delay(m.rng, time.Second, 3*time.Second) })
	}
	if !r.Erase {
		return
	}
	switch {
	case m.wants(WrongErase):
		m.add(WrongErase, r, func(k *Planned) { k.Other = "Z040" })
	case m.wants(NewTake):
		m.newTake(r)
	case m.wants(CallErase):
		m.add(CallErase, r, func(k *Planned) { k.Delay = delay(m.rng, 300*time.Millisecond, 900*time.Millisecond) })
	}
}

// newTake lets one more take be shot on a card after its offload. What the camera department says of it: it belongs to
// the same roll; or, with the last roll, it is a roll of its own. Then the number after it is free, and leaves no gap.
func (m *maker) newTake(r *Roll) {
	base := len(m.p.Rolls) - 1
	next := procedure.MakeLabel(r.Label.Camera(), r.Label.Number()+1)
	own := m.p.Rolls[base].Label == r.Label && !slices.ContainsFunc(m.p.Rolls, func(o Roll) bool {
		return o.Label.Camera() == r.Label.Camera() && o.Label.Number() > r.Label.Number()
	})
	m.add(NewTake, r, func(k *Planned) {
		if own = own && k.Variant == 1; own {
			k.Other, k.Reply = next, fmt.Sprintf("%s: \"Yes, we shot one more. That is a roll of its own: %s. Tape and card say so now.\"", r.From, next)
		}
	})
	if own {
		m.p.Rolls = append(m.p.Rolls, Roll{
			Label: next, Card: r.Card, From: r.From, Cue: CueAsked, After: base, OnTape: string(next), OnCard: string(next),
			Shape: r.Shape, Size: r.Size, Erase: r.Erase,
		})
	}
}

func delay(rng *rand.Rand, least, most time.Duration) time.Duration {
	return least + time.Duration(rng.Int64N(int64(most-least)))
}
