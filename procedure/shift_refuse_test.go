package procedure

import (
	"testing"
	"time"

	"twobin/guard"
)

// in gives a shift that is ready, with A001 at a step.
func in(t *testing.T, step Step) *tape {
	t.Helper()
	tp := newTape()
	tp.setUp(t)
	tp.upTo(t, "A001", step)
	return tp
}

// A verdict is open only if every one of its conditions holds, whichever fails.
func TestShiftLockNeedsEveryCondition(t *testing.T) {
	t.Parallel()
	for _, ev := range lockLooks() {
		look := ev.(LockLooked)
		every := true
		for _, c := range look.Conditions {
			every = every && c.Holds
		}
		tp := in(t, StepReseat)
		tp.must(t, "A001", RollTaken{For: "erase"}, CardSeated{}, RollReseated{})
		if err := tp.try("A001", look); (err == nil) != (look.Open == every) {
			t.Errorf("open %v, every condition holds %v: %v", look.Open, every, err)
		}
		if !every || !look.Open {
			tp.refused(t, "A001", EraseBegan{})
		}
	}
}

func TestShiftRefusesHalfAProof(t *testing.T) {
	t.Parallel()
	tp := in(t, StepLog)
	tp.refused(t, "A001", CopyProven{Copies: provenNotes()})                                                            // no proof
	tp.refused(t, "A001", CopyProven{Proof: "ab", Copies: []CopyNote{{Name: "RAID", Proven: true}, {Name: "SHUTTLE"}}}) // one copy
	tp.must(t, "A001", CopyProven{Proof: "ab", Copies: provenNotes()})
	tp.refused(t, "A001", CopyProven{Proof: "ab", Copies: provenNotes()}) // none is running any more
	tp.refused(t, "A001", CopyFailed{})
}

// A further copy: only of a proven one, only another, only proven; it has to be looked at, and every verdict is void.
func TestShiftFurtherCopy(t *testing.T) {
	t.Parallel()
	post := CopyAdded{Proof: "cd", Copies: []CopyNote{{Name: "POST", Proven: true}}}
	early := in(t, StepLog)
	early.refused(t, "A001", post)
	tp := in(t, StepErase)
	for _, bad := range []CopyAdded{
		{Copies: post.Copies}, {Proof: "cd"}, {Proof: "cd", Copies: []CopyNote{{Name: "POST"}}}, {Proof: "cd", Copies: []CopyNote{{Name: "RAID", Proven: true}}},
		{Proof: "cd", Copies: []CopyNote{{Name: "RAID"}}}, {Proof: "cd", Copies: []CopyNote{{Name: "POST", Proven: true}, {Name: "VAN"}}},
	} {
		tp.refused(t, "A001", bad)
	}
	tp.must(t, "A001", post)
	tp.refused(t, "A001", EraseBegan{})
	tp.must(t, "A001", openLock())
	tp.refused(t, "A001", EraseBegan{}) // POST was not looked at
	if r := tp.s.Roll("A001"); r.Proof != "cd" || len(r.Copies) != 3 {
		t.Errorf("proof %s, %d copies; want cd, 3", r.Proof, len(r.Copies))
	}
	begun := in(t, StepErase)
	begun.must(t, "A001", EraseBegan{})
	begun.refused(t, "A001", post)
	without := in(t, StepMark) // no verdict to make void
	without.must(t, "A001", post)
}

func TestShiftLooksOnlyWhereACopyIs(t *testing.T) {
	t.Parallel()
	tp := in(t, StepLook)
	tp.refused(t, "A001", DestLooked{Dest: "POST", Right: true})
	tp.must(t, "A001", DestLooked{Dest: "RAID", Right: true}, DestLooked{Dest: "RAID"}, DestLooked{Dest: "SHUTTLE", Right: true})
	if r := tp.s.Roll("A001"); r.Step != StepLook || r.LookTries["RAID"] != 1 {
		t.Errorf("step %v, wrong answers %v; a wrong answer takes the right one back", r.Step, r.LookTries)
	}
	tp.refused(t, "A001", RollMarked{})
	tp.must(t, "A001", DestLooked{Dest: "RAID", Right: true}, RollMarked{})
}

// What is journaled has happened: only May asks limits of time.
func TestShiftFoldsWhatCameLate(t *testing.T) {
	t.Parallel()
	erase := in(t, StepErase)
	start := newTape()
	start.setUp(t)
	start.upTo(t, "A001", StepStart)
	for _, c := range []struct {
		tp *tape
		ev Event
	}{{erase, EraseBegan{}}, {start, CopyBegan{To: []string{"RAID", "SHUTTLE"}}}} {
		c.tp.now += time.Hour
		e := c.tp.entry("A001", c.ev)
		if err := c.tp.s.May(e); err == nil {
			t.Errorf("%s an hour late may happen", c.ev.Name())
		}
		if err := c.tp.s.Apply(e); err != nil {
			t.Errorf("%s an hour late, from the journal: %v", c.ev.Name(), err)
		}
	}
	back := in(t, StepErase) // a clock that goes back
	e := back.entry("A001", EraseBegan{})
	e.At.Mono -= time.Minute
	if err := back.s.May(e); err == nil {
		t.Error("an erase before its look may happen")
	}
}

