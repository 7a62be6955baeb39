package drill

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"time"

	"twobin/procedure"
	"twobin/training/dummy"
)

// Made-up names: people, productions and tape colours. None of the colours is a bin's.
var (
	people      = []string{"Robin", "Kim", "Alex", "Sasha", "Noa", "Toni", "Uli", "Jo"}
	productions = []string{"Harbour Lights", "The Long Field", "Paper Boats", "Night Ferry"}
	colours     = []string{"blue", "yellow", "orange", "purple", "white", "pink", "brown", "grey", "black", "turquoise", "gold", "silver"}
)

// quietOneIn: in one run of so many nothing happens at all, whatever the drill is about; on the long day something
// always does. A drill in which something happens every time teaches to wait for it. Own choice.
const quietOneIn = 8

// NewPlan decides everything about one run of a drill. Equal drills and seeds give equal plans.
func NewPlan(d Drill, seed int64) *Plan {
	rng := rand.New(rand.NewPCG(uint64(seed), nameSeed(d.Name)))
	p := &Plan{
		Drill: d.Name, Seed: seed, Production: productions[rng.IntN(len(productions))], Day: 1 + rng.IntN(40),
		Drives: []Drive{{Name: "SHUTTLE", Capacity: driveSize}, {Name: "RAID", Capacity: driveSize}},
		Take:   dummy.Small / 8, Stranger: dummy.Small, CardSize: cardSize,
	}
	if d.Spare {
		p.Drives = append(p.Drives, Drive{Name: "SPARE", Capacity: driveSize, Spare: true})
	}
	cols := slices.Clone(colours)
	rng.Shuffle(len(cols), func(i, j int) { cols[i], cols[j] = cols[j], cols[i] })
	for c := range d.Cameras {
		p.Cameras = append(p.Cameras, procedure.CameraInfo{Camera: procedure.Camera(rune('A' + c)), Colour: cols[c]})
	}
	m := maker{d: d, p: p, rng: rng, next: map[procedure.Camera]int{}, left: map[Kind]int{}}
	for _, c := range p.Cameras {
		m.next[c.Camera] = 1
	}
	if d.Name == LongDay || rng.IntN(quietOneIn) > 0 {
		for _, s := range d.Slots {
			m.left[s.Kind] = s.Most
		}
	}
	m.rolls()
	m.incidents()
	if d.Slow {
		p.slow()
	}
	p.Brief = slices.Clone(d.Brief)
	for _, c := range p.Cameras {
		p.Brief = append(p.Brief, fmt.Sprintf("Camera %s has %s tape.", c.Camera, c.Colour))
	}
	return p
}

// nameSeed keeps drills of one seed apart.
func nameSeed(name string) uint64 {
	var n uint64 = 1469598103934665603
	for _, c := range []byte(name) {
		n = (n ^ uint64(c)) * 1099511628211
	}
	return n
}

type maker struct {
	d    Drill
	p    *Plan
	rng  *rand.Rand
	next map[procedure.Camera]int
	left map[Kind]int
}

// wants decides whether a slot's incident happens here, as far as it may still happen.
func (m *maker) wants(k Kind) bool {
	for _, s := range m.d.Slots {
		if s.Kind == k && m.left[k] > 0 && m.rng.Float64() < s.Chance {
			m.left[k]--
			return true
		}
	}
	return false
}

// rolls lays out who brings what and when.
func (m *maker) rolls() {
	for i := range m.d.Rolls {
		cam := m.p.Cameras[m.rng.IntN(len(m.p.Cameras))].Camera
		r := Roll{
			Label: procedure.MakeLabel(cam, m.next[cam]), Card: m.p.Cards, From: people[m.rng.IntN(len(people))], Cue: m.cue(i), After: i - 1,
			Shape: dummy.Shapes()[m.rng.IntN(len(dummy.Shapes()))], Size: dummy.Small/2 + m.rng.Int64N(dummy.Small), Erase: m.d.Erase || m.d.SomeErase && m.rng.IntN(eraseOneIn) == 0,
		}
		r.OnTape, r.OnCard = string(r.Label), string(r.Label)
		m.next[cam]++
		m.p.Cards++
		m.p.Rolls = append(m.p.Rolls, r)
	}
}

// eraseOneIn: where some cards are erased at the cart, it is one of so many. Own choice.
const eraseOneIn = 4

// slow makes one drive slow in some runs: a copy that takes longer than the one before is nothing to worry about. It
// has its own randomness, so that everything else of the run is as it would be.
func (p *Plan) slow() {
	const oneIn, seconds = 3, 16
	rng := rand.New(rand.NewPCG(uint64(p.Seed), nameSeed(p.Drill)+1))
	if rng.IntN(oneIn) == 0 {
		p.Drives[rng.IntN(2)].Speed = dummy.Small / seconds
	}
}

// cue says when roll i comes. Rolls come while the one before copies only where waiting rolls are part of the drill.
func (m *maker) cue(i int) Cue {
	switch {
	case i == 0:
		return CueStart
	case m.d.Pairs && m.rng.IntN(3) == 0:
		return CueLogging
	}
	return CueBinned
}

