package school

import (
	"math"
	"math/rand/v2"

	"twobin/procedure"
	"twobin/training/drill"
)

// Profile is how somebody learns. All of it is invented.
type Profile struct {
	Name string
	// First is how many times as long as the teacher the first run takes, Rate what is left of a time when the number of
	// runs doubles, Noise the spread of single times (of their logarithm).
	First, Rate, Noise float64
	// Careless is the chance of an error at a step, at the beginning; it falls with practice. Order: of things tried out
	// of their order.
	Careless, Order float64
	// Weak are incidents that go wrong more often than they should.
	Weak []drill.Kind
	// Slow is a step that takes twice as long as it should; none for nobody.
	Slow procedure.Step
	// From is the week, from 1, in which they begin.
	From int
	// Tired: from the sixth week on times go up again.
	Tired bool
}

// Teacher is the name of who teaches: the reference.
const Teacher = "Morgan"

// Profiles are the teacher and the six trainees.
func Profiles() []Profile {
	return []Profile{
		{Name: Teacher, First: 1.1, Rate: 0.99, Noise: 0.16, Careless: 0.004, From: 1},
		{Name: "Ada", First: 3.4, Rate: 0.80, Noise: 0.18, Careless: 0.05, Order: 0.02, From: 1},
		{Name: "Bela", First: 2.2, Rate: 0.90, Noise: 0.20, Careless: 0.09, Order: 0.14, From: 1, Weak: []drill.Kind{drill.LabelDiffers, drill.Together}},
		{Name: "Chidi", First: 3.0, Rate: 0.86, Noise: 0.22, Careless: 0.06, Order: 0.03, From: 1, Weak: []drill.Kind{drill.CallStart, drill.CallDesk, drill.Wanted}},
		{Name: "Dara", First: 3.1, Rate: 0.84, Noise: 0.17, Careless: 0.04, Order: 0.02, From: 1, Slow: procedure.StepLook},
		{Name: "Emre", First: 2.6, Rate: 0.87, Noise: 0.25, Careless: 0.06, Order: 0.04, From: 1, Tired: true, Weak: []drill.Kind{drill.BadCopy}},
		{Name: "Fenna", First: 3.2, Rate: 0.82, Noise: 0.20, Careless: 0.07, Order: 0.05, From: 6},
	}
}

// base is the teacher's usual time by step, in milliseconds.
var base = [...]float64{
	procedure.StepReceive: 7000, procedure.StepPick: 10_000, procedure.StepSeat: 3800, procedure.StepStart: 1900, procedure.StepLog: 16_000,
	procedure.StepCount: 21_000, procedure.StepPull: 8000, procedure.StepLook: 22_000, procedure.StepMark: 6500, procedure.StepBin: 5200,
	procedure.StepReseat: 7000, procedure.StepErase: 8500, procedure.StepReturn: 6000,
}

// person is somebody under way through the eight weeks.
type person struct {
	Profile
	rng    *rand.Rand
	runs   int // completed
	week   int
	passed map[string]bool
	met    map[drill.Kind]int
}

// took draws the time of one answer, in milliseconds; share is which part of its step it is.
func (p *person) took(s procedure.Step, share float64) int64 {
	f := p.First * math.Pow(float64(p.runs+1), math.Log2(p.Rate))
	f = max(f, 0.97)
	if s == p.Slow && s != procedure.StepNone {
		f *= 2
	}
	if p.Tired && p.week >= 6 {
		f *= 1.35
	}
	if p.rng.IntN(150) == 0 { // something held them up; a step in hundred and fifty
		f *= 4 + 3*p.rng.Float64()
	}
	return max(1, int64(base[s]*share*f*math.Exp(p.Noise*p.rng.NormFloat64())))
}

// slips says whether an error happens; errors get rarer as times get shorter.
func (p *person) slips(chance float64) bool {
	return p.rng.Float64() < chance*math.Pow(float64(p.runs+1), -0.35)
}

// verdict draws what becomes of an incident.
func (p *person) verdict(k drill.Kind) drill.Verdict {
	good := 0.62 + 0.13*float64(p.met[k])
	for _, w := range p.Weak {
		if w == k {
			good = 0.25 + 0.08*float64(p.met[k])
		}
	}
	p.met[k]++
	if p.Name == Teacher {
		good = 0.98
	}
	spec, _ := drill.SpecOf(k)
	switch x := p.rng.Float64(); {
	case x < good:
		return drill.Right
	case x < good+0.6*(1-good) && spec.Late != "does not apply":
		return drill.Late
	case x < good+0.9*(1-good):
		return drill.Wrong
	}
	return drill.Missed
}
