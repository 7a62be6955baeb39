package procedure

import (
	"context"
	"errors"
	"slices"
	"strings"
	"testing"

	"twobin/guard"
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
	if got := tp.s.Stood.Says("SHUTTLE"); got != "not seen: not mounted" {
		t.Errorf("Says(SHUTTLE) = %q, nothing was found before", got)
	}
	if tp.s.Stood.Amiss("RAID", "A001") != "1 of 3 files at their size" || tp.s.Stood.Amiss("SHUTTLE", "A001") != "" {
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

// TestCloseNamesEveryRoll: with more rolls amiss than the open points have room for, each is known as amiss and stands
// there by its label. A journal of before has only the number of the rest: then every roll of that drive may be one.
func TestCloseNamesEveryRoll(t *testing.T) {
	t.Parallel()
	n := StandNote{Dest: "RAID", Seen: true}
	for i := 1; i <= mostPoints+3; i++ {
		n.Points = append(n.Points, StandPoint{MakeLabel("A", i), "gone"})
	}
	look := CopiesLooked{Dests: []StandNote{{Dest: "VAN", Seen: true, Rolls: 23}, n}}
	open := look.Open()
	if want := "on RAID, 3 rolls more: A021-A023"; len(open) != mostPoints+1 || open[mostPoints] != want {
		t.Errorf("open points = %q, want %d and then %q", open, mostPoints, want)
	}
	for i := 1; i <= mostPoints+3; i++ {
		if l := MakeLabel("A", i); look.Amiss("RAID", l) != "gone" || look.Amiss("VAN", l) != "" {
			t.Errorf("%s: amiss on RAID %q, on VAN %q", l, look.Amiss("RAID", l), look.Amiss("VAN", l))
		}
	}
	if got := look.Amiss("RAID", "A024"); got != "" {
		t.Errorf("A024 is amiss: %q", got)
	}
	n.Points, n.More = n.Points[:mostPoints], 1
	old := CopiesLooked{Dests: []StandNote{{Dest: "VAN", Seen: true, Rolls: 23}, n}}
	if got := old.Amiss("RAID", "A024"); !strings.HasPrefix(got, "maybe") {
		t.Errorf("older: A024 is %q, want that it may be amiss", got)
	}
	if got := old.Open(); len(got) != mostPoints+1 || got[mostPoints] != "on RAID, 1 roll more" {
		t.Errorf("older: open points = %q", got)
	}
	if got := old.Amiss("VAN", "A024"); got != "" {
		t.Errorf("older: on VAN A024 is %q", got)
	}
}

// gone is media on which no copy stands; its drives answer until, after so many copies, they are pulled.
type gone struct {
	Media
	left int
}

func (g *gone) Stand(_ context.Context, _ Destination, p *guard.Proof) error {
	switch {
	case p != nil:
		g.left--
		return errors.New(strings.Repeat("0 of 9 files at their size ", 20))
	case g.left < 0:
		return errors.New("not mounted")
	}
	return nil
}

// lookAt takes the last look at a drive with so many rolls.
func lookAt(rolls int, m *gone) StandNote {
	st := standing{dest: Destination{Name: "RAID"}}
	for i := 1; i <= rolls; i++ {
		st.rolls = append(st.rolls, standingRoll{MakeLabel("A", i), true, &guard.Proof{}})
	}
	return (&Runner{cfg: Config{Media: m}}).standsThere(context.Background(), st)
}

// TestLastLookNamesEveryRoll: the journal has every roll whose copy is gone, the later ones with a shorter reason.
func TestLastLookNamesEveryRoll(t *testing.T) {
	t.Parallel()
	n := lookAt(mostPoints+10, &gone{left: 100})
	if !n.Seen || n.Rolls != 0 || len(n.Points) != mostPoints+10 || n.More != 0 {
		t.Errorf("seen %v, %d in order, %d named, %d more", n.Seen, n.Rolls, len(n.Points), n.More)
	}
	for i, p := range n.Points {
		most := longWhy
		if i >= mostPoints {
			most = shortWhy
		}
		if got := len([]rune(p.Why)); p.Roll != MakeLabel("A", i+1) || got != most+1 { // and the sign that it is cut
			t.Errorf("point %d is %s, its reason has %d signs, want %d", i, p.Roll, got, most+1)
		}
	}
}

// TestPulledInTheLastLook: what was found on a drive before it was pulled is kept and listed beside that it was not seen.
func TestPulledInTheLastLook(t *testing.T) {
	t.Parallel()
	n := lookAt(5, &gone{left: 2})
	if n.Seen || n.Why != "not mounted" || len(n.Points) != 2 || n.Points[1].Roll != "A002" {
		t.Fatalf("the look found %+v, want A001 and A002, and that it was not seen", n)
	}
	look := CopiesLooked{Dests: []StandNote{n}}
	open := look.Open()
	if len(open) != 3 || open[0] != "RAID was not seen at the last look: not mounted" || !strings.HasPrefix(open[2], "on RAID, A002: 0 of 9") {
		t.Errorf("open points = %q", open)
	}
	if got, want := look.Says("RAID"), "not seen: not mounted; not in order before that: 2"; got != want {
		t.Errorf("Says = %q, want %q", got, want)
	}
	if look.Amiss("RAID", "A002") == "" || look.Amiss("RAID", "A003") != "" {
		t.Error("Amiss mixes up what was looked at before")
	}
}

// TestLastLookSays: each thing that it can find on a drive has its own words; a drive without copies is not one on which
// the copies of no roll stand.
func TestLastLookSays(t *testing.T) {
	t.Parallel()
	look := CopiesLooked{Dests: []StandNote{
		{Dest: "EMPTY", Seen: true}, {Dest: "WHOLE", Seen: true, Rolls: 2},
		{Dest: "DAMAGED", Seen: true, Rolls: 1, Points: []StandPoint{{Roll: "A001", Why: "1 of 2"}}, More: 3},
		{Dest: "LOST", Seen: true, Points: []StandPoint{{Roll: "A001", Why: "not there"}}}, {Dest: "GONE", Why: "not mounted"},
	}}
	for dest, want := range map[string]string{
		"EMPTY": "no roll has proven copies there", "WHOLE": "the copies of 2 rolls stand there, every file by its name and size",
		"DAMAGED": "the copies of 1 roll stand there; not in order: 4", "LOST": "the copies of 0 rolls stand there; not in order: 1",
		"GONE": "not seen: not mounted", "OTHER": "",
	} {
		if got := look.Says(dest); got != want {
			t.Errorf("%s: %q, want %q", dest, got, want)
		}
	}
}

// TestCloseCountsCopiesInUse: a roll needs its number of proven copies on drives in use; a dropped drive, an unproven copy
// and a drive that came later do not count. The close is refused before it is journaled; a journal that has it is read.
func TestCloseCountsCopiesInUse(t *testing.T) {
	t.Parallel()
	both := []CopyNote{{Name: "SHUTTLE", Proven: true}, {Name: "RAID", Proven: true}}
	van := DestinationSet{Destination: Destination{Name: "VAN"}}
	raid := DestinationDropped{Dest: "RAID"}
	for _, c := range []struct {
		name   string
		copies []CopyNote
		need   int
		events []Event
		want   string
	}{
		{"both in use", both, 2, nil, ""},
		{"policy of none", both, 0, nil, ""},
		{"policy of three", both, 3, nil, "A001: proven on 2 drives in use (SHUTTLE, RAID), 3 needed"},
		{"one more drive", both, 2, []Event{van}, ""},
		{"dropped", both, 2, []Event{raid}, "A001: proven on 1 drive in use (SHUTTLE), 2 needed; also on RAID, dropped"},
		{"dropped, policy of none", both, 0, []Event{raid}, "A001: proven on 1 drive in use (SHUTTLE), 2 needed; also on RAID, dropped"},
		{"another instead", both, 2, []Event{raid, van}, "A001: proven on 1 drive in use (SHUTTLE), 2 needed; also on RAID, dropped"},
		{"none left", both, 2, []Event{raid, DestinationDropped{Dest: "SHUTTLE"}}, "A001: proven on no drive in use, 2 needed; also on SHUTTLE, RAID, dropped"},
		{"one not proven", []CopyNote{{Name: "SHUTTLE", Proven: true}, {Name: "RAID"}}, 2, nil, "A001: proven on 1 drive in use (SHUTTLE), 2 needed"},
	} {
		tp := closing(t)
		tp.s.Roll("A001").Copies = c.copies
		tp.s.Opened.Policy.Destinations = c.need
		for _, ev := range c.events {
			tp.must(t, "", ev)
		}
		tp.must(t, "", CopiesLooked{Rolls: 1, Dests: []StandNote{{Dest: "SHUTTLE", Seen: true, Rolls: 1}}})
		if got := strings.Join(tp.s.Points(), "\n"); got != c.want {
			t.Errorf("%s: points = %q, want %q", c.name, got, c.want)
		}
		if c.want == "" {
			tp.must(t, "", ShiftClosed{})
			continue
		}
		tp.wants(t, "", ShiftClosed{}, c.want)
		older := tp.s.Clone()
		if err := older.Apply(tp.entry("", ShiftClosed{})); err != nil {
			t.Errorf("%s: an older close is refused: %v", c.name, err)
		}
		tp.must(t, "", ShiftClosed{Open: tp.s.Points()})
	}
}

// TestShortInOneLine: rolls that lack the same stand in one line; a roll that is not proven is no such point.
func TestShortInOneLine(t *testing.T) {
	t.Parallel()
	s := closing(t).s
	one := []CopyNote{{Name: "RAID", Proven: true}}
	for n, k := range map[int]CopyState{1: CopyIsProven, 2: CopyIsProven, 3: CopyIsFailed} {
		s.Rolls[MakeLabel("A", n)] = &Roll{Label: MakeLabel("A", n), Copy: k, Copies: one}
	}
	s.Order = []Label{"A001", "A002", "A003"}
	if got, want := s.Short(), []string{"A001-A002: proven on 1 drive in use (RAID), 2 needed"}; !slices.Equal(got, want) {
		t.Errorf("Short = %q, want %q", got, want)
	}
}

// TestStoodText: the message says that all copies stand on all drives only where they do.
func TestStoodText(t *testing.T) {
	t.Parallel()
	two := CopiesLooked{Rolls: 2, Dests: []StandNote{{Dest: "RAID", Rolls: 2}, {Dest: "VAN", Rolls: 2}}}
	if got, want := stoodText(&two), "Last look: the copies of 2 rolls stand on 2 drives, every file by its name and size."; got != want {
		t.Errorf("text = %q, want %q", got, want)
	}
	two.Dests[1].Rolls = 1
	if got, want := stoodText(&two), "Last look: of 2 rolls stand: RAID 2 rolls, VAN 1 roll; every file by its name and size."; got != want {
		t.Errorf("text = %q, want %q", got, want)
	}
}

func TestLabelRuns(t *testing.T) {
	t.Parallel()
	got := LabelRuns([]Label{"A001", "A002", "A003", "A005", "B006", "B007", "AB001", "A999", "A1000"})
	if want := []string{"A001-A003", "A005", "B006-B007", "AB001", "A999-A1000"}; !slices.Equal(got, want) {
		t.Errorf("LabelRuns = %q, want %q", got, want)
	}
}
