package procedure

import (
	"errors"
	"fmt"
	"testing"
	"time"

	"twobin/guard"
)

// tape is a shift in the making: it stamps entries like the journal does, one second apart, and keeps them.
type tape struct {
	s    *Shift
	all  []Entry
	now  time.Duration
	run  int
	lane int
	who  string
}

var wall = time.Date(2031, 5, 6, 9, 0, 0, 0, time.FixedZone("", 7200))

func newTape() *tape { return &tape{s: NewShift(), run: 1, lane: 1, who: "Kim"} }

func (t *tape) entry(l Label, ev Event) Entry {
	return Entry{At: Moment{Wall: wall.Add(t.now), Run: t.run, Mono: t.now}, Station: "cart", Lane: t.lane, Operator: t.who, Roll: l, Event: ev}
}

// try asks May and, if it agrees, applies. A strict state asks the same by itself, without a copy.
func (t *tape) try(l Label, ev Event) error {
	t.now += time.Second
	e := t.entry(l, ev)
	if t.s.strict {
		return t.s.Apply(e)
	}
	if err := t.s.May(e); err != nil {
		return err
	}
	t.all = append(t.all, e)
	return t.s.Apply(e)
}

func (t *tape) must(tb testing.TB, l Label, evs ...Event) {
	tb.Helper()
	for _, ev := range evs {
		if err := t.try(l, ev); err != nil {
			tb.Fatalf("%s %s refused: %v", l, ev.Name(), err)
		}
	}
}

func (t *tape) refused(tb testing.TB, l Label, ev Event) *Refusal {
	tb.Helper()
	err := t.try(l, ev)
	var r *Refusal
	if !errors.As(err, &r) {
		tb.Fatalf("%s %s = %v, want a refusal", l, ev.Name(), err)
	}
	return r
}

var testPolicy = PolicyNote{Destinations: 2, Recheck: "sample", StartMS: 30_000, DeskMS: 180_000, EraseMS: 60_000}

// setUp brings a shift to its first roll: cameras A and B, two destinations.
func (t *tape) setUp(tb testing.TB) {
	tb.Helper()
	t.must(tb, "", RunBegan{}, ShiftOpened{Production: "Harbour Lights", Day: 3, Date: "2031-05-06", Station: "cart", Operator: "Kim", Policy: testPolicy},
		CameraSet{Camera: "A", Colour: "blue"}, CameraSet{Camera: "B", Colour: "yellow"}, MarkingAgreed{Text: "red tape over the case"},
		KitChecked{}, BinsPlaced{},
		DestinationSet{Destination: Destination{Name: "RAID", Path: "/r", Volume: guard.Volume{Mount: "/r", Disk: "d1"}}},
		DestinationSet{Destination: Destination{Name: "SHUTTLE", Path: "/s", Volume: guard.Volume{Mount: "/s", Disk: "d2"}}},
		SetUpDone{})
}

// Events of a roll's way without trouble, up to the step named.
func (t *tape) upTo(tb testing.TB, l Label, step Step) {
	tb.Helper()
	for _, ev := range wayOf(l) {
		if r := t.s.Roll(l); r != nil && r.Step == step {
			return
		}
		t.must(tb, l, ev)
	}
}

func provenNotes() []CopyNote {
	return []CopyNote{{Name: "RAID", Proven: true}, {Name: "SHUTTLE", Proven: true}}
}

func openLock() LockLooked {
	ev := LockLooked{Open: true}
	for n := 1; n <= 8; n++ {
		ev.Conditions = append(ev.Conditions, guard.Condition{ID: fmt.Sprintf("L%d", n), Holds: true})
	}
	return ev
}

func wayOf(l Label) []Event {
	card := guard.Volume{Mount: "/card", ID: "uuid:" + string(l)}
	return []Event{
		RollReceived{From: "Robin"}, RollPicked{Pass: 1}, LabelRead{Where: "card", Read: string(l), Right: true},
		LabelRead{Where: "tape", Read: string(l), Right: true}, TapeMoved{}, CardSeated{Volume: card}, CardScanned{Files: 3, Bytes: 30},
		CopyBegan{To: []string{"RAID", "SHUTTLE"}}, RollLogged{}, CountShown{Files: 3, Bytes: 30},
		CountRead{What: "files", Read: "3", Right: true}, CountRead{What: "size", Read: "30", Right: true},
		CopyProven{Proof: "ab", Files: 3, Bytes: 30, Copies: provenNotes()}, CardGone{Volume: card}, CardPulled{},
		DestLooked{Dest: "RAID", Right: true}, DestLooked{Dest: "SHUTTLE", Right: true}, RollMarked{}, RollBinned{},
		RollTaken{For: "erase"}, CardSeated{Volume: card}, RollReseated{}, openLock(), EraseBegan{}, EraseDone{Files: 3, Bytes: 30},
		CardGone{Volume: card}, RollReturned{To: "Robin"},
	}
}

