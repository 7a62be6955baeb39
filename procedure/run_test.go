package procedure_test

import (
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"twobin/guard"
	"twobin/procedure"
	"twobin/procedure/journal"
)

func (r *rig) copies(drive, label, file string) []string {
	r.tb.Helper()
	m, err := filepath.Glob(filepath.Join(r.dir, drive, "Harbour_Lights", "day003_*", label[:1], label, file))
	if err != nil {
		r.tb.Fatal(err)
	}
	return m
}

// One roll from the red bin back to the camera, in plain mode, without the erase.
func TestOneRollToGreenAndBack(t *testing.T) {
	t.Parallel()
	r := newRig(t).start().setUp()
	r.card("A001", clips("A001"))
	r.receive("A001")
	r.toStart("A001")
	r.toGreen("A001")
	r.ask("next", "r")
	r.ask("return.to", "Robin")
	r.out.await(t, "A001 closed")
	for _, drive := range []string{"raid", "shuttle"} {
		if m := r.copies(drive, "A001", "CLIPS/A001C001_R4KQ.mov"); len(m) != 1 {
			t.Errorf("on %s: %v", drive, m)
		}
		if m := r.copies(drive, "A001", "../A001.xxh64"); len(m) != 1 {
			t.Errorf("checksum list on %s: %v", drive, m)
		}
		if m := r.copies(drive, "A001", "ascmhl/0001_*.mhl"); len(m) != 1 {
			t.Errorf("manifest on %s: %v", drive, m)
		}
	}
	roll := r.runner.Shift().Roll("A001")
	if roll.Place != procedure.PlaceReturned || roll.Erased {
		t.Errorf("A001: %v, erased %v", roll.Place, roll.Erased)
	}
	if _, err := os.Stat(filepath.Join(r.dir, "cards/A001/CLIPS/A001C001_R4KQ.mov")); err != nil {
		t.Errorf("the card lost a file: %v", err)
	}
}

// The whole routine with the erase, then the close with its code.
func TestWholeShift(t *testing.T) {
	t.Parallel()
	r := newRig(t).start().setUp()
	r.card("A001", clips("A001"))
	r.receive("A001")
	r.toStart("A001")
	r.toGreen("A001")
	r.toErase("A001")
	r.say("A001") // without the word: nothing happens
	r.out.await(t, "no label was typed")
	r.out.await(t, "[erase.label]")
	r.say("erase A002")
	r.out.await(t, "is not the label")
	r.say("erase a001 ")
	r.out.await(t, "The card is empty")
	r.pull("A001")
	r.out.await(t, "reader: card out")
	r.say("Robin")
	r.out.await(t, "A001 closed")
	left, err := filepath.Glob(filepath.Join(r.dir, "cards/A001/*"))
	if err != nil || len(left) != 0 {
		t.Errorf("left on the card: %v %v", left, err)
	}
	if m := r.copies("raid", "A001", "CLIPS/A001C001_R4KQ.mov"); len(m) != 1 {
		t.Errorf("the copy is gone")
	}
	r.say("close")
	r.ask("close.tapes", "2")
	r.out.await(t, "count again")
	r.ask("close.tapes", "1")
	r.ask("close.book", "1")
	r.ask("close.done", "c")
	shown := r.out.await(t, "Closing code: ")
	_, code, _ := strings.Cut(shown, "Closing code: ")
	r.ask("close.written", "w")
	r.ask("close.code", "AAAA")
	r.out.await(t, "That is not the closing code")
	r.ask("close.written", "w")
	r.out.await(t, "[close.code]")
	r.say(strings.ToLower(code))
	if err := <-r.done; err != nil {
		t.Fatalf("plain: %v", err)
	}
	r.done <- nil
	s := r.runner.Shift()
	if !s.Closed || !s.CodeRight || len(s.OpenPoints) != 0 {
		t.Errorf("closed %v, code right %v, open points %v", s.Closed, s.CodeRight, s.OpenPoints)
	}
	if rep, err := journal.Verify(r.journal); err != nil || !rep.Whole {
		t.Errorf("journal: %v %v", rep, err)
	}
}

