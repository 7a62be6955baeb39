package procedure

import (
	"slices"
	"testing"
)

// A copy that fails is known as failed, and its card is not pulled; a further copy makes the verdict void.
func TestShiftCopyEnds(t *testing.T) {
	t.Parallel()
	tp := in(t, StepLog)
	tp.must(t, "A001", CopyFailed{})
	if got := tp.s.Roll("A001").Copy; got != CopyIsFailed {
		t.Errorf("the copy is %v after it failed", got)
	}
	run := in(t, StepPull)
	run.s.Roll("A001").Copy = CopyRunning
	run.wants(t, "A001", CardPulled{}, "the copy is not proven yet")
	add := in(t, StepErase)
	add.must(t, "A001", CopyAdded{Proof: "cd", Copies: []CopyNote{{Name: "POST", Proven: true}}})
	if k := add.s.Roll("A001").Lock; k == nil || !k.Void {
		t.Errorf("verdict after a further copy: %+v", k)
	}
	look := in(t, StepLook)
	r := look.s.Roll("A001")
	r.Copies = append(r.Copies, CopyNote{Name: "VAN"})
	look.wants(t, "A001", DestLooked{Dest: "VAN", Right: true}, "VAN holds no proven copy of A001")
}

// The figures are read back from the book, files first; one wrong figure, or showing them again, begins anew.
func TestShiftCountsBack(t *testing.T) {
	t.Parallel()
	files, size := CountRead{What: "files", Right: true}, CountRead{What: "size", Right: true}
	const order = "files are counted first, then the size"
	tp := in(t, StepCount)
	r := tp.s.Roll("A001")
	if !r.Logged || !r.InBook {
		t.Errorf("logged %v, in the book %v", r.Logged, r.InBook)
	}
	tp.wants(t, "A001", files, "the figures were not shown yet")
	tp.must(t, "A001", CountShown{})
	tp.wants(t, "A001", size, order)
	tp.must(t, "A001", files)
	tp.wants(t, "A001", CountRead{What: "names", Right: true}, order)
	none := func(when string, shown bool) {
		t.Helper()
		if r.CountShown != shown || r.CountFiles || r.CountSize {
			t.Errorf("%s: shown %v, files %v, size %v", when, r.CountShown, r.CountFiles, r.CountSize)
		}
	}
	r.CountSize = true
	tp.must(t, "A001", CountShown{})
	none("shown again", true)
	r.CountFiles, r.CountSize = true, true
	tp.must(t, "A001", CountRead{What: "size", Read: "1"})
	none("read wrong", false)
	tp.must(t, "A001", CountShown{}, files, size)
	if r.Step != StepPull {
		t.Errorf("due at %v after both figures", r.Step)
	}
}

// A roll is taken out of the green bin when this lane is free and, for the erase, nobody else is in a critical step.
func TestShiftTaken(t *testing.T) {
	t.Parallel()
	erase := RollTaken{For: "erase"}
	const notThere, only = "A001 is not in the green bin", "only its return is left"
	for _, c := range []struct {
		name   string
		change func(*tape, *Roll)
		ev     Event
		want   string
	}{
		{"for the erase", func(*tape, *Roll) {}, erase, ""},
		{"in a lane that nobody used", func(p *tape, _ *Roll) { p.lane = 2 }, erase, ""},
		{"on the desk", func(_ *tape, r *Roll) { r.Place = PlaceDesk }, erase, notThere},
		{"not binned", func(_ *tape, r *Roll) { r.Binned = false }, erase, notThere},
		{"erased", func(_ *tape, r *Roll) { r.Erased = true }, erase, only},
		{"partly erased", func(_ *tape, r *Roll) { r.Partly = true }, erase, only},
		{"partly erased, to return", func(_ *tape, r *Roll) { r.Partly = true }, RollTaken{For: "return"}, ""},
		{"another under way here", func(p *tape, _ *Roll) { p.s.lane(1).Roll = "B001" }, erase, "B001 is under way here"},
		{"another critical elsewhere", func(p *tape, _ *Roll) { p.s.lane(2).Roll = "B001" }, erase, "B001 is in a critical step"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			tp := in(t, StepReseat)
			tp.must(t, "B001", RollReceived{})
			tp.s.Roll("B001").Step = StepSeat
			r := tp.s.Roll("A001")
			r.Out = false
			c.change(tp, r)
			tp.wants(t, "A001", c.ev, c.want)
			if r := tp.s.Roll("A001"); c.want == "" && (r.Place != PlaceHand || !r.Out) {
				t.Errorf("taken: %v, out of the reader %v", r.Place, r.Out)
			}
		})
	}
	in(t, StepReseat).wants(t, "A001", RollPicked{Pass: 2}, "A001 is not in the red bin")
	back := in(t, StepReturn)
	r := back.s.Roll("A001")
	r.Place, r.Out = PlaceHand, false
	back.wants(t, "A001", RollReturned{}, "")
}

