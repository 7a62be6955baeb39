package practice

import (
	"os"
	"path/filepath"
	"testing"
	"testing/synctest"

	"twobin/guard/watch"
	"twobin/training/drill"
	"twobin/training/dummy"
)

// pocket is a folder that plays a real practice card: in the reader at one path, out of it at another.
type pocket struct {
	reader, out string
	in          bool
	moves       int
}

// newPocket prepares a practice card in the reader.
func newPocket(t testing.TB, dir string) *pocket {
	t.Helper()
	p := &pocket{reader: filepath.Join(dir, "READER"), out: filepath.Join(dir, "pocket"), in: true}
	if err := os.Mkdir(p.reader, 0o755); err != nil {
		t.Fatal(err)
	}
	if _, err := dummy.Prepare(t.Context(), p.reader, dummy.Roll{Label: "A001", Shape: dummy.Clips, Seed: 9}); err != nil {
		t.Fatal(err)
	}
	return p
}

// hands seat and pull the card as the drill asks.
func (p *pocket) hands(t *testing.T) func(bool) {
	return func(in bool) {
		if in == p.in {
			return
		}
		from, to := p.out, p.reader
		if !in {
			from, to = to, from
		}
		if err := os.Rename(from, to); err != nil {
			t.Error(err)
		}
		p.in = in
		p.moves++
	}
}

// withCard makes a drill use the card.
func (p *pocket) withCard(o Options) Options {
	o.Card, o.Ident = p.reader, &watch.Identifier{}
	return o
}

// Every drill can be worked with one real practice card, incidents and all, and afterwards the card can be used for the
// next one: its marker is there again after an erase, and it holds nothing but what the marker lists.
func TestEveryDrillOnAMarkedCard(t *testing.T) {
	t.Parallel()
	dir := scratch(t)
	card := newPocket(t, dir)
	met := map[drill.Kind]bool{}
	for _, d := range drill.Drills() {
		if d.Name == drill.LongDay {
			continue // has no incident that the others lack
		}
		all := int64(3)
		if testing.Short() {
			all = 1
		}
		for seed := int64(1); seed <= all; seed++ {
			synctest.Test(t, func(t *testing.T) {
				r, _ := playHands(t, card.withCard(setup(t, d.Name, seed)), Habits{}, card.hands(t))
				if r.Outcome != drill.Passed {
					t.Errorf("%s", tell(r))
				}
				for _, f := range r.Findings {
					met[f.Kind] = true
				}
				card.hands(t)(true)
				if err := dummy.Usable(card.reader); err != nil {
					t.Errorf("%s seed %d: the card cannot be used again: %v", d.Name, seed, err)
				}
			})
		}
	}
	if card.moves < 30 {
		t.Errorf("the card was seated and pulled %d times", card.moves)
	}
	for _, k := range []drill.Kind{drill.Unformatted, drill.NewTake, drill.WrongSeat} { // the card holds something else each time
		if !met[k] && !testing.Short() {
			t.Errorf("%s did not happen in these seeds", k)
		}
	}
}