// Invariant 1: a step is done only in its place. Every event of the way is refused at every other point of it, but for
// the readings that may be repeated and what the world does.
func TestInvariant1StepsOnlyInTheirPlace(t *testing.T) {
	t.Parallel()
	way := wayOf("A001")
	// A second look at the lock is allowed while the erase has not begun; the volume may go at any time after it came.
	free := map[string]bool{CardGone{}.Name(): true, LockLooked{}.Name(): true, CardSeated{}.Name(): true}
	for at := range way {
		for other, ev := range way {
			if other == at || free[ev.Name()] || ev.Name() == way[at].Name() {
				continue
			}
			tp := newTape()
			tp.setUp(t)
			tp.must(t, "A001", way[:at]...)
			err := tp.try("A001", ev)
			if err == nil && !allowedBeside(way[at], ev) {
				t.Errorf("before %s: %s was accepted", way[at].Name(), ev.Name())
			}
		}
	}
}

// allowedBeside names the pairs whose order is free: log and count go on beside the copy, tape and card come in either
// order, destinations are looked at in any order, a tape read wrongly is read again.
func allowedBeside(due, ev Event) bool {
	pairs := map[string][]string{
		"copy.proven": {"card.gone"}, "roll.logged": {"copy.proven"}, "count.shown": {"copy.proven"}, "count.read": {"copy.proven", "count.shown"},
		"tape.moved": {"card.seated"}, "card.seated": {"tape.moved"}, "card.gone": {}, "dest.looked": {"dest.looked"},
		"erase.began": {"lock.looked"}, "label.read": {"label.read"}, "card.scanned": {},
	}
	for _, p := range pairs[due.Name()] {
		if p == ev.Name() {
			return true
		}
	}
	return false
}

func TestWholeWay(t *testing.T) {
	t.Parallel()
	tp := newTape()
	tp.setUp(t)
	tp.must(t, "A001", wayOf("A001")...)
	r := tp.s.Roll("A001")
	if r.Place != PlaceReturned || !r.Erased || r.To != "Robin" {
		t.Errorf("after the whole way: place %v, erased %v, to %q", r.Place, r.Erased, r.To)
	}
	if got := tp.s.Open(); len(got) != 0 {
		t.Errorf("open points after the whole way: %q", got)
	}
	tp.must(t, "", CloseBegan{}, TapesCounted{Counted: 1, Want: 1, Right: true}, BookCounted{Counted: 1, Want: 1, Right: true},
		CopiesLooked{Rolls: 1, Dests: []StandNote{{Dest: "RAID", Seen: true, Rolls: 1}}}, ShiftClosed{})
	tp.refused(t, "A002", RollReceived{From: "Robin"})
}

// Without the optional steps: return follows bin.
func TestReturnWithoutErase(t *testing.T) {
	t.Parallel()
	tp := newTape()
	tp.setUp(t)
	tp.upTo(t, "A001", StepReseat)
	tp.must(t, "A001", RollTaken{For: "return"}, RollReturned{To: "Robin"})
	if r := tp.s.Roll("A001"); r.Place != PlaceReturned || r.Erased {
		t.Errorf("place %v, erased %v; want returned, not erased", r.Place, r.Erased)
	}
}

func TestPutBack(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		step  Step
		place Place
		due   Step
	}{
		{StepSeat, PlaceRedBin, StepPick}, {StepStart, PlaceRedBin, StepPick}, {StepErase, PlaceGreenBin, StepReseat},
	} {
		t.Run(c.step.String(), func(t *testing.T) {
			t.Parallel()
			tp := newTape()
			tp.setUp(t)
			tp.upTo(t, "A001", c.step)
			tp.must(t, "B001", RollReceived{From: "Robin"})
			tp.must(t, "A001", PutBack{Step: c.step.String()})
			r := tp.s.Roll("A001")
			if r.Place != c.place || r.Step != c.due {
				t.Errorf("after put back at %v: %v at %v, want %v at %v", c.step, r.Place, r.Step, c.place, c.due)
			}
			if c.place == PlaceRedBin && tp.s.Red[0] != "A001" {
				t.Errorf("first in line is %s, want A001", tp.s.Red[0])
			}
			if c.place == PlaceRedBin && r.TapeMoved || r.Lock != nil || r.Reseated {
				t.Error("the step's work was kept")
			}
		})
	}
	for _, step := range []Step{StepLog, StepPull, StepLook, StepMark, StepBin} {
		tp := newTape()
		tp.setUp(t)
		tp.upTo(t, "A001", step)
		tp.refused(t, "A001", PutBack{})
	}
}

