package procedure

import (
	"testing"
	"time"

	"twobin/guard"
)

// Nothing happens before the shift is open, no roll before the set-up is done, and it opens once.
func TestShiftOpensFirst(t *testing.T) {
	t.Parallel()
	for _, ev := range Events() {
		switch ev.(type) {
		case ShiftOpened, RunBegan, ClockJumped:
			continue
		}
		tp := newTape()
		tp.wants(t, "A001", ev, "the shift is not open")
	}
	tp := newTape()
	opened := ShiftOpened{Operator: "Kim", Policy: testPolicy}
	tp.must(t, "", RunBegan{}, opened, CameraSet{Camera: "A", Colour: "blue"})
	tp.wants(t, "", opened, "the shift is open already")
	tp.wants(t, "A001", RollReceived{}, "the set-up is not done")
}

// A refused event leaves all as it was, and says what is due for that roll; an accepted one is the last.
func TestShiftRefusalLeavesAll(t *testing.T) {
	t.Parallel()
	tp := closing(t)
	tp.must(t, "", CopiesLooked{}, SheetWritten{})
	last := tp.s.Last
	if want := (Moment{Wall: wall.Add(tp.now), Run: 1, Mono: tp.now}); last != want {
		t.Errorf("last is %v, want %v", last, want)
	}
	tp.now += time.Second
	if err := tp.s.Apply(tp.entry("A001", RollMarked{})); err == nil {
		t.Error("marked after its return")
	}
	if tp.s.Stood == nil || tp.s.Sheet == nil || tp.s.Last != last {
		t.Error("a refusal took back what the close has found, or counts as the last event")
	}
	two := in(t, StepMark)
	two.lane = 2
	if r := two.refused(t, "A001", RollBinned{}); r.Due != StepMark || r.Why != "A001 is due at mark, not at bin" {
		t.Errorf("refused with %+v; want what is due for A001", r)
	}
}

// What a roll does, it does in its own lane: not in a lane that nobody used, and not in another roll's.
func TestShiftOnlyInItsLane(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		at Step
		ev Event
	}{
		{StepSeat, CardSeated{}}, {StepSeat, PutBack{}}, {StepMark, RollMarked{}}, {StepErase, openLock()}, {StepErase, EraseBegan{}},
	} {
		tp := in(t, c.at)
		tp.must(t, "B001", RollReceived{})
		tp.lane = 2
		tp.wants(t, "A001", c.ev, "A001 is not the roll of this lane")
		tp.must(t, "B001", RollPicked{Pass: 1})
		tp.wants(t, "A001", c.ev, "A001 is not the roll of this lane")
	}
	again := in(t, StepReseat) // a new operator looks again, at this lane's roll
	again.must(t, "", OperatorChanged{To: "Sasha"})
	again.must(t, "A001", RollTaken{For: "erase"})
	again.lane = 2
	again.wants(t, "A001", DestLooked{Dest: "RAID", Right: true}, "A001 is not the roll of this lane")
}

// Only another lane's roll in a critical step stands in the way.
func TestShiftCriticalElsewhere(t *testing.T) {
	t.Parallel()
	for step, want := range map[Step]Label{StepSeat: "A001", StepStart: "A001", StepLog: "", StepMark: "", StepErase: "A001"} {
		tp := in(t, step)
		tp.s.lane(3) // a lane without a roll
		if got := tp.s.critical(2); got != want {
			t.Errorf("A001 at %v: %q is critical for lane 2, want %q", step, got, want)
		}
		if got := tp.s.critical(1); got != "" {
			t.Errorf("A001 at %v: %q is critical for its own lane", step, got)
		}
	}
}

// The label is read first from the card, then from the tape; the verdict is the fold's own; only two right ones lead on.
func TestShiftReadsLabels(t *testing.T) {
	t.Parallel()
	card := func(read string, right bool) Event { return LabelRead{Where: "card", Read: read, Right: right} }
	tape := func(read string, right bool) Event { return LabelRead{Where: "tape", Read: read, Right: right} }
	const verdict = "the reading does not match its own verdict"
	for _, c := range []struct {
		name string
		evs  []Event
		want string // the last one's refusal
		step Step
	}{
		{"typed small", []Event{card("a1", true), tape(" A001", true)}, "", StepSeat},
		{"another roll, said to be right", []Event{card("A002", true)}, verdict, StepPick},
		{"no label, said to be right", []Event{card("?", true)}, verdict, StepPick},
		{"right, said to be wrong", []Event{card("A001", false)}, verdict, StepPick},
		{"tape first", []Event{tape("A001", true)}, "the card's label is read first", StepPick},
		{"wrong card", []Event{card("A002", false), tape("A001", true)}, "", StepPick},
		{"wrong tape", []Event{card("A001", true), tape("A002", false)}, "", StepPick},
		{"wrong tape, then right", []Event{card("A001", true), tape("A002", false), tape("A001", true)}, "", StepSeat},
		{"elsewhere", []Event{LabelRead{Where: "case", Read: "A001", Right: true}}, "a label is read from card or tape", StepPick},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			tp := newTape()
			tp.setUp(t)
			tp.must(t, "A001", RollReceived{}, RollPicked{Pass: 1})
			tp.must(t, "A001", c.evs[:len(c.evs)-1]...)
			tp.wants(t, "A001", c.evs[len(c.evs)-1], c.want)
			if r := tp.s.Roll("A001"); r.Step != c.step {
				t.Errorf("due at %v, want %v", r.Step, c.step)
			}
		})
	}
	// While another lane is in a critical step only the reading that would begin one has to wait.
	tp := in(t, StepSeat)
	tp.must(t, "B001", RollReceived{})
	tp.lane = 2
	tp.must(t, "B001", RollPicked{Pass: 1}, card("B002", false), tape("B001", true), card("B001", true), tape("B002", false))
	tp.wants(t, "B001", tape("B001", true), "A001 is in a critical step")
	r := tp.s.Roll("B001")
	r.Place = PlaceRedBin
	tp.wants(t, "B001", card("B001", true), "B001 is not in your hand")
	r.Place, r.ReadTape = PlaceHand, true // a tape alone opens nothing
	tp.wants(t, "B001", card("B002", false), "")
	if r.Step != StepPick {
		t.Errorf("due at %v with the card's label read wrong", r.Step)
	}
}

