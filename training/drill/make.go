package drill

import (
	"fmt"
	"math/rand/v2"
	"slices"

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