func TestHoldLeavesOnlyByAFreshPass(t *testing.T) {
	t.Parallel()
	for step := StepPick; step <= StepErase; step++ {
		tp := newTape()
		tp.setUp(t)
		tp.upTo(t, "A001", step)
		tp.must(t, "A001", RollHeld{Reason: "bad copy", By: "program"})
		r := tp.s.Roll("A001")
		if r.Place != PlaceRedBin || r.Step != StepPick || r.Held == nil || r.Proof != "" || r.Marked || r.Binned {
			t.Fatalf("on hold from %v: %+v", step, r)
		}
		for _, ev := range wayOf("A001")[2:] {
			if err := tp.try("A001", ev); err == nil {
				t.Fatalf("on hold from %v: %s was accepted", step, ev.Name())
			}
		}
		tp.must(t, "A001", wayOf("A001")[1:]...)
		if r := tp.s.Roll("A001"); r.Held != nil || len(r.Holds) != 1 {
			t.Errorf("after a fresh pass: held %v, holds %d", r.Held, len(r.Holds))
		}
	}
}

// Invariant 8, the fold's part: after a new run a roll that was in hand or in the reader is due at pick, first in
// line; one from the green bin is back in it; one whose erase had begun can only be returned.
func TestInvariant8RecoverAtEveryStep(t *testing.T) {
	t.Parallel()
	way := wayOf("A001")
	for at := 1; at <= len(way); at++ {
		tp := newTape()
		tp.setUp(t)
		tp.must(t, "A001", way[:at]...)
		before := *tp.s.Roll("A001")
		if before.Place != PlaceReturned {
			tp.must(t, "B001", RollReceived{From: "Robin"})
		}
		tp.run, tp.now = 2, 0
		tp.must(t, "", RunBegan{})
		r := tp.s.Roll("A001")
		switch {
		case before.Place == PlaceReturned:
			if r.Place != PlaceReturned {
				t.Errorf("after %s: %v", way[at-1].Name(), r.Place)
			}
		case before.Erasing || before.Erased:
			if r.Place != PlaceGreenBin || r.Step != StepReturn {
				t.Errorf("after %s: %v at %v, want green bin at return", way[at-1].Name(), r.Place, r.Step)
			}
		case before.Binned:
			if r.Place != PlaceGreenBin || r.Step != StepReseat || r.Lock != nil {
				t.Errorf("after %s: %v at %v, want green bin at reseat", way[at-1].Name(), r.Place, r.Step)
			}
		case before.Place == PlaceDesk:
			if r.Place != PlaceDesk || r.Step != before.Step {
				t.Errorf("after %s: %v at %v, want the desk as before", way[at-1].Name(), r.Place, r.Step)
			}
		default:
			if r.Place != PlaceRedBin || r.Step != StepPick || tp.s.Red[0] != "A001" || r.Proof != "" {
				t.Errorf("after %s: %v at %v, first %v; want red bin, first in line", way[at-1].Name(), r.Place, r.Step, tp.s.Red)
			}
		}
	}
}

func TestEraseRefusals(t *testing.T) {
	t.Parallel()
	cases := []struct {
		name string
		do   func(*testing.T, *tape)
	}{
		{"lock closed", func(t *testing.T, p *tape) {
			p.must(t, "A001", LockLooked{Open: false, Conditions: []guard.Condition{{ID: "L5"}}})
		}},
		{"too old", func(_ *testing.T, p *tape) { p.now += 60 * time.Second }},
		{"stray volume", func(t *testing.T, p *tape) { p.must(t, "A001", StrayVolume{}) }},
		{"destination gone", func(t *testing.T, p *tape) { p.must(t, "", DestGone{Dest: "RAID"}) }},
		{"destination back", func(t *testing.T, p *tape) { p.must(t, "", DestBack{Dest: "RAID"}) }},
		{"card gone", func(t *testing.T, p *tape) { p.must(t, "A001", CardGone{}) }},
		{"other operator", func(t *testing.T, p *tape) { p.must(t, "", OperatorChanged{From: "Kim", To: "Sasha"}) }},
		{"put back", func(t *testing.T, p *tape) { p.must(t, "A001", PutBack{}) }},
		{"on hold", func(t *testing.T, p *tape) { p.must(t, "A001", RollHeld{Reason: "x"}) }},
		{"another run", func(t *testing.T, p *tape) { p.run, p.now = 2, 0; p.must(t, "", RunBegan{}) }},
		{"verdict that does not match its conditions", func(t *testing.T, p *tape) {
			p.must(t, "A001", LockLooked{Open: false, Conditions: []guard.Condition{{ID: "L5"}}})
			p.refused(t, "A001", LockLooked{Open: true, Conditions: []guard.Condition{{ID: "L5"}}})
			p.refused(t, "A001", LockLooked{Open: true})
		}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			p := newTape()
			p.setUp(t)
			p.upTo(t, "A001", StepErase)
			c.do(t, p)
			p.refused(t, "A001", EraseBegan{})
		})
	}
	p := newTape()
	p.setUp(t)
	p.upTo(t, "A001", StepErase)
	p.must(t, "A001", EraseBegan{}) // the base of all rows is a lock that opens
}

