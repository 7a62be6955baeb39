package procedure

import (
	"strings"
	"testing"
)

// closing is a shift with one finished roll whose close has begun and whose counts are right.
func closing(t *testing.T) *tape {
	t.Helper()
	tp := newTape()
	tp.setUp(t)
	tp.must(t, "A001", wayOf("A001")...)
	tp.must(t, "", CloseBegan{}, TapesCounted{Counted: 1, Want: 1, Right: true}, BookCounted{Counted: 1, Want: 1, Right: true})
	return tp
}

// TestCloseNeedsTheLastLook: without it the shift does not close, clean or with open points.
func TestCloseNeedsTheLastLook(t *testing.T) {
	t.Parallel()
	tp := closing(t)
	if r := tp.refused(t, "", ShiftClosed{}); !strings.Contains(r.Why, "last look") {
		t.Errorf("refused because %q, want the last look", r.Why)
	}
	tp.refused(t, "", ShiftClosed{Open: []string{"something"}})
	tp.must(t, "", CopiesLooked{Rolls: 1, Dests: []StandNote{{Dest: "RAID", Seen: true, Rolls: 1}}}, SheetWritten{Files: []string{"x.csv"}}, ShiftClosed{})
	tp.refused(t, "", CopiesLooked{})
}

// TestClosePoints: what the last look and the sheet found stands among the open points, and only with them the shift
// closes.
func TestClosePoints(t *testing.T) {
	t.Parallel()
	look := CopiesLooked{Rolls: 1, Dests: []StandNote{
		{Dest: "RAID", Seen: true, Points: []StandPoint{{"A001", "1 of 3 files at their size"}}, More: 2}, {Dest: "SHUTTLE", Why: "not mounted"},
	}}
	tp := closing(t)
	tp.must(t, "", look, SheetWritten{Fault: "no space"})
	want := []string{"on RAID, A001: 1 of 3 files at their size", "on RAID, 2 rolls more", "SHUTTLE was not seen at the last look: not mounted",
		"the log sheet was not written: no space"}
	got := tp.s.Points()
	if strings.Join(got, "\n") != strings.Join(want, "\n") {
		t.Errorf("points = %q, want %q", got, want)
	}
	for dest, want := range map[string]string{"RAID": "not in order: 3", "SHUTTLE": "not seen: not mounted", "OTHER": ""} {
		if got := tp.s.Stood.Says(dest); !strings.Contains(got, want) || want == "" && got != "" {
			t.Errorf("Says(%s) = %q, want %q", dest, got, want)
		}
	}
	if tp.s.Stood.Amiss("RAID", "A001") == "" || tp.s.Stood.Amiss("RAID", "A002") != "" || tp.s.Stood.Amiss("SHUTTLE", "A001") != "" {
		t.Error("Amiss mixes up drives or rolls")
	}
	tp.refused(t, "", ShiftClosed{})
	tp.must(t, "", ShiftClosed{Open: got})
	if strings.Join(tp.s.OpenPoints, "\n") != strings.Join(want, "\n") {
		t.Errorf("open points of the closed shift = %q", tp.s.OpenPoints)
	}
}

// TestCloseIsOfNow: what a close has counted, seen and written is void as soon as a roll moves, a destination comes or
// goes, or the operator goes back to work.
func TestCloseIsOfNow(t *testing.T) {
	t.Parallel()
	whole := CopiesLooked{Rolls: 1, Dests: []StandNote{{Dest: "RAID", Seen: true, Rolls: 1}}}
	for _, c := range []struct {
		name string
		roll Label
		ev   Event
		look bool // the look stands
	}{
		{"back to work", "", CloseLeft{}, false},
		{"begun anew", "", CloseBegan{}, false},
		{"another destination", "", DestinationSet{Destination: Destination{Name: "THIRD", Path: "/t"}}, false},
		{"one fewer", "", DestinationDropped{Dest: "RAID"}, false},
		{"a further copy", "A001", CopyAdded{Proof: "cd", Copies: []CopyNote{{Name: "POST", Proven: true}}}, false},
		{"a note", "A001", NoteMade{ID: 1, Text: "scratch"}, true},
		{"a stray volume", "", StrayVolume{}, true},
	} {
		tp := closing(t)
		tp.must(t, "", whole, SheetWritten{Files: []string{"x.csv"}})
		tp.must(t, c.roll, c.ev)
		if got := tp.s.Stood != nil; got != c.look {
			t.Errorf("%s: the look stands = %v, want %v", c.name, got, c.look)
		}
		if stale := c.name != "a stray volume"; stale == (tp.s.Sheet != nil) {
			t.Errorf("%s: the sheet counts = %v, want %v", c.name, tp.s.Sheet != nil, !stale)
		}
	}
	tp := closing(t)
	tp.must(t, "", CloseLeft{})
	tp.refused(t, "", whole)
	tp.refused(t, "", ShiftClosed{Open: []string{"x"}})
}

// TestOldCloseIsRead: a journal of before the last look has none, and is a closed shift all the same.
func TestOldCloseIsRead(t *testing.T) {
	t.Parallel()
	tp := closing(t)
	if err := tp.s.Apply(tp.entry("", ShiftClosed{})); err != nil || !tp.s.Closed {
		t.Errorf("an old close is refused: %v", err)
	}
	if got := tp.s.Stood.Says("RAID"); got != "" {
		t.Errorf("it says of a look that was not taken: %q", got)
	}
}