// A copy that goes between the fresh look and the typed label: nothing is removed, and the reason is said.
func TestInvariant5CopyGoneWhileTheLabelIsTyped(t *testing.T) {
	t.Parallel()
	r := newRig(t).start().setUp()
	r.card("A001", clips("A001"))
	r.receive("A001")
	r.toStart("A001")
	r.toGreen("A001")
	r.toErase("A001")
	for _, drive := range []string{"raid", "shuttle"} {
		if err := os.RemoveAll(filepath.Join(r.dir, drive, "Harbour_Lights")); err != nil {
			t.Fatal(err)
		}
	}
	r.say("erase A001")
	r.out.await(t, "A001: a proven copy is no longer there as it was.")
	if m, _ := filepath.Glob(filepath.Join(r.dir, "reader/CLIPS/*")); len(m) != 3 {
		t.Errorf("on the card: %v, want its 3 clips", m)
	}
	if r.count("erase.done") != 0 || r.count("erase.stopped") != 1 {
		t.Errorf("done %d, stopped %d", r.count("erase.done"), r.count("erase.stopped"))
	}
}

// Plain mode drops what was typed before the erase was asked: fingers that ran ahead erase nothing.
func TestInvariant5TypeAheadErasesNothing(t *testing.T) {
	t.Parallel()
	r := newRig(t).start().setUp()
	r.card("A001", clips("A001"))
	r.receive("A001")
	r.toStart("A001")
	r.toGreen("A001")
	r.ask("next", "e")
	r.out.await(t, "waiting for the card")
	go r.say("i", "erase A001") // before the card is even in the reader
	r.seat("A001")
	r.out.await(t, "typed too early")
	r.out.await(t, "[erase.label]")
	if r.count("erase.began") != 0 {
		t.Error("an erase began")
	}
	r.say("erase A001")
	r.out.await(t, "The card is empty")
}

// A destination that is the reader, holds it or lies in it is refused before anything is written there.
func TestInvariant2ReaderIsNoDestination(t *testing.T) {
	t.Parallel()
	r := newRig(t).start().setUp()
	r.out.await(t, "[next]")
	if err := os.MkdirAll(filepath.Join(r.dir, "reader/sub"), 0o755); err != nil {
		t.Fatal(err)
	}
	before, err := os.Stat(filepath.Join(r.dir, "reader"))
	if err != nil {
		t.Fatal(err)
	}
	for _, to := range []string{"reader", "reader/sub", "."} {
		r.say("to " + filepath.Join(r.dir, to))
		r.out.await(t, "is the reader, or holds it, or lies in it")
	}
	after, err := os.Stat(filepath.Join(r.dir, "reader"))
	if err != nil || !after.ModTime().Equal(before.ModTime()) {
		t.Errorf("the reader was written to: %v, %v", after.ModTime(), err)
	}
	if n := len(r.runner.Shift().Dests); n != 2 {
		t.Errorf("%d destinations, want 2", n)
	}
}

// Invariant 1, through the program: what is not due is refused, journaled, and changes nothing.
func TestInvariant1OutOfOrderIsRefused(t *testing.T) {
	t.Parallel()
	r := newRig(t).start().setUp()
	r.card("A001", clips("A001"))
	r.out.await(t, "[next]")
	r.say("p")
	r.out.await(t, "holds no roll that is ready")
	r.say("erase A001")
	r.out.await(t, "not asked")
	r.out.await(t, "[next]")
	r.say("put back")
	r.out.await(t, "No roll is under way")
	r.receive("A001")
	r.say("e")
	r.out.await(t, "green bin holds no roll")
	r.toStart("A001")
	r.say("arrived B001")
	r.out.await(t, "Not now")
	r.say("note hello")
	r.out.await(t, "Not in a critical step")
	if n := r.count("refused"); n != 6 {
		t.Errorf("%d refusals in the journal, want 6", n)
	}
	if roll := r.runner.Shift().Roll("A001"); roll.Step != procedure.StepStart || roll.Copy != procedure.CopyNone {
		t.Errorf("A001 is at %v, copy %v", roll.Step, roll.Copy)
	}
}