func TestNewOperatorLooksAgain(t *testing.T) {
	t.Parallel()
	p := newTape()
	p.setUp(t)
	p.upTo(t, "A001", StepReseat)
	p.must(t, "", OperatorChanged{From: "Kim", To: "Sasha"})
	p.must(t, "A001", RollTaken{For: "erase"}, CardSeated{}, RollReseated{}, openLock())
	p.refused(t, "A001", EraseBegan{})
	p.must(t, "A001", PutBack{}, RollTaken{For: "erase"}, DestLooked{Dest: "RAID", Right: true}, DestLooked{Dest: "SHUTTLE", Right: true},
		CardSeated{}, RollReseated{}, openLock(), EraseBegan{})
}

func TestStartTooLate(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		wait time.Duration
		scan int64
		ok   bool
	}{
		{20 * time.Second, 0, true}, {40 * time.Second, 0, false}, {40 * time.Second, 30_000, true},
	} {
		p := newTape()
		p.setUp(t)
		p.upTo(t, "A001", StepSeat)
		p.must(t, "A001", TapeMoved{}, CardSeated{}, CardScanned{Files: 1, Bytes: 1, ScanMS: c.scan})
		p.now += c.wait
		err := p.try("A001", CopyBegan{To: []string{"RAID", "SHUTTLE"}})
		if (err == nil) != c.ok {
			t.Errorf("start %v after seating, %d ms of it scanning: %v", c.wait, c.scan, err)
		}
	}
}

func TestRefusedLabels(t *testing.T) {
	t.Parallel()
	p := newTape()
	p.setUp(t)
	p.s.Opened.Known = []Label{"A009"}
	p.must(t, "A001", RollReceived{From: "Robin"})
	p.refused(t, "A001", RollReceived{From: "Robin"})
	p.refused(t, "A009", RollReceived{From: "Robin"})
	p.refused(t, "C001", RollReceived{From: "Robin"})
	p.must(t, "A003", RollReceived{From: "Robin"})
	if got := p.s.Missing()["A"]; len(got) != 1 || got[0] != "A002" {
		t.Errorf("missing = %v, want A002", got)
	}
	p.refused(t, "A003", RollPicked{Pass: 1})
}

func TestCameraColours(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		camera Camera
		colour string
		ok     bool
	}{
		{"C", "white", true}, {"C", "red", false}, {"C", "Green", false}, {"C", "dark green", false}, {"C", "blue", false},
		{"C", "BLUE", false}, {"A", "white", false}, {"C", "", false},
	} {
		p := newTape()
		p.setUp(t)
		if err := p.s.CheckCamera(c.camera, c.colour); (err == nil) != c.ok {
			t.Errorf("CheckCamera(%s, %q) = %v, want ok %v", c.camera, c.colour, err, c.ok)
		}
	}
}

func TestOneLaneInACriticalStep(t *testing.T) {
	t.Parallel()
	p := newTape()
	p.setUp(t)
	p.must(t, "A001", RollReceived{From: "Robin"})
	p.must(t, "B001", RollReceived{From: "Robin"})
	p.must(t, "A001", RollPicked{Pass: 1}, LabelRead{Where: "card", Read: "A001", Right: true}, LabelRead{Where: "tape", Read: "A001", Right: true})
	p.lane = 2
	p.must(t, "B001", RollPicked{Pass: 1}, LabelRead{Where: "card", Read: "B001", Right: true})
	p.refused(t, "B001", LabelRead{Where: "tape", Read: "B001", Right: true})
	p.lane = 1
	p.must(t, "A001", PutBack{})
	p.lane = 2
	p.must(t, "B001", LabelRead{Where: "tape", Read: "B001", Right: true})
}