// incidents goes through the rolls and lets things happen to them: at most one thing for every part of the way, and
// nothing that would hide another.
func (m *maker) incidents() {
	for i := range m.p.Rolls {
		m.arrival(i)
	}
	m.reused()
	busy := map[procedure.Label]bool{}
	for _, k := range m.p.Incidents {
		busy[k.Roll] = k.Kind == LabelDiffers
	}
	for _, i := range m.rng.Perm(len(m.p.Rolls)) {
		r := &m.p.Rolls[i]
		if busy[r.Label] {
			continue
		}
		m.seating(r)
		m.copying(r)
		m.after(r)
	}
	slices.SortStableFunc(m.p.Incidents, func(a, b Planned) int { return m.place(a) - m.place(b) })
	for n := range m.p.Incidents {
		m.p.Incidents[n].ID = fmt.Sprintf("i%d", n+1)
	}
}

// place orders incidents by roll, then by the way.
func (m *maker) place(i Planned) int {
	for n, r := range m.p.Rolls {
		if r.Label == i.Roll {
			return n*100 + slices.Index(Kinds(), i.Kind)
		}
	}
	return 0
}

func (m *maker) add(k Kind, r *Roll, f func(*Planned)) {
	i := Planned{Kind: k, Roll: r.Label, Variant: m.rng.IntN(2)}
	words(&i, r, m.rng)
	if f != nil {
		f(&i)
	}
	m.p.Incidents = append(m.p.Incidents, i)
}

// arrival: what can be wrong with a card when it comes. At most one of these a roll.
func (m *maker) arrival(i int) {
	r := &m.p.Rolls[i]
	switch {
	case i > 0 && m.rng.IntN(max(1, min(2, m.d.Rolls-i))) == 0 && m.wants(Together):
		prev := &m.p.Rolls[i-1]
		r.Cue, r.After, r.From = CueTogether, i-1, prev.From
		m.add(Together, r, func(k *Planned) { k.Other = prev.Label })
	case i > 0 && m.late(i) && m.wants(Skip):
		m.skip(i)
	case m.wants(Lacks):
		m.add(Lacks, r, func(k *Planned) {
			if k.Variant == 0 {
				r.OnTape = ""
			} else {
				r.NoCase = true
			}
		})
	case m.late(i) && m.wants(LabelDiffers):
		r.OnCard = string(procedure.MakeLabel(r.Label.Camera(), r.Label.Number()+10))
		m.add(LabelDiffers, r, func(k *Planned) { k.Other = procedure.Label(r.OnCard) })
	}
}

// late spreads what happens once over the rolls: the last ones have to take it.
func (m *maker) late(i int) bool { return m.rng.IntN(2) == 0 || i == len(m.p.Rolls)-1 }

// skip lets a roll overtake the one before it of the same camera, which then comes last.
func (m *maker) skip(i int) {
	r := &m.p.Rolls[i]
	cam := r.Label.Camera()
	// A number between an earlier one of this camera and this one: without an earlier one nobody can miss it.
	first := -1
	for n := range i {
		if m.p.Rolls[n].Label.Camera() == cam {
			first = n
		}
	}
	if first < 0 {
		m.left[Skip]++
		return
	}
	missing := r.Label
	for n := i; n < len(m.p.Rolls); n++ {
		if q := &m.p.Rolls[n]; q.Label.Camera() == cam && q.Label.Number() >= missing.Number() {
			l := procedure.MakeLabel(cam, q.Label.Number()+1)
			q.Label, q.OnTape, q.OnCard = l, string(l), string(l)
		}
	}
	m.add(Skip, r, func(k *Planned) { k.Other = missing })
	m.p.Rolls = append(m.p.Rolls, Roll{
		Label: missing, Card: m.p.Cards, From: r.From, Cue: CueBinned, After: i, Shape: dummy.Clips, Size: dummy.Small,
		OnTape: string(missing), OnCard: string(missing), Erase: m.d.Erase,
	})
	m.p.Cards++
}

// reused: one more card comes, with a label that is taken.
func (m *maker) reused() {
	if m.d.Rolls < 2 || !m.wants(Reused) {
		return
	}
	after := m.rng.IntN(len(m.p.Rolls))
	old := m.p.Rolls[after].Label
	top := 0
	for _, r := range m.p.Rolls {
		if r.Label.Camera() == old.Camera() {
			top = max(top, r.Label.Number())
		}
	}
	l := procedure.MakeLabel(old.Camera(), top+1)
	r := Roll{
		Label: l, Card: m.p.Cards, From: m.p.Rolls[after].From, Cue: CueReturned, After: after, Shape: dummy.Clips, Size: dummy.Small,
		OnTape: string(old), OnCard: string(old), Erase: m.d.Erase,
	}
	// It comes last, so that its number leaves no gap while the others are still to come.
	r.After = len(m.p.Rolls) - 1
	m.p.Cards++
	m.p.Rolls = append(m.p.Rolls, r)
	m.add(Reused, &m.p.Rolls[len(m.p.Rolls)-1], func(k *Planned) { k.Other = old })
}

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

// unformatted makes the roll come on the card of an earlier roll, with the old clips still there.
func (m *maker) unformatted(r *Roll) bool {
	i := slices.IndexFunc(m.p.Rolls, func(o Roll) bool { return o.Label == r.Label })
	if i < 1 || r.Cue == CueTogether {
		return false
	}
	old := m.p.Rolls[i-1]
	shared := slices.ContainsFunc(m.p.Rolls, func(o Roll) bool { return o.Over && (o.Card == old.Card || o.After == i-1) })
	if old.Label.Camera() != r.Label.Camera() || old.Erase || shared || r.OnTape != string(r.Label) || !m.wants(Unformatted) {
		return false
	}
	r.Card, r.Over, r.Cue, r.After, r.Shape = old.Card, true, CueReturned, i-1, old.Shape
	m.add(Unformatted, r, func(k *Planned) { k.Other = old.Label })
	return true
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