func TestLabelsDiffer(t *testing.T) {
	t.Parallel()
	r := newRig(t).start().setUp()
	r.receive("A001")
	r.ask("next", "p")
	r.ask("pick.card", "A001")
	r.ask("pick.tape", "A002")
	r.out.await(t, "A001 is on hold: label differs")
	if roll := r.runner.Shift().Roll("A001"); roll.Held == nil || roll.Place != procedure.PlaceRedBin {
		t.Errorf("held %v, place %v", roll.Held, roll.Place)
	}
	// It leaves hold by a fresh pass.
	r.card("A001", clips("A001"))
	r.ask("next", "h")
	r.ask("pick.card", "A001")
	r.ask("pick.tape", "A001")
	r.ask("seat.tape", "t")
	if roll := r.runner.Shift().Roll("A001"); roll.Held != nil || roll.Pass != 2 {
		t.Errorf("held %v, pass %d", roll.Held, roll.Pass)
	}
}

// The same the other way round: the tape is right, the card says something else.
func TestCardSaysAnotherLabel(t *testing.T) {
	t.Parallel()
	r := newRig(t).start().setUp()
	r.receive("A001")
	r.ask("next", "p")
	r.ask("pick.card", "A011")
	r.ask("pick.tape", "A001")
	r.out.await(t, "A001 is on hold: label differs: card says A011, tape says A001")
	if roll := r.runner.Shift().Roll("A001"); roll.Held == nil || roll.Step != procedure.StepPick {
		t.Errorf("held %v at %v", roll.Held, roll.Step)
	}
}

func TestAnotherRollTaken(t *testing.T) {
	t.Parallel()
	r := newRig(t).start().setUp()
	r.receive("A001")
	r.receive("B001")
	r.ask("next", "p")
	r.ask("pick.card", "B001")
	r.ask("pick.tape", "B001")
	r.out.await(t, "You hold B001. First in line is A001.")
	s := r.runner.Shift()
	if s.Red[0] != "A001" || s.Roll("A001").Held != nil {
		t.Errorf("red bin %v", s.Red)
	}
}

func TestDuplicateLabelAndGap(t *testing.T) {
	t.Parallel()
	r := newRig(t).start().setUp()
	r.receive("A001")
	r.ask("next", "arrived A001")
	r.out.await(t, "came in already")
	r.ask("next", "arrived A003")
	r.ask("receive.from", "")
	r.ask("receive.bin", "b")
	r.ask("receive.gap", "still in the camera")
	r.out.await(t, "[next]")
	if n := r.count("gap.asked"); n != 1 {
		t.Errorf("%d gaps asked, want 1", n)
	}
	s := r.runner.Shift()
	if m := s.Missing()["A"]; len(m) != 1 || m[0] != "A002" {
		t.Errorf("missing %v", m)
	}
	if f := s.Roll("A003").From; f != "Robin" {
		t.Errorf("from %q, want the one who brought the last roll", f)
	}
}

// A label far ahead of the last one is read a second time; a list of many numbers is named by its ends.
func TestFarJumpIsReadAgain(t *testing.T) {
	t.Parallel()
	r := newRig(t).start().setUp()
	r.receive("A003")
	r.ask("next", "arrived A900")
	said := r.ask("receive.again", "A004") // it was a slip
	if !strings.Contains(said, "That leaves out A004 to A899, 896 numbers. Read the tape again: which label?") {
		t.Error(said)
	}
	r.ask("receive.from", "")
	r.ask("receive.bin", "b")
	r.ask("next", "arrived A900")
	r.ask("receive.again", "a900")
	r.ask("receive.from", "")
	r.ask("receive.bin", "b")
	if said = r.ask("receive.gap", "the camera was set to 900"); !strings.Contains(said, "Not come in: A005 to A899, 895 numbers.") {
		t.Error(said)
	}
	r.out.await(t, "[next]")
	if o := r.runner.Shift().Order; !slices.Equal(o, []procedure.Label{"A003", "A004", "A900"}) {
		t.Errorf("came in: %v", o)
	}
}

