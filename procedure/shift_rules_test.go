package procedure

import (
	"errors"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"twobin/guard"
)

// why is the reason of a refusal, "" when there is none.
func why(tb testing.TB, err error) string {
	tb.Helper()
	var r *Refusal
	switch {
	case err == nil:
		return ""
	case !errors.As(err, &r):
		tb.Fatalf("%v is no refusal", err)
	}
	return r.Why
}

// wants tries an event and holds the reason of its refusal ("": none) against what the operator is to read.
func (t *tape) wants(tb testing.TB, l Label, ev Event, want string) {
	tb.Helper()
	if got := why(tb, t.try(l, ev)); got != want {
		tb.Errorf("%s %s: %q, want %q", l, ev.Name(), got, want)
	}
}

// The erase asks from the journal alone for all that the lock asks for, though the steps before have asked for it: each
// part is taken away here in a state that the steps do not let come about.
func TestShiftEraseAsksAllAgain(t *testing.T) {
	t.Parallel()
	const limit = 60 * time.Second // of testPolicy
	for _, c := range []struct {
		name   string
		change func(s *Shift, r *Roll, e *Entry)
		want   string
	}{
		{"nothing lacks", func(*Shift, *Roll, *Entry) {}, ""},
		{"another step", func(_ *Shift, r *Roll, _ *Entry) { r.Step = StepReseat }, "A001 is due at reseat, not at erase"},
		{"another lane", func(_ *Shift, _ *Roll, e *Entry) { e.Lane = 2 }, "A001 is not the roll of this lane"},
		{"it has begun", func(_ *Shift, r *Roll, _ *Entry) { r.Erasing = true }, "the erase has begun"},
		{"no verdict", func(_ *Shift, r *Roll, _ *Entry) { r.Lock = nil }, "the lock is closed"},
		{"closed", func(_ *Shift, r *Roll, _ *Entry) { r.Lock.Open = false }, "the lock is closed"},
		{"void", func(_ *Shift, r *Roll, _ *Entry) { r.Lock.Void = true }, "something changed since the look; look again"},
		{"another run", func(_ *Shift, r *Roll, _ *Entry) { r.Lock.At.Run = 7 }, "the look is of an earlier run; look again"},
		{"no card", func(_ *Shift, r *Roll, _ *Entry) { r.Seated = nil }, "the card is not seated again"},
		{"not said", func(_ *Shift, r *Roll, _ *Entry) { r.Reseated = false }, "the card is not seated again"},
		{"copy runs", func(_ *Shift, r *Roll, _ *Entry) { r.Copy = CopyRunning }, "the copy is not proven"},
		{"no proof", func(_ *Shift, r *Roll, _ *Entry) { r.Proof = "" }, "the copy is not proven"},
		{"not marked", func(_ *Shift, r *Roll, _ *Entry) { r.Marked = false }, "look, mark or bin is not done, or not by this operator"},
		{"not binned", func(_ *Shift, r *Roll, _ *Entry) { r.Binned = false }, "look, mark or bin is not done, or not by this operator"},
		{"not looked at", func(_ *Shift, r *Roll, _ *Entry) { delete(r.Looked, "RAID") }, "look, mark or bin is not done, or not by this operator"},
		{"another operator", func(s *Shift, _ *Roll, _ *Entry) { s.Operator = "Sasha" }, "look, mark or bin is not done, or not by this operator"},
		{"on hold", func(_ *Shift, r *Roll, _ *Entry) { r.Held = &Hold{Reason: "x"} }, "the roll is on hold"},
		{"at the look", func(_ *Shift, r *Roll, e *Entry) { e.At.Mono = r.Lock.At.Mono }, ""},
		{"before the look", func(_ *Shift, r *Roll, e *Entry) { e.At.Mono = r.Lock.At.Mono - 1 }, "the look is too old; look again"},
		{"just in time", func(_ *Shift, r *Roll, e *Entry) { e.At.Mono = r.Lock.At.Mono + limit - 1 }, ""},
		{"at the limit", func(_ *Shift, r *Roll, e *Entry) { e.At.Mono = r.Lock.At.Mono + limit }, "the look is too old; look again"},
	} {
		tp := in(t, StepErase)
		tp.s.strict = true
		r, e := tp.s.Roll("A001"), tp.entry("A001", EraseBegan{})
		c.change(tp.s, r, &e)
		if got := why(t, tp.s.eraseMay(e, r)); got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

// Looked at is a roll when every proven copy was, by one person, and there are as many as the policy asks for.
func TestShiftLookedAtEveryCopy(t *testing.T) {
	t.Parallel()
	kim := map[string]string{"RAID": "Kim", "SHUTTLE": "Kim"}
	for _, c := range []struct {
		name   string
		copies []CopyNote
		looked map[string]string
		by     string
		need   int
		want   bool
	}{
		{"both", provenNotes(), kim, "Kim", 2, true},
		{"one condemned besides", append(provenNotes(), CopyNote{Name: "VAN"}), kim, "Kim", 2, true},
		{"by another", provenNotes(), kim, "Sasha", 2, false},
		{"one not", provenNotes(), map[string]string{"RAID": "Kim"}, "Kim", 2, false},
		{"none, by nobody", provenNotes(), nil, "", 2, false},
		{"fewer than needed", provenNotes()[:1], kim, "Kim", 2, false},
		{"no copy, none needed", nil, kim, "Kim", 0, false},
	} {
		s := NewShift()
		s.Opened = &ShiftOpened{Policy: PolicyNote{Destinations: c.need}}
		if got := s.lookedAll(&Roll{Copies: c.copies, Looked: c.looked}, c.by); got != c.want {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}

// What the lock is told of a roll is what happened to it, and nothing of a roll that never came.
func TestShiftFactsForTheLock(t *testing.T) {
	t.Parallel()
	done := guard.Facts{Label: "A001", JournalWhole: true, Looked: true, Marked: true, Binned: true, LookedBy: "Kim", Operator: "Kim", ProofSHA: "ab"}
	drill := done
	drill.Drill = true
	tp := in(t, StepErase)
	dr := in(t, StepErase)
	dr.s.Opened.Drill = "first"
	held := in(t, StepErase)
	held.must(t, "A001", RollHeld{Reason: "bent pin"})
	for _, c := range []struct {
		name string
		got  guard.Facts
		want guard.Facts
	}{
		{"not open", NewShift().Facts("A001", false, "line 3"), guard.Facts{Label: "A001", JournalFault: "line 3"}},
		{"no such roll", tp.s.Facts("A002", true, ""), guard.Facts{Label: "A002", JournalWhole: true}},
		{"all done", tp.s.Facts("A001", true, ""), done},
		{"in a drill", dr.s.Facts("A001", true, ""), drill},
		{"on hold", held.s.Facts("A001", true, ""), guard.Facts{Label: "A001", JournalWhole: true, Operator: "Kim", Holds: []string{"bent pin"}}},
	} {
		if d := cmp.Diff(c.want, c.got); d != "" {
			t.Errorf("%s: (-want +got)\n%s", c.name, d)
		}
	}
}

// A roll whose erase has begun, or that was handed back, goes on hold no more; one whose erase removed nothing does.
func TestShiftHoldEndsWithTheErase(t *testing.T) {
	t.Parallel()
	const begun = "the erase of A001 has begun; only its return is left"
	hold := RollHeld{Reason: "x", By: "operator"}
	for _, c := range []struct {
		name string
		from Step
		evs  []Event
		want string
	}{
		{"erasing", StepErase, []Event{EraseBegan{}}, begun},
		{"erased", StepReturn, nil, begun},
		{"partly erased", StepErase, []Event{EraseBegan{}, EraseStopped{Removed: 1, Left: 2}}, begun},
		{"maybe one removed", StepErase, []Event{EraseBegan{}, EraseStopped{Left: 3, Doubtful: "a.mov"}}, begun},
		{"nothing removed", StepErase, []Event{EraseBegan{}, EraseStopped{Left: 3}}, ""},
		{"handed back", StepReseat, []Event{RollTaken{For: "return"}, RollReturned{}}, "A001 was handed back"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			tp := in(t, c.from)
			tp.must(t, "A001", c.evs...)
			tp.wants(t, "A001", hold, c.want)
		})
	}
}

// The line of the red bin: who goes on hold leaves it, who is put back stands first in it, once, and nobody else moves.
func TestShiftRedLine(t *testing.T) {
	t.Parallel()
	tp := newTape()
	tp.setUp(t)
	line := func(when string, want ...Label) {
		t.Helper()
		if !slices.Equal(tp.s.Red, want) {
			t.Errorf("%s: in line %v, want %v", when, tp.s.Red, want)
		}
	}
	tp.wants(t, "", RollReceived{}, "no label")
	for _, l := range []Label{"A001", "A002", "B001"} {
		tp.must(t, l, RollReceived{})
	}
	tp.must(t, "A002", RollHeld{Reason: "x"})
	line("A002 on hold", "A001", "B001")
	tp.must(t, "A001", RollPicked{Pass: 1})
	tp.wants(t, "B001", RollPicked{Pass: 1}, "A001 is under way here")
	tp.must(t, "A001", PutBack{})
	line("A001 put back", "A001", "B001")
	tp.wants(t, "B001", RollPicked{Pass: 1}, "first in line is A001")
	tp.s.putBack(tp.entry("B001", PutBack{}), tp.s.Roll("B001")) // stands in it already
	line("B001 put back", "B001", "A001")
	tp.s.Red = nil // a line that has lost its rolls is no way around it, and no crash
	tp.wants(t, "A001", RollPicked{Pass: 2}, "first in line is nobody")
}

// A fresh pass begins with nothing of the pass before.
func TestShiftFreshPassForgets(t *testing.T) {
	t.Parallel()
	r := &Roll{
		ReadCard: true, ReadTape: true, CardAsked: true, TapeMoved: true, Seated: &guard.Volume{}, Scanned: &CardScanned{}, Copy: CopyIsProven,
		Proof: "ab", Copies: provenNotes(), Logged: true, CountShown: true, CountFiles: true, CountSize: true, Out: true,
		Looked: map[string]string{"RAID": "Kim"}, LookTries: map[string]int{"RAID": 1}, LookedBy: "Kim", Marked: true, Binned: true, Reseated: true,
		Lock: &LockNote{Open: true}, Erasing: true,
	}
	NewShift().freshPass(r)
	if d := cmp.Diff(&Roll{Looked: map[string]string{}, LookTries: map[string]int{}}, r); d != "" {
		t.Errorf("(-want +got)\n%s", d)
	}
}

// Put back is for critical steps, and for a roll in hand at pick and return.
func TestShiftPutBackIsForCriticalSteps(t *testing.T) {
	t.Parallel()
	always := []Step{StepSeat, StepStart, StepReseat, StepErase}
	inHand := []Step{StepPick, StepReturn}
	for step := StepPick; step <= StepReturn; step++ {
		for _, place := range []Place{PlaceRedBin, PlaceHand, PlaceReader, PlaceDesk} {
			tp := in(t, StepErase)
			r := tp.s.Roll("A001")
			r.Step, r.Place = step, place
			want := slices.Contains(always, step) || place == PlaceHand && slices.Contains(inHand, step)
			if got := tp.s.puttingBack(tp.entry("A001", PutBack{}), r) == nil; got != want {
				t.Errorf("at %v, %v: put back %v, want %v", step, place, got, want)
			}
		}
	}
	tp := in(t, StepErase)
	tp.must(t, "A001", PutBack{})
	if r := tp.s.Roll("A001"); r.Seated != nil || !r.Out {
		t.Errorf("put back from the erase: seated %v, out %v", r.Seated, r.Out)
	}
	cut := in(t, StepErase)
	cut.must(t, "A001", EraseBegan{})
	cut.run = 2
	cut.must(t, "", RunBegan{})
	if r := cut.s.Roll("A001"); r.Erasing || !r.Partly {
		t.Errorf("after a power cut in the erase: erasing %v, partly %v", r.Erasing, r.Partly)
	}
}