// The start opens when the tape is on the reader, the card in it, and its contents read: none of the three is enough.
func TestShiftSeatNeedsAllThree(t *testing.T) {
	t.Parallel()
	for n := range 8 {
		tp := in(t, StepSeat)
		r := tp.s.Roll("A001")
		r.TapeMoved = n&1 != 0
		if n&2 != 0 {
			r.Seated = &guard.Volume{}
		}
		if n&4 != 0 {
			r.Scanned = &CardScanned{}
		}
		tp.s.seatDone(tp.entry("A001", CardScanned{}), r)
		if got := r.Step == StepStart; got != (n == 7) {
			t.Errorf("tape %v, card %v, scanned %v: the start opens = %v", n&1 != 0, n&2 != 0, n&4 != 0, got)
		}
	}
	tp := in(t, StepMark)
	tp.wants(t, "A001", CardSeated{}, "A001 is due at mark: no card is to be seated")
	tp.must(t, "A001", RollMarked{}, RollBinned{}, RollTaken{For: "erase"}, CardSeated{Volume: guard.Volume{ID: "uuid:other"}})
	if got := tp.s.Roll("A001").CardID; got != "uuid:A001" { // the lock compares with the card that was copied
		t.Errorf("the roll's card is %q after another was seated for its erase", got)
	}
}

// A card that goes: before the erase its verdict is void and it is to be seated again; in the erase that goes on.
func TestShiftCardGoes(t *testing.T) {
	t.Parallel()
	tp := in(t, StepErase)
	tp.must(t, "A001", CardGone{})
	if r := tp.s.Roll("A001"); r.Step != StepReseat || r.Place != PlaceHand || r.Reseated || r.Lock == nil || !r.Lock.Void {
		t.Errorf("gone before the erase: due at %v, %v, said to be seated %v, verdict %+v", r.Step, r.Place, r.Reseated, r.Lock)
	}
	begun := in(t, StepErase)
	begun.must(t, "A001", EraseBegan{}, CardGone{})
	if r := begun.s.Roll("A001"); r.Step != StepErase || r.Place != PlaceReader || !r.Erasing {
		t.Errorf("gone in the erase: due at %v, %v, erasing %v", r.Step, r.Place, r.Erasing)
	}
	early := in(t, StepReseat)
	early.must(t, "A001", RollTaken{For: "erase"}, CardSeated{}, CardGone{}) // no verdict yet
	if r := early.s.Roll("A001"); r.Step != StepReseat || r.Place != PlaceHand {
		t.Errorf("gone before the look: due at %v, %v", r.Step, r.Place)
	}
}

// The start: with a card, with as many drives as the policy asks for, and up to its limit of time without the scan.
func TestShiftStart(t *testing.T) {
	t.Parallel()
	both := CopyBegan{To: []string{"RAID", "SHUTTLE"}}
	tp := in(t, StepStart)
	tp.wants(t, "A001", CopyBegan{To: []string{"RAID"}}, "1 destination in use, 2 needed")
	tp.s.Roll("A001").Seated = nil
	tp.wants(t, "A001", both, "no card is seated")
	s := in(t, StepStart).s
	s.strict = true
	r := &Roll{SeatedAt: Moment{Run: 1}, Scanned: &CardScanned{ScanMS: 5_000}}
	for d, want := range map[time.Duration]bool{0: false, 35 * time.Second: false, 35*time.Second + 1: true} {
		if got := s.startOver(r, Moment{Run: 1, Mono: d}); got != want {
			t.Errorf("start %v after seating, 5 s of it scanning: too late %v, want %v", d, got, want)
		}
	}
	if s.startOver(&Roll{}, Moment{Run: 1, Mono: time.Hour}) {
		t.Error("too late for a card whose contents were not read")
	}
}