// What cannot be next is not offered; asked for all the same it is answered, and is no step out of its order.
func TestOnlyWhatCanBeNextIsOffered(t *testing.T) {
	t.Parallel()
	r := newRig(t).start().setUp()
	keys := func() (out string) {
		for _, o := range r.runner.View().Prompt.Options {
			out += o.Key
		}
		return out
	}
	r.out.await(t, "[next]")
	if k := keys(); k != "ac" {
		t.Errorf("offered %q, want a and c", k)
	}
	r.say("e")
	r.out.await(t, "The green bin holds no roll for that.")
	r.receive("A001")
	r.out.await(t, "First in the red bin: A001")
	if k := keys(); k != "apc" {
		t.Errorf("offered %q, want a, p and c", k)
	}
	lines, _, err := journal.ReadFile(r.journal)
	if err != nil {
		t.Fatal(err)
	}
	_, entries, err := procedure.Fold(lines)
	if err != nil || r.count("refused") != 1 {
		t.Errorf("%d refusals, %v", r.count("refused"), err)
	}
	for _, e := range entries {
		if ev, ok := e.Event.(procedure.Refused); ok && ev.Asked != "next" {
			t.Errorf("refused: %+v", ev)
		}
	}
}

func TestPutBackFromStartAndLateStart(t *testing.T) {
	t.Parallel()
	r := newRig(t).start().setUp()
	r.card("A001", clips("A001"))
	r.receive("A001")
	r.receive("B001")
	r.toStart("A001")
	r.clock.pass(31 * time.Second)
	r.out.await(t, "Too long since the card was seated")
	r.say("s")
	r.out.await(t, "Too long since seating; put back")
	r.say("put back")
	r.out.await(t, "A001 is put back")
	r.pull("A001")
	s := r.runner.Shift()
	if s.Red[0] != "A001" || s.Roll("A001").Step != procedure.StepPick || s.Roll("A001").TapeMoved {
		t.Errorf("after put back: %v, %+v", s.Red, s.Roll("A001"))
	}
	if m := r.copies("raid", "A001", "*"); len(m) != 0 {
		t.Errorf("something was copied: %v", m)
	}
	if r.count("step.late") != 1 || r.count("copy.began") != 0 {
		t.Errorf("late %d, begun %d", r.count("step.late"), r.count("copy.began"))
	}
	said := func() bool {
		return slices.ContainsFunc(r.runner.View().Notices, func(n procedure.Notice) bool { return n.What == "A001 is put back." })
	}
	if !said() {
		t.Error("that the roll is put back does not stand there any more")
	}
	r.toStart("A001")
	if said() {
		t.Error("the roll was picked again, and it still stands there that it is put back")
	}
	r.toGreen("A001")
}

func TestDeskTooLong(t *testing.T) {
	t.Parallel()
	r := newRig(t).start().setUp()
	r.card("A001", clips("A001"))
	r.receive("A001")
	r.toStart("A001")
	r.say("s")
	r.logCount()
	r.out.await(t, "[pull.desk]")
	r.pull("A001")
	r.out.await(t, "reader: card out")
	r.say("d")
	q := r.out.await(t, "[look.")
	r.clock.pass(3*time.Minute + time.Second)
	r.out.await(t, "lies on the desk too long")
	r.say(r.answerOf(q))
	r.say(r.answerOf(r.out.await(t, "[look.")))
	r.ask("mark.green", "g")
	r.ask("bin.green", "i")
	if n := r.count("step.late"); n != 1 {
		t.Errorf("%d late, want 1", n)
	}
}

