package drill

import (
	"slices"

	"twobin/procedure"
	"twobin/training/dummy"
)

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
