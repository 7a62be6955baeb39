package drill

import (
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"twobin/procedure"
)

// Equal drills and seeds give equal plans.
func TestPlanIsReproducible(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		d := rapid.SampledFrom(Drills()).Draw(t, "drill")
		seed := rapid.Int64Range(1, 1e6).Draw(t, "seed")
		if diff := cmp.Diff(NewPlan(d, seed), NewPlan(d, seed)); diff != "" {
			t.Fatalf("%s seed %d differs from itself:\n%s", d.Name, seed, diff)
		}
	})
}

// Every plan makes sense: labels are unique, cues lead back to the beginning, incidents have a roll and words.
func TestPlanMakesSense(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		d := rapid.SampledFrom(Drills()).Draw(t, "drill")
		sensible(t, NewPlan(d, rapid.Int64Range(1, 1e6).Draw(t, "seed")))
	})
	for seed := int64(1); seed <= 2000; seed++ { // the drill with the most that can meet
		sensible(t, NewPlan(mustFind(t, LongDay), seed))
	}
}

func sensible(t interface {
	Errorf(format string, args ...any)
	Fatalf(format string, args ...any)
}, p *Plan) {
	seen := map[procedure.Label]bool{}
	for i, r := range p.Rolls {
		if seen[r.Label] {
			t.Errorf("%s seed %d: %s comes twice", p.Drill, p.Seed, r.Label)
		}
		seen[r.Label] = true
		if r.Cue != CueStart && (r.After < 0 || r.After >= len(p.Rolls) || r.After == i) {
			t.Errorf("roll %d waits for roll %d", i, r.After)
		}
		if r.Card < 0 || r.Card >= p.Cards {
			t.Errorf("roll %d is on card %d of %d", i, r.Card, p.Cards)
		}
		for n, steps := i, 0; p.Rolls[n].Cue != CueStart; n, steps = p.Rolls[n].After, steps+1 {
			if steps > len(p.Rolls) {
				t.Fatalf("roll %d never comes", i)
			}
		}
	}
	ids := map[string]bool{}
	for _, i := range p.Incidents {
		if _, ok := p.Roll(i.Roll); !ok || ids[i.ID] || i.ID == "" {
			t.Errorf("incident %+v", i)
		}
		ids[i.ID] = true
		if i.Kind == Skip && (i.Reply == "" || len(i.Keys) == 0) {
			t.Errorf("nobody answers for %s", i.Other)
		}
	}
}

// Every incident in every drill can be reached with some seed; and with some seed nothing happens at all, so that
// nobody learns the rhythm. The chance of missing either in this many seeds is below one in a million for every slot.
func TestEveryIncidentIsReached(t *testing.T) {
	t.Parallel()
	const tries = 600
	for _, d := range Drills() {
		quiet := false
		left := map[Kind]bool{}
		for _, s := range d.Slots {
			left[s.Kind] = true
		}
		for seed := int64(1); seed <= tries; seed++ {
			p := NewPlan(d, seed)
			quiet = quiet || len(p.Incidents) == 0
			for _, i := range p.Incidents {
				delete(left, i.Kind)
			}
		}
		for k := range left {
			t.Errorf("%s: %s does not happen in %d seeds", d.Name, k, tries)
		}
		if !quiet && d.Name != LongDay {
			t.Errorf("%s: there is no seed without an incident", d.Name)
		}
	}
}

// Every kind of incident belongs to some drill, and the long day has room for twelve cameras and thirty rolls.
func TestDrillsCoverEverything(t *testing.T) {
	t.Parallel()
	in := map[Kind]bool{}
	for _, d := range Drills() {
		if _, ok := Find(d.Name); !ok {
			t.Errorf("%s is not found", d.Name)
		}
		for _, s := range d.Slots {
			in[s.Kind] = true
		}
	}
	for _, k := range Kinds() {
		if !in[k] {
			t.Errorf("%s is in no drill", k)
		}
	}
	p := NewPlan(mustFind(t, LongDay), 1)
	if len(p.Cameras) != 12 || len(p.Rolls) < 30 {
		t.Errorf("the long day has %d cameras and %d rolls, want 12 and 30", len(p.Cameras), len(p.Rolls))
	}
}

func mustFind(t *testing.T, name string) Drill {
	t.Helper()
	d, ok := Find(name)
	if !ok {
		t.Fatalf("no drill %s", name)
	}
	return d
}

// What waits for a card that is on hold is not missing, nor what waits for that.
func TestDueCards(t *testing.T) {
	t.Parallel()
	p := &Plan{Rolls: []Roll{
		{Label: "A001", Cue: CueStart}, {Label: "A002", Cue: CueReturned, After: 0, Over: true}, {Label: "A003", Cue: CueBinned, After: 1},
		{Label: "B001", Cue: CueBinned, After: 0}, {Label: "B002", Cue: CueReturned, After: 0},
	}}
	s := procedure.NewShift()
	if got := p.due(s, nil); got != 5 {
		t.Errorf("%d cards are due at first, want 5", got)
	}
	s.Rolls["A001"] = &procedure.Roll{Label: "A001"}
	if got := p.due(s, nil); got != 5 {
		t.Errorf("%d cards are due while A001 is under way, want 5", got)
	}
	s.Rolls["A001"].Held = &procedure.Hold{Reason: "x"}
	if got := p.due(s, nil); got != 3 {
		t.Errorf("%d cards are due with A001 on hold, want 3: A002 is the same card, and A003 comes after it", got)
	}
	s.Rolls["A002"] = &procedure.Roll{Label: "A002"}
	if got := p.due(s, nil); got != 5 {
		t.Errorf("%d cards are due after A002 came, want 5", got)
	}
	// A take that is a roll of its own is due when the camera department was asked, and when it is there.
	p.Rolls = append(p.Rolls, Roll{Label: "B003", Cue: CueAsked, After: 4})
	p.Incidents = []Planned{{ID: "i1", Kind: NewTake, Roll: "B002", Other: "B003"}}
	if got := p.due(s, nil); got != 5 {
		t.Errorf("%d cards are due before anybody asked, want 5", got)
	}
	if got := p.due(s, map[string]bool{"i1": true}); got != 6 {
		t.Errorf("%d cards are due after it was asked, want 6", got)
	}
	if l, ok := p.WentOn("B002", s); ok {
		t.Errorf("B002 went on as %s before that was taken in", l)
	}
	s.Rolls["B003"] = &procedure.Roll{Label: "B003"}
	if got := p.due(s, nil); got != 6 {
		t.Errorf("%d cards are due after it came, want 6", got)
	}
	if l, ok := p.WentOn("B002", s); !ok || l != "B003" {
		t.Errorf("B002 went on as %q, want B003", l)
	}
}
