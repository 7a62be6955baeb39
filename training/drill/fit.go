package drill

import (
	"fmt"

	"twobin/training/dummy"
)

// driveSize is the least capacity of a simulated drive in bytes: room for every drill with small cards.
const driveSize = 512e6

// cardSize is the least size of a simulated card in bytes.
const cardSize = 64e9

// smallMost is more bytes than the fullest small card has.
const smallMost = float64(dummy.Small/2 + dummy.Small)

// Fit gives a plan, as [NewPlan] made it, cards of another size and as many drives as the policy asks for. size is the
// bytes of the fullest card a plan can have, the others have their share of it; 0 leaves them small. destinations is how
// many drives a shift begins with. Everything else stays as it is, so that equal seeds give equal drills at any size.
func (p *Plan) Fit(size int64, destinations int) {
	for n := p.inUse(); n < destinations; n++ {
		p.Drives = append(p.Drives, Drive{Name: fmt.Sprintf("DRIVE%d", n+1), Capacity: driveSize})
	}
	if size <= 0 {
		return
	}
	share := func(small int64) int64 { return max(1, int64(float64(size)*float64(small)/smallMost)) }
	for i := range p.Rolls {
		p.Rolls[i].Size = share(p.Rolls[i].Size)
	}
	p.Take, p.Stranger = share(p.Take), share(p.Stranger)
	all := p.bytes()
	for i := range p.Drives {
		if s := &p.Drives[i].Speed; *s > 0 {
			*s = share(*s)
		}
		p.Drives[i].Capacity = grown(driveSize, 2*all+8*size) //nolint:mnd // every roll twice; a drive is full only by an incident
	}
	p.CardSize = grown(cardSize, 2*size)
}

// grown doubles least until it is enough.
func grown(least, enough int64) int64 {
	for least < enough {
		least *= 2
	}
	return least
}

// inUse is how many drives the shift begins with.
func (p *Plan) inUse() int {
	n := 0
	for _, d := range p.Drives {
		if !d.Spare {
			n++
		}
	}
	return n
}

// bytes is what all rolls of the plan have, with all takes that may be added to them.
func (p *Plan) bytes() int64 {
	var n int64
	for _, r := range p.Rolls {
		n += r.Size + p.Take
	}
	return n
}

// Fullest is the bytes of the fullest card of the plan, with what is added to it.
func (p *Plan) Fullest() int64 {
	most := p.Stranger
	on := map[int]int64{}
	for _, r := range p.Rolls {
		on[r.Card] += r.Size + p.Take
		most = max(most, on[r.Card])
	}
	return most
}

// Room is how many bytes a run of the plan can take up on disk: every card, every copy on every drive, and a little for
// everything else. Own choice of the little.
func (p *Plan) Room() int64 {
	const little = 16e6
	n := (p.bytes() + p.Stranger) * int64(1+len(p.Drives))
	return n + n/16 + little
}
