package procedure

import (
	"math/rand/v2"
	"os"
	"runtime"
	"slices"
	"strconv"
	"sync"
	"testing"
	"time"

	"twobin/guard"
)

// walker plays one random sequence after the other against the fold. It asks [Shift.Apply] in its strict form, on the one
// state it has, since a refused event leaves the state as it was (which it checks now and then).
type walker struct {
	tb     testing.TB
	rng    *rand.Rand
	moves  []move
	ways   map[Label][]Event
	from   map[Label]map[Step]int // where each step begins on the way
	starts []*node

	moved, accepted, refused, erases int64
}

// lockLooks are looks at the lock with each condition false alone, said to be open and said to be closed.
func lockLooks() []Event {
	var looks []Event
	for closed := range 9 {
		for _, open := range []bool{true, false} {
			l := LockLooked{Open: open}
			for i := range 8 {
				l.Conditions = append(l.Conditions, guard.Condition{ID: "L" + strconv.Itoa(i+1), Holds: i != closed})
			}
			looks = append(looks, l)
		}
	}
	return looks
}

// aroundLimits are waits around the limits of time of testPolicy.
var aroundLimits = []time.Duration{28 * time.Second, 29 * time.Second, 30 * time.Second, 57 * time.Second, 58 * time.Second, 59 * time.Second, 60 * time.Second}

var walked = []Label{"A001", "B001"}

// newWalker prepares the starts: two rolls in the red bin, and from there every point of one roll's way.
func newWalker(tb testing.TB, seed uint64) *walker {
	tb.Helper()
	w := &walker{tb: tb, rng: rand.New(rand.NewPCG(seed, 11)), moves: slices.Concat(alphabet(walked, []int{1, 2}), besides(walked, []int{1, 2})), ways: map[Label][]Event{}, from: map[Label]map[Step]int{}}
	for _, l := range walked {
		for _, lane := range []int{1, 2} {
			for _, ev := range lockLooks() {
				w.moves = append(w.moves, move{lane: lane, roll: l, ev: ev})
			}
		}
		w.ways[l], w.from[l] = wayOf(l), map[Step]int{}
	}
	n := &node{tape: newTape(), ws: map[Label]*watcher{}}
	n.tape.setUp(tb)
	for _, l := range walked {
		n.ws[l] = &watcher{Looked: map[string]string{}}
	}
	n.play(tb, move{lane: 1, roll: "A001", ev: RollReceived{From: "Robin"}})
	n.play(tb, move{lane: 1, roll: "B001", ev: RollReceived{From: "Robin"}})
	for i, ev := range w.ways["A001"][1:] {
		w.starts = append(w.starts, n.clone())
		for _, l := range walked {
			if step := n.tape.s.Roll("A001").Step; w.from[l][step] == 0 {
				w.from[l][step] = i + 1
			}
		}
		if !n.play(tb, move{lane: 1, roll: "A001", ev: ev}) {
			tb.Fatalf("%s refused", ev.Name())
		}
	}
	for _, s := range w.starts {
		s.tape.s.strict = true
	}
	return w
}

// sequence plays random moves from a random start: most of the time what is due, so that deep states are met.
func (w *walker) sequence() {
	n := w.starts[w.rng.IntN(len(w.starts))].clone()
	for range 1 + w.rng.IntN(30) {
		m := w.moves[w.rng.IntN(len(w.moves))]
		if m.roll == "" || w.rng.IntN(4) == 0 {
			w.try(n, m)
			continue
		}
		r := n.tape.s.Rolls[m.roll]
		way, at := w.ways[m.roll], w.from[m.roll][r.Step]
		for range 5 {
			if at == 0 || at >= len(way) {
				break
			}
			helpful := move{lane: m.lane, roll: m.roll, ev: way[at]}
			if w.rng.IntN(16) == 0 {
				helpful.wait = aroundLimits[w.rng.IntN(len(aroundLimits))]
			}
			if w.try(n, helpful) {
				break
			}
			at++
		}
	}
}

// try plays one move as [node.play] does, without a copy of the state.
func (w *walker) try(n *node, m move) bool {
	t := n.tape
	t.lane = m.lane
	t.now += m.wait + time.Second
	if _, ok := m.ev.(RunBegan); ok {
		t.run, t.now = t.run+1, 0
	}
	w.moved++
	operator, e := t.s.Operator, t.entry(m.roll, m.ev)
	before := ""
	if w.moved%4096 == 0 {
		before = n.key(w.tb)
	}
	if t.s.Apply(e) != nil {
		if w.refused++; before != "" && before != n.key(w.tb) {
			w.tb.Errorf("%s was refused and changed the state:\n%s\n%s", m.ev.Name(), before, n.key(w.tb))
		}
		return false
	}
	w.accepted++
	if _, ok := m.ev.(EraseBegan); ok {
		w.erase(n, e, operator)
	}
	for l, c := range n.ws {
		c.see(e, l == m.roll, t.s.Operator)
	}
	return true
}

// erase holds an erase that was just accepted against the watcher, and against what the lock would be told.
func (w *walker) erase(n *node, e Entry, operator string) {
	w.erases++
	if why := n.ws[e.Roll].mayErase(e, operator); why != "" {
		w.tb.Errorf("erase of %s was accepted although %s", e.Roll, why)
	}
	facts := n.tape.s.Facts(e.Roll, true, "")
	if n.ws[e.Roll].Spare != (len(n.tape.s.Roll(e.Roll).Copies) == 3) {
		w.tb.Errorf("erase of %s: a further copy %v, but copies %+v", e.Roll, n.ws[e.Roll].Spare, n.tape.s.Roll(e.Roll).Copies)
	}
	if !facts.Looked || !facts.Marked || !facts.Binned || facts.LookedBy != operator || len(facts.Holds) > 0 || facts.ProofSHA == "" {
		w.tb.Errorf("erase of %s was accepted with %+v", e.Roll, facts)
	}
}

// Random sequences of events, right and wrong, of two rolls in two lanes: no path to an erase that a second account of
// what happened does not allow. TWOBIN_SEQUENCES sets how many (default 40,000, 8,000 in short mode; 10,000,000 take about five minutes of two cores).
func TestInvariant5RandomSequences(t *testing.T) {
	t.Parallel()
	total := int64(40_000)
	if testing.Short() {
		total = 8_000
	}
	if n, err := strconv.ParseInt(os.Getenv("TWOBIN_SEQUENCES"), 10, 64); err == nil {
		total = n
	}
	workers := make([]*walker, runtime.GOMAXPROCS(0))
	var wg sync.WaitGroup
	for i := range workers {
		w := newWalker(t, uint64(i))
		workers[i] = w
		wg.Go(func() {
			for n := int64(i); n < total && !t.Failed(); n += int64(len(workers)) {
				w.sequence()
			}
		})
	}
	wg.Wait()
	var all walker
	for _, w := range workers {
		all.moved, all.accepted, all.erases = all.moved+w.moved, all.accepted+w.accepted, all.erases+w.erases
	}
	if all.erases == 0 {
		t.Error("no sequence reached an erase: this test shows nothing")
	}
	t.Logf("figure: random sequences = %d", total)
	t.Logf("%d events tried, %d accepted, %d of them erases", all.moved, all.accepted, all.erases)
}