func TestSightedCheckFailsTwice(t *testing.T) {
	t.Parallel()
	r := newRig(t).start().setUp()
	r.card("A001", clips("A001"))
	r.receive("A001")
	r.toStart("A001")
	r.say("s")
	r.logCount()
	r.out.await(t, "[pull.desk]")
	r.pull("A001")
	r.out.await(t, "reader: card out")
	r.say("d")
	r.ask("look.RAID", "nope")
	r.out.await(t, "is not what stands there on RAID")
	r.ask("look.RAID", "nope")
	r.out.await(t, "on hold: sighted check failed on RAID")
}

func TestStrayVolumeIsNamedAndLeft(t *testing.T) {
	t.Parallel()
	r := newRig(t).start().setUp()
	r.card("X", clips("X001"))
	r.out.await(t, "[next]")
	r.seat("X")
	r.out.await(t, "A volume appeared that no step waits for")
	if n := r.count("volume.stray"); n != 1 {
		t.Errorf("%d strays, want 1", n)
	}
	if m, _ := filepath.Glob(filepath.Join(r.dir, "raid/*")); len(m) != 0 {
		t.Errorf("something was copied: %v", m)
	}
}

func TestSameCardAgainAndOldFiles(t *testing.T) {
	t.Parallel()
	r := newRig(t).start().setUp()
	r.card("A001", clips("A001"))
	r.receive("A001")
	r.toStart("A001")
	r.toGreen("A001")
	r.receive("A002")
	r.toReader("A002")
	r.seat("A001") // the card of A001, unchanged, under the tape of A002
	r.out.await(t, "the card holds what A001 held")
	r.pull("A001")
	// Recorded on without formatting: old files and new ones.
	r.card("A001", map[string]string{"CLIPS/A002C001_K9TT.mov": "new"})
	r.ask("next", "h")
	r.ask("pick.card", "A002")
	r.ask("pick.tape", "A002")
	r.ask("seat.tape", "t")
	r.out.await(t, "waiting for the card")
	r.seat("A001")
	r.out.await(t, "[start.go]")
	r.say("s")
	r.out.await(t, "belong to A001: it was not formatted since")
}

func TestEmptyAndOddCards(t *testing.T) {
	t.Parallel()
	r := newRig(t).start().setUp()
	if err := os.MkdirAll(filepath.Join(r.dir, "cards/A001"), 0o755); err != nil {
		t.Fatal(err)
	}
	r.receive("A001")
	r.toReader("A001")
	r.seat("A001")
	r.out.await(t, "on hold: the card is empty")
	r.pull("A001")
	r.card("A001", clips("A001"))
	if err := os.Symlink("/", filepath.Join(r.dir, "cards/A001/link")); err != nil {
		t.Skip("no symbolic links here:", err)
	}
	r.ask("next", "h")
	r.ask("pick.card", "A001")
	r.ask("pick.tape", "A001")
	r.ask("seat.tape", "t")
	r.out.await(t, "waiting for the card")
	r.seat("A001")
	r.out.await(t, "holds something that is no file")
}