// The lock is looked at when the card is in the reader again, and was said to be.
func TestShiftLockNeedsTheCard(t *testing.T) {
	t.Parallel()
	log := in(t, StepLog)
	log.wants(t, "A001", openLock(), "A001 is due at log")
	for name, change := range map[string]func(*Roll){
		"not said": func(r *Roll) { r.Reseated = false }, "no card": func(r *Roll) { r.Seated = nil },
	} {
		tp := in(t, StepErase)
		change(tp.s.Roll("A001"))
		if got := why(t, tp.try("A001", openLock())); got != "the card is not seated again" {
			t.Errorf("%s: %q", name, got)
		}
	}
}

// An erase that stops: with a file removed only the return is left, without one it may be tried again from the seat.
func TestShiftEraseStops(t *testing.T) {
	t.Parallel()
	for removed, want := range map[int]Step{0: StepReseat, 1: StepReturn} {
		tp := in(t, StepErase)
		tp.wants(t, "A001", EraseStopped{Removed: removed}, "no erase has begun")
		tp.must(t, "A001", EraseBegan{}, EraseStopped{Removed: removed, Left: 2})
		r := tp.s.Roll("A001")
		if r.Step != want || r.Partly != (removed > 0) || r.Erasing || r.Reseated || r.Lock != nil {
			t.Errorf("%d removed: due at %v, partly %v, erasing %v, said to be seated %v, verdict %v", removed, r.Step, r.Partly, r.Erasing, r.Reseated, r.Lock)
		}
	}
}

// Drives come into use and leave it one by one, not while a copy runs; camera colours keep off the bins' colours.
func TestShiftSetUpAsks(t *testing.T) {
	t.Parallel()
	tp := in(t, StepLog)
	tp.wants(t, "", CameraSet{Camera: "C", Colour: "dark-green"}, "green is a bin's colour; choose another for camera C")
	tp.wants(t, "", DestinationDropped{Dest: "RAID"}, "a copy is running")
	tp.must(t, "A001", CopyFailed{})
	tp.wants(t, "", DestinationDropped{Dest: "POST"}, "POST is not in use")
	tp.must(t, "", DestGone{Dest: "RAID"})
	if !tp.s.GoneDests["RAID"] {
		t.Error("RAID is gone, and is not known to be")
	}
	tp.must(t, "", DestinationDropped{Dest: "RAID"})
	if len(tp.s.Dests) != 1 || tp.s.Dests[0].Name != "SHUTTLE" {
		t.Errorf("without RAID: %v", tp.s.Dests)
	}
}

// Both counts begin anew with the close, and count only while they are those of now.
func TestShiftCloseCountsAnew(t *testing.T) {
	t.Parallel()
	for _, ev := range []Event{CloseBegan{}, CloseLeft{}} {
		tp := closing(t)
		tp.must(t, "", ev)
		if tp.s.TapesRight || tp.s.BookRight || tp.s.TapesDone || tp.s.BookDone || tp.s.Tapes != 0 || tp.s.Book != 0 {
			t.Errorf("after %s: tapes %v, book %v", ev.Name(), tp.s.TapesRight, tp.s.BookRight)
		}
		none := []string{"tapes kept are not counted yet; 1 roll handled", "book lines are not counted yet; 1 roll logged"}
		if got := tp.s.Points(); !slices.Equal(got, none) {
			t.Errorf("after %s: %q, want %q", ev.Name(), got, none)
		}
	}
	const tapes, book = "tapes kept do not match: 1 counted, 1 roll handled", "book lines do not match: 1 counted, 1 roll logged"
	for _, c := range []struct {
		name   string
		change func(*Shift)
		want   []string
	}{
		{"right", func(*Shift) {}, nil},
		{"tapes not counted", func(s *Shift) { s.TapesDone = false }, []string{"tapes kept are not counted yet; 1 roll handled"}},
		{"book not counted", func(s *Shift) { s.BookDone = false }, []string{"book lines are not counted yet; 1 roll logged"}},
		{"tapes not said to be right", func(s *Shift) { s.TapesRight = false }, []string{tapes}},
		{"book not said to be right", func(s *Shift) { s.BookRight = false }, []string{book}},
		{"another number of tapes", func(s *Shift) { s.Tapes = 2 }, []string{"tapes kept do not match: 2 counted, 1 roll handled"}},
		{"another number of lines", func(s *Shift) { s.Book = 2 }, []string{"book lines do not match: 2 counted, 1 roll logged"}},
	} {
		tp := closing(t)
		c.change(tp.s)
		if got := tp.s.Points(); !slices.Equal(got, c.want) {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
	tp := closing(t)
	look := CopiesLooked{Rolls: 1, Dests: []StandNote{{Dest: "RAID", Seen: true, Rolls: 1}}}
	tp.must(t, "", look, ShiftClosed{}, CodeRead{})
	if tp.s.CodeRight {
		t.Error("a wrong code counts as right")
	}
	if got, want := look.Says("RAID"), "the copies of 1 roll stand there, every file by its name and size"; got != want {
		t.Errorf("Says = %q, want %q", got, want)
	}
	var none *CopiesLooked
	if got := none.Amiss("RAID", "A001"); got != "" {
		t.Errorf("without a look: %q", got)
	}
}
