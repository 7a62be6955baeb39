package practice

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"twobin/procedure"
	"twobin/procedure/board"
	"twobin/training/drill"
)

// desk is where every card lies, from what the hands did: the answers that the program took. It knows nothing of the
// journal that the board is made of. Of rolls on hold it takes the program's word.
type desk struct {
	at    map[procedure.Label]string
	since map[procedure.Label]time.Time
	green map[procedure.Label]bool
}

const inHand, inReader, onDesk, inRed, inGreen, isBack = "in hand", "reader", "desk", "red bin", "green bin", "returned"

func (d *desk) put(l procedure.Label, where string) {
	if l == "" || d.at[l] == where {
		return
	}
	d.at[l], d.since[l] = where, time.Now()
	d.green[l] = d.green[l] || where == inGreen
}

// bin is the bin from which a roll was taken, to which put back takes it.
func (d *desk) bin(l procedure.Label) string {
	if d.green[l] {
		return inGreen
	}
	return inRed
}

// out is the one card that lies in no bin, empty for none.
func (d *desk) out() procedure.Label {
	for l, where := range d.at {
		if where == inHand || where == inReader || where == onDesk {
			return l
		}
	}
	return ""
}

// did moves the card of an accepted move. named is the roll of the step that is due after it,
// taken the roll that was taken in by it.
func (d *desk) did(m procedure.Intent, named, taken procedure.Label) {
	roll := d.out()
	switch i := m.(type) {
	case procedure.DoPutBack:
		d.put(roll, d.bin(roll))
	case procedure.Answer:
		switch i.ID {
		case "next", "held", "erase.which", "return.which": // the program names a card, the hand takes it out of its bin
			d.put(named, inHand)
		case "seat.tape", "reseat.in":
			d.put(roll, inReader)
		case "pull.desk":
			d.put(roll, onDesk)
		case "bin.green":
			d.put(roll, inGreen)
		case "return.to":
			d.put(roll, isBack)
		case "receive.bin", "receive.lacks":
			d.put(taken, inRed)
		}
	}
}

// newest is the roll that was taken in last.
func newest(s *procedure.Shift) procedure.Label {
	if len(s.Order) == 0 {
		return ""
	}
	return s.Order[len(s.Order)-1]
}

// Issue of the long day: the board stays true over a whole day with incidents and a power cut, and nothing lingers. At
// every move the place of every roll, and how long it has lain in its bin, are compared with what the hands did.
func TestBoardStaysTrue(t *testing.T) {
	t.Parallel()
	all := map[drill.Kind]bool{}
	for _, seed := range []int64{3, 17, 23, 26}[:min(4, seeds(drill.Drill{}, 4))] {
		synctest.Test(t, func(t *testing.T) {
			for _, i := range watched(t, setup(t, drill.LongDay, seed)) {
				all[i.Kind] = true
			}
		})
	}
	if len(all) < 10 {
		t.Errorf("only %d kinds of incident were met", len(all))
	}
}

// watched plays a drill and compares the board at every move. It gives the incidents of the drill.
func watched(t *testing.T, o Options) []drill.Planned {
	s, err := Start(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	p := NewPlayer(s, Habits{})
	d := &desk{at: map[procedure.Label]string{}, since: map[procedure.Label]time.Time{}, green: map[procedure.Label]bool{}}
	began, compared := time.Now(), 0
	for synctest.Wait(); !s.View().Ended && !t.Failed() && time.Since(began) < longest; synctest.Wait() {
		select {
		case <-s.Cut():
			s, p = again(t, o, s, Habits{})
			for l, where := range d.at { // the program says so: card out, tape back on, red bin
				if where == inReader || where == inHand {
					d.put(l, inRed)
				}
			}
			synctest.Wait()
		default:
		}
		if v := s.View(); v.Prompt == nil && !v.Away {
			time.Sleep(200 * time.Millisecond)
			continue
		}
		time.Sleep(think)
		synctest.Wait()
		m := p.Next(s.View())
		if m.Intent == nil {
			time.Sleep(max(m.Wait, 200*time.Millisecond))
			continue
		}
		before := len(s.Shift().Order)
		var no *procedure.Refusal
		err := s.Do(t.Context(), m.Intent)
		if err != nil && !errors.As(err, &no) {
			t.Fatalf("%+v: %v", m.Intent, err)
		}
		taken := procedure.Label("")
		if len(s.Shift().Order) > before {
			taken = newest(s.Shift())
		}
		if err == nil {
			after := s.View()
			named := after.Step.Roll
			if q := after.Prompt; q != nil && strings.HasSuffix(q.ID, ".which") { // several can be meant
				named = ""
			}
			d.did(m.Intent, named, taken)
		}
		synctest.Wait()
		for _, l := range s.View().Strip.Held {
			d.put(l, inRed)
		}
		compared += d.compare(t, s)
	}
	if compared < 1000 {
		t.Errorf("seed %d: only %d places were compared", o.Seed, compared)
	}
	b := board.Of(s.Shift(), time.Now())
	if !b.Closed || b.Totals.Missing > 0 || b.Totals.Returned+b.Totals.Hold != b.Totals.Rolls || len(b.Lingers) > b.Totals.Hold {
		t.Errorf("seed %d: at the end of the day the board says %+v, lingering %+v", o.Seed, b.Totals, b.Lingers)
	}
	if r, err := s.End(); err != nil || r.Outcome != drill.Passed {
		t.Errorf("%v\n%s", err, tell(r))
	}
	return s.Plan().Incidents
}

// compare holds the board against the desk; it gives how many places were compared.
func (d *desk) compare(t *testing.T, s *Session) int {
	t.Helper()
	now := time.Now()
	b := board.Of(s.Shift(), now)
	n := 0
	for _, c := range b.Cameras {
		for _, r := range c.Rolls {
			l := procedure.Label(r.Label)
			n++
			moving := d.at[l] == inReader && r.Place == inHand && s.world.Empty() // the hands are on the way
			if d.at[l] != r.Place && !moving {
				t.Errorf("seed %d: %s lies in: %s; the board says: %s (next %s)", s.o.Seed, l, d.at[l], r.Place, r.Next)
			}
			lain := now.Sub(d.since[l])
			if off := lain - time.Duration(r.ForMS)*time.Millisecond; (r.Place == inRed || r.Place == inGreen) && off.Abs() > think+time.Second { // what the program does by itself is seen at the next move
				t.Errorf("seed %d: %s lies in the %s for %s; the board says %d ms", s.o.Seed, l, r.Place, lain, r.ForMS)
			}
		}
	}
	if n != len(d.at) {
		t.Errorf("seed %d: the board shows %d rolls, the hands took in %d", s.o.Seed, n, len(d.at))
	}
	for _, k := range b.Lingers {
		if k.Hold == "" && !slices.Contains([]string{inRed, inGreen}, k.Place) {
			t.Errorf("seed %d: %s lingers: %+v", s.o.Seed, k.Label, k)
		}
	}
	return n
}