func TestShiftNotesAndCalls(t *testing.T) {
	t.Parallel()
	tp := newTape()
	tp.setUp(t)
	tp.refused(t, "", AwayEnded{})
	tp.must(t, "", AwayBegan{}, AwayEnded{})
	tp.refused(t, "", AwayEnded{})
	tp.refused(t, "", NoteMade{ID: 2, Text: "x"})
	tp.refused(t, "", NoteDone{ID: 1})
	tp.must(t, "", NoteMade{ID: 1, Text: "x"}, NoteMade{ID: 2, Text: "y"})
	for _, id := range []int{-1, 0, 3} {
		tp.refused(t, "", NoteDone{ID: id})
	}
	tp.must(t, "", NoteDone{ID: 2}, NoteDone{ID: 1})
	tp.refused(t, "", NoteDone{ID: 1})
	tp.refused(t, "", OperatorChanged{To: " "})
	tp.refused(t, "", DestGone{Dest: "POST"})
}

// The set-up is done only when each of its parts is.
func TestShiftSetUpNeedsEachPart(t *testing.T) {
	t.Parallel()
	parts := []Event{
		CameraSet{Camera: "A", Colour: "blue"}, MarkingAgreed{Text: "red tape"}, KitChecked{}, BinsPlaced{},
		DestinationSet{Destination: Destination{Name: "RAID", Path: "/r", Volume: guard.Volume{Mount: "/r", Disk: "d1"}}},
		DestinationSet{Destination: Destination{Name: "SHUTTLE", Path: "/s", Volume: guard.Volume{Mount: "/s", Disk: "d2"}}},
	}
	for lacks := -1; lacks < len(parts); lacks++ {
		tp := newTape()
		tp.must(t, "", RunBegan{}, ShiftOpened{Production: "Harbour Lights", Day: 3, Date: "2031-05-06", Station: "cart", Operator: "Kim", Policy: testPolicy})
		for i, ev := range parts {
			if i != lacks {
				tp.must(t, "", ev)
			}
		}
		if err := tp.try("", SetUpDone{}); (err == nil) != (lacks == -1) {
			t.Errorf("set-up without part %d: %v", lacks, err)
		}
	}
}

func TestShiftCloseCounts(t *testing.T) {
	t.Parallel()
	tp := newTape()
	tp.setUp(t)
	tp.must(t, "A001", wayOf("A001")...)
	tp.refused(t, "", TapesCounted{Counted: 1, Want: 1, Right: true}) // the close has not begun
	tp.must(t, "", CloseBegan{})
	for _, bad := range []Event{
		TapesCounted{Counted: 1, Want: 1}, TapesCounted{Counted: 2, Want: 1, Right: true}, TapesCounted{Counted: 1, Want: 2, Right: true},
		TapesCounted{Counted: 2, Want: 2}, BookCounted{Counted: 1, Want: 1}, BookCounted{Counted: 2, Want: 1, Right: true},
		BookCounted{Counted: 1, Want: 2, Right: true}, BookCounted{Counted: 2, Want: 2},
	} {
		tp.refused(t, "", bad)
	}
	tp.must(t, "", TapesCounted{Counted: 2, Want: 1}, BookCounted{Counted: 3, Want: 1})
	if got := tp.s.Points(); len(got) != 2 {
		t.Errorf("points with both counts wrong: %q", got)
	}
	tp.must(t, "", TapesCounted{Counted: 1, Want: 1, Right: true})
	if got := tp.s.Points(); len(got) != 1 {
		t.Errorf("points with the book wrong: %q", got)
	}
	tp.must(t, "", BookCounted{Counted: 1, Want: 1, Right: true}, CopiesLooked{Rolls: 1, Dests: []StandNote{{Dest: "RAID", Seen: true, Rolls: 1}}})
	tp.refused(t, "A001", RollMarked{}) // a refusal leaves what the close has found
	tp.must(t, "", ShiftClosed{}, CodeRead{Right: true}, CodeRead{})
	if !tp.s.CodeRight {
		t.Error("the code was read back right once, and counts as wrong")
	}
}

// While a roll is under way the close does not begin.
func TestShiftCloseNeedsFreeHands(t *testing.T) {
	t.Parallel()
	tp := in(t, StepMark)
	tp.refused(t, "", CloseBegan{})
	tp.must(t, "A001", RollMarked{}, RollBinned{})
	tp.must(t, "", CloseBegan{}, CloseLeft{})
	tp.refused(t, "", BookCounted{Counted: 1, Want: 1, Right: true})
}