// An unequal file of the same name on one drive: that drive is refused, its file stays, the roll is on hold.
func TestInvariant3UnequalFileStays(t *testing.T) {
	t.Parallel()
	r := newRig(t).start().setUp()
	r.card("A001", clips("A001"))
	s := r.runner.Shift()
	own := filepath.Join(r.dir, "raid", filepath.FromSlash(s.Folder("A001")), "notes.txt")
	if err := os.MkdirAll(filepath.Dir(own), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(own, []byte("somebody else's"), 0o644); err != nil {
		t.Fatal(err)
	}
	r.receive("A001")
	r.toStart("A001")
	r.say("s")
	r.out.await(t, "A001 on RAID: another file of that name stands there")
	r.out.await(t, "the roll is on hold")
	if b, err := os.ReadFile(own); err != nil || string(b) != "somebody else's" {
		t.Errorf("the file on RAID is %q, %v", b, err)
	}
	roll := r.runner.Shift().Roll("A001")
	if roll.Held == nil || roll.Copy == procedure.CopyIsProven {
		t.Errorf("held %v, copy %v", roll.Held, roll.Copy)
	}
}

// A hold names its roll by the first word of its text, wherever the roll lies; without one it is the roll under way.
func TestHoldByLabel(t *testing.T) {
	t.Parallel()
	r := newRig(t).start().setUp()
	r.card("A001", clips("A001"))
	r.receive("A001")
	r.toStart("A001")
	r.toGreen("A001")
	r.out.await(t, "[next]")
	hold := func(text string) error { return r.runner.Do(t.Context(), procedure.DoHold{Reason: text}) }
	if err := hold("one more take"); err == nil || !strings.Contains(err.Error(), "No roll is under way") {
		t.Errorf("a hold that names no roll: %v", err)
	}
	if err := hold("A001"); err == nil {
		t.Error("a hold without a reason was taken")
	}
	if err := hold("hold A001 one more take"); err != nil {
		t.Error(err)
	}
	if h := r.runner.Shift().Roll("A001").Held; h == nil || h.Reason != "one more take" {
		t.Errorf("held: %+v, want: one more take", h)
	}
}

// A look that was fresh grows old on the screen, too: the lock that is shown says so, and not that every condition holds.
func TestShownLockGrowsOld(t *testing.T) {
	t.Parallel()
	r := newRig(t).start().setUp()
	r.card("A001", clips("A001"))
	r.receive("A001")
	r.toStart("A001")
	r.toGreen("A001")
	r.toErase("A001")
	fresh := func() bool {
		lock := r.runner.View().Lock
		i := slices.IndexFunc(lock, func(c guard.Condition) bool { return c.ID == "L8" })
		if i < 0 {
			t.Fatalf("the lock shown is %+v", lock)
		}
		return lock[i].Holds
	}
	if !fresh() {
		t.Error("right after the look it is shown as too old")
	}
	r.clock.pass(61 * time.Second)
	if fresh() {
		t.Error("61 s after the look it is shown as fresh; the limit is 60 s")
	}
	r.say("erase A001")
	r.out.await(t, "too old")
	r.ask("reseat.look", "l")
	r.ask("erase.label", "erase A001")
	r.out.await(t, "The card is empty")
	for _, n := range r.runner.View().Notices {
		if strings.Contains(n.Safe, "nothing was removed") {
			t.Errorf("the card is empty, and yet it stands there: %+v", n)
		}
	}
}

// The whole name of the file that is asked about is as good as the part that is asked for: it stands nowhere else.
func TestSightedWholeName(t *testing.T) {
	t.Parallel()
	q := procedure.Sighted{Answer: "R4KQ", Name: "A001C001_R4KQ.mov"}
	for answer, want := range map[string]bool{
		"r4kq": true, " R4KQ ": true, "A001C001_R4KQ.mov": true, "a001c001_r4kq": true, "A001C001": false, "R4K": false, "": false, "A001C001_XXXX.mov": false,
	} {
		if got := q.Right(answer); got != want {
			t.Errorf("%q: %v, want %v", answer, got, want)
		}
	}
	if (procedure.Sighted{Answer: "12"}).Right("") {
		t.Error("nothing is right where a number is asked for")
	}
}

// An answer to a question that has gone meanwhile is refused, in other words than one to a question that never came.
func TestLateAnswer(t *testing.T) {
	t.Parallel()
	r := newRig(t).start().setUp()
	r.card("A001", clips("A001"))
	r.receive("A001")
	r.out.await(t, "[next]")
	r.say("p")
	r.out.await(t, "[pick.card]")
	gone := r.runner.View().Prompt
	if gone.ID != "pick.card" {
		t.Fatalf("asked is %s, want the pick", gone.ID)
	}
	r.say("A001")
	r.out.await(t, "[pick.tape]")
	if err := r.runner.Do(t.Context(), procedure.Answer{ID: gone.ID, Seq: gone.Seq, Text: "A001"}); err == nil || !strings.Contains(err.Error(), "not asked any more") {
		t.Errorf("late answer: %v", err)
	}
	if err := r.runner.Do(t.Context(), procedure.Answer{ID: "erase.label", Text: "A001"}); err == nil || !strings.Contains(err.Error(), "That was not asked") {
		t.Errorf("answer to what was never asked: %v", err)
	}
	var asked []string
	for _, e := range r.events() {
		if ev, ok := e.Event.(procedure.Refused); ok {
			asked = append(asked, ev.Asked)
		}
	}
	if want := []string{procedure.LateAnswer + "pick.card", "answer erase.label"}; !slices.Equal(asked, want) {
		t.Errorf("the journal has %q, want %q", asked, want)
	}
}

func TestDestinationGoes(t *testing.T) {
	t.Parallel()
	r := newRig(t).start().setUp()
	r.card("A001", clips("A001"))
	r.receive("A001")
	r.toStart("A001")
	v := r.volume("raid")
	r.vols <- procedure.VolumeChange{Gone: []guard.Volume{v}}
	r.out.await(t, "RAID is no longer there")
	r.say("s")
	r.out.await(t, "1 destination in use, 2 needed")
	r.vols <- procedure.VolumeChange{Arrived: []guard.Volume{v}}
	r.out.await(t, "RAID is back")
	r.say("s")
	r.out.await(t, "[log.serial]")
}

func TestCalledAway(t *testing.T) {
	t.Parallel()
	r := newRig(t).start().setUp()
	r.receive("A001")
	r.out.await(t, "[next]")
	r.say("away")
	r.out.await(t, "called away. You are at: Pick. Next is: Seat.")
	r.say("p")
	r.out.await(t, "say that you are back first")
	r.say("back")
	r.ask("next", "p")
	r.ask("pick.card", "A001")
	r.ask("pick.tape", "A001")
	r.out.await(t, "[seat.tape]")
	r.say("away") // in a critical step it is put back
	r.out.await(t, "A001 is put back")
	if r.count("away.began") != 1 || r.count("away.ended") != 1 || r.count("roll.putback") != 1 {
		t.Errorf("away %d/%d, put back %d", r.count("away.began"), r.count("away.ended"), r.count("roll.putback"))
	}
}

func TestMisfitNoteAndOperator(t *testing.T) {
	t.Parallel()
	r := newRig(t).start().setUp()
	r.receive("A001")
	r.out.await(t, "[next]")
	r.say("misfit the reader stands on the right here", "note A001 ask for the sound report", "note A: gate check at lunch", "note A card came late", "operator Sasha", "why", "help")
	r.out.await(t, "Noted for the trainer")
	r.out.await(t, "why: ")
	r.out.await(t, "put back")
	r.say("p")
	r.out.await(t, "[pick.card]")
	s := r.runner.Shift()
	if len(s.Notes) != 3 || s.Notes[0].Roll != "A001" || s.Notes[1].Camera != "A" || s.Notes[1].Text != "gate check at lunch" || s.Notes[2].Camera != "" || s.Notes[2].Text != "A card came late" || s.Operator != "Sasha" {
		t.Errorf("notes %+v, operator %s", s.Notes, s.Operator)
	}
}

// Invariant 7: an event is on disk before anything of it is shown. A journal that cannot be written stops the work.
func TestInvariant7NothingShownThatIsNotOnDisk(t *testing.T) {
	t.Parallel()
	var fail bool
	r := newRig(t)
	r.start(func(c *procedure.Config) {
		c.OpenBook = func(procedure.ShiftOpened) (procedure.Book, []journal.Line, error) {
			return journal.Open(r.journal, journal.Options{Now: r.clock.now, Wrap: func(f journal.File) journal.File { return failing{f, &fail} }})
		}
	}).setUp()
	r.receive("A001")
	r.out.await(t, "[next]")
	before := len(r.events())
	fail = true
	r.say("p")
	r.out.await(t, "The journal cannot be written")
	if strings.Contains(r.out.text(), "[pick.card]") {
		t.Error("the pick was shown although it is not in the journal")
	}
	if roll := r.runner.Shift().Roll("A001"); roll.Place != procedure.PlaceRedBin {
		t.Errorf("the state has A001 in %v although no line says so", roll.Place)
	}
	if n := len(r.events()); n != before {
		t.Errorf("%d events on disk, want %d", n, before)
	}
	if !errors.Is(r.runner.Broken(), errNoSpace) {
		t.Errorf("broken = %v", r.runner.Broken())
	}
}

var errNoSpace = errors.New("no space left on device")

type failing struct {
	journal.File
	fail *bool
}

func (f failing) Write(b []byte) (int, error) {
	if *f.fail {
		return 0, errNoSpace
	}
	return f.File.Write(b)
}

// Invariant 8, through the program: left at every prompt and started again, the roll is due where the design says.
func TestInvariant8LeftAndStartedAgain(t *testing.T) {
	t.Parallel()
	r := newRig(t).start().setUp()
	r.card("A001", clips("A001"))
	r.receive("A001")
	r.toStart("A001")
	r.say("s")
	r.out.await(t, "[log.serial]")
	r.stop()
	r.start()
	r.pull("A001")
	r.toStart("A001")
	r.say("s")
	r.logCount()
	r.out.await(t, "[pull.desk]")
	r.pull("A001")
	r.out.await(t, "reader: card out")
	r.say("d")
	r.out.await(t, "[look.RAID]")
	r.stop() // on the desk: its check is asked again
	r.start()
	for range 2 {
		r.say(r.answerOf(r.out.await(t, "[look.")))
	}
	r.ask("mark.green", "g")
	r.stop()
	r.start()
	r.ask("bin.green", "i")
	r.stop()
	r.start()
	r.ask("next", "r")
	r.ask("return.to", "Robin")
	r.out.await(t, "A001 closed")
}

// Two processes on one journal: the second is told who has it.
func TestSecondProcessOnTheJournal(t *testing.T) {
	t.Parallel()
	r := newRig(t).start().setUp()
	_, _, err := journal.Open(r.journal, journal.Options{})
	var busy *journal.Busy
	if !errors.As(err, &busy) || busy.PID != os.Getpid() {
		t.Errorf("second open: %v", err)
	}
}

// A no goes with the next answer; it does not stand beside a yes.
func TestOldMessagesGo(t *testing.T) {
	t.Parallel()
	r := newRig(t).start().setUp()
	r.receive("A001")
	r.ask("next", "x")
	r.out.await(t, "is none of the answers")
	r.ask("next", "p")
	r.out.await(t, "[pick.card]")
	for _, n := range r.runner.View().Notices {
		if strings.Contains(n.What, "is none of the answers") {
			t.Errorf("still shown: %+v", n)
		}
	}
}

// TestHoldSaysWhereTheCardIs: a card that sits in the reader has to come out of it, one in the bin does not.
func TestHoldSaysWhereTheCardIs(t *testing.T) {
	t.Parallel()
	r := newRig(t).start().setUp()
	r.card("A001", clips("A001"))
	r.receive("A001")
	r.ask("next", "hold A001 no notes came with it")
	r.out.await(t, "now: red tape on, back into the red bin")
	r.ask("next", "h")
	r.ask("pick.card", "A001")
	r.ask("pick.tape", "A001")
	r.ask("seat.tape", "t")
	r.seat("A001")
	r.ask("start.go", "hold somebody came")
	r.out.await(t, "now: card out of the reader, red tape on, back into the red bin")
}
