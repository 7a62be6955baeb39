package command_test

import (
	"fmt"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"twobin/procedure"
)

// What goes wrong on a day, each driven through the real program in plain mode and full-screen: what the operator reads,
// what the journal keeps, and what stands on the drives.

// has says how many events of the kind of want the journal holds for a roll.
func has[E procedure.Event](es []procedure.Entry, roll procedure.Label) (n int, last E) {
	for _, e := range es {
		if ev, ok := e.Event.(E); ok && e.Roll == roll {
			n, last = n+1, ev
		}
	}
	return n, last
}

// Put back, from both critical steps before the copy: the roll is first in line again, at step 2, and nothing was copied.
func TestPutBackBothWays(t *testing.T) {
	bothWays(t, "", func(t *testing.T, b *bench) {
		b.shift()
		b.receive("A001", "First in the red bin: A001")
		b.receive("A002", "First in the red bin: A001")
		b.toPick("p")
		b.toSeat()
		b.command("put back", "\x1b", "", "A001 is put back")
		b.sees("First in the red bin: A001")
		b.toPick("p")
		b.toSeat()
		b.toStart()
		b.command("put back", "\x1b", "", "A001 is put back")
		b.sees("card out, tape back on the card, red bin, first in line")
		b.out()
		b.toPick("p")
		if rc := b.leave(); rc != 0 {
			t.Errorf("exit code %d", rc)
		}
		s, es := b.folded()
		if n, last := has[procedure.PutBack](es, "A001"); n != 2 || last.Step != "start" {
			t.Errorf("put back %d times, last from %q; want 2, from start", n, last.Step)
		}
		if r := s.Roll("A001"); r.Step != procedure.StepPick || r.Pass != 3 || r.TapeMoved {
			t.Errorf("A001: %+v", r)
		}
		if c := b.copied("A001"); len(c) != 0 {
			t.Errorf("copied: %v", c)
		}
	})
}

// Hold, by the operator and by the program: the reason is shown and kept, the lock says so, and only a fresh pass from
// step 2 leads on.
func TestHoldBothWays(t *testing.T) {
	bothWays(t, "", func(t *testing.T, b *bench) {
		b.shift()
		b.receive("A001", "First in the red bin: A001")
		b.toPick("p")
		b.write("pick.card", "as written on the card", "A001", "Label as written on the tape")
		b.write("pick.tape", "as written on the tape", "A007", "A001 is on hold: label differs: card says A001, tape says A007")
		b.toPick("h")
		b.toSeat()
		b.toStart()
		b.toLog()
		b.command("hold", "\x0f", "case is cracked", "A001 is on hold: case is cracked")
		b.sees("red tape on, back into the red bin. It leaves hold only by a fresh pass.")
		if rc := b.leave(); rc != 0 {
			t.Errorf("exit code %d", rc)
		}
		b.out()
		out, err := exec.Command(binary(t), "lock", "A001", "--home", b.home).CombinedOutput()
		if err == nil || exitCode(err) != "3" || !strings.Contains(string(out), "L6 closed on hold") {
			t.Errorf("twobin lock: %v\n%s", err, out)
		}
		b.again("The red bin is empty")
		b.toPick("h")
		b.sees(b.step(procedure.StepPick))
		s, es := b.folded()
		if n, last := has[procedure.RollHeld](es, "A001"); n != 2 || last.By != "operator" || last.Step != "log" {
			t.Errorf("%d holds, last %+v", n, last)
		}
		if r := s.Roll("A001"); r.Step != procedure.StepPick || r.Proof != "" {
			t.Errorf("A001: %+v", r)
		}
	})
}

// A stray: a volume that comes when no step waits for one is named, journaled and left alone; the same card is taken
// when its step is due.
func TestStrayBothWays(t *testing.T) {
	bothWays(t, "", func(t *testing.T, b *bench) {
		b.shift()
		b.receive("A001", "First in the red bin: A001")
		b.card.mount()
		b.sees("A volume appeared that no step waits for: ") // by its label; on a busy computer by its folder
		b.sees("if it is a card: take it out, tape back on, back into its bin")
		b.out()
		b.toPick("p")
		b.card.mount()
		b.sees("A volume appeared that no step waits for: ") // by its label; on a busy computer by its folder
		b.out()
		b.toSeat()
		b.toStart()
		if rc := b.leave(); rc != 0 {
			t.Errorf("exit code %d", rc)
		}
		_, es := b.folded()
		none, _ := has[procedure.StrayVolume](es, "")
		atPick, last := has[procedure.StrayVolume](es, "A001")
		if none != 1 || atPick != 1 || last.Volume.Mount != b.card.at {
			t.Errorf("strays: %d with no roll under way, %d at A001, %+v", none, atPick, last)
		}
		if c := b.copied("A001"); len(c) != 0 {
			t.Errorf("copied: %v", c)
		}
	})
}

// Late start: past the limit the start is refused, put back is the only way on, and nothing was copied.
func TestLateStartBothWays(t *testing.T) {
	bothWays(t, `start_within = "1s"`, func(t *testing.T, b *bench) {
		b.shift()
		b.receive("A001", "First in the red bin: A001")
		b.toPick("p")
		b.toSeat()
		b.toStart()
		b.sees("Too long since the card was seated.")
		b.sees("card out, tape back on, red bin: put back.")
		b.choose("start.go", "s", "Too long since")
		b.command("put back", "\x1b", "", "A001 is put back")
		b.sees("First in the red bin: A001")
		if rc := b.leave(); rc != 0 {
			t.Errorf("exit code %d", rc)
		}
		s, es := b.folded()
		if n, last := has[procedure.TooLate](es, "A001"); n != 1 || last.Step != "start" || last.LimitMS != 1000 {
			t.Errorf("too late: %d, %+v", n, last)
		}
		if n, _ := has[procedure.CopyBegan](es, "A001"); n != 0 || len(b.copied("A001")) != 0 {
			t.Errorf("copies began: %d, %v", n, b.copied("A001"))
		}
		if r := s.Roll("A001"); r.Step != procedure.StepPick {
			t.Errorf("A001: %+v", r)
		}
	})
}

// A card that lies on the desk too long is named, once, and can still be finished.
func TestDeskTooLongBothWays(t *testing.T) {
	bothWays(t, `desk_within = "1s"`, func(t *testing.T, b *bench) {
		b.shift()
		b.receive("A001", "First in the red bin: A001")
		b.toPick("p")
		b.toSeat()
		b.toStart()
		b.toLog()
		b.toCount()
		b.toPull()
		b.toLook()
		b.sees("A001 lies on the desk too long.")
		b.sees("look, mark, bin: finish it now.")
		b.toMark()
		b.toBin()
		b.toGreen()
		if rc := b.leave(); rc != 0 {
			t.Errorf("exit code %d", rc)
		}
		s, es := b.folded()
		if n, last := has[procedure.TooLate](es, "A001"); n != 1 || last.Step != "desk" || last.LimitMS != 1000 {
			t.Errorf("too late: %d, %+v", n, last)
		}
		if r := s.Roll("A001"); r.Place != procedure.PlaceGreenBin {
			t.Errorf("A001: %+v", r)
		}
	})
}

// A label that was used already is refused: nothing is logged.
func TestDuplicateLabelBothWays(t *testing.T) {
	bothWays(t, "", func(t *testing.T, b *bench) {
		b.shift()
		b.receive("A001", "First in the red bin: A001")
		b.command("arrived", "\x12", "A001", "A001 came in already")
		b.sees("nothing was logged or changed.")
		b.sees("Ask who labelled it.")
		if rc := b.leave(); rc != 0 {
			t.Errorf("exit code %d", rc)
		}
		s, es := b.folded()
		if n, _ := has[procedure.RollReceived](es, "A001"); n != 1 || len(s.Order) != 1 || s.Refusals != 1 {
			t.Errorf("received %d times, order %v, refusals %d", n, s.Order, s.Refusals)
		}
	})
}

// Out of order: a number that has not come in is asked for; the late card goes to the end of the line; and a roll that
// is taken out of its turn is sent back.
func TestOutOfOrderBothWays(t *testing.T) {
	bothWays(t, "", func(t *testing.T, b *bench) {
		b.shift()
		b.receive("A001", "First in the red bin: A001")
		b.receive("A003", "Not come in: A002")
		b.write("receive.gap", "Not come in: A002", "still in the camera", "First in the red bin: A001")
		b.receive("A002", "First in the red bin: A001")
		b.toPick("p")
		b.write("pick.card", "as written on the card", "A003", "Label as written on the tape")
		b.write("pick.tape", "as written on the tape", "A003", "You hold A003. First in line is A001.")
		b.sees("put A003 back into the red bin, take A001.")
		if rc := b.leave(); rc != 0 {
			t.Errorf("exit code %d", rc)
		}
		s, es := b.folded()
		if n, last := has[procedure.GapAsked](es, ""); n != 1 || !slices.Equal(last.Missing, []procedure.Label{"A002"}) || last.Answer != "still in the camera" {
			t.Errorf("gaps: %d, %+v", n, last)
		}
		if !slices.Equal(s.Red, []procedure.Label{"A001", "A003", "A002"}) || len(s.Missing()["A"]) != 0 {
			t.Errorf("red bin %v, missing %v", s.Red, s.Missing())
		}
	})
}

// A second process on the same journal ends at once, says who has it, and writes nothing; the first one goes on.
func TestSecondProcessBothWays(t *testing.T) {
	bothWays(t, "", func(t *testing.T, b *bench) {
		b.shift()
		_, before := b.folded()
		said, rc := b.open().after()
		if rc != 1 || !strings.Contains(said, "another twobin works on this shift") || !strings.Contains(said, fmt.Sprint(b.pid())) {
			t.Errorf("exit code %d, want 1 with process %d:\n%s", rc, b.pid(), said)
		}
		if _, after := b.folded(); len(after) != len(before) {
			t.Errorf("the journal had %d lines, has %d", len(before), len(after))
		}
		b.receive("A001", "First in the red bin: A001")
		if rc := b.leave(); rc != 0 {
			t.Errorf("exit code %d", rc)
		}
		if m, err := filepath.Glob(filepath.Join(b.home, "journals", "*.jsonl")); err != nil || len(m) != 1 {
			t.Errorf("journals: %v %v", m, err)
		}
	})
}

// Killed in every step and started again: the screen names the step that the design says. Invariant 8.
func TestInvariant8KilledInEveryStepBothWays(t *testing.T) {
	bothWays(t, "", func(t *testing.T, b *bench) {
		crash := func(next string) {
			t.Helper()
			_, before := b.folded()
			b.kill()
			b.out()
			b.again(next)
			if _, after := b.folded(); len(after) < len(before) {
				t.Fatalf("the journal had %d lines, has %d", len(before), len(after))
			}
		}
		firstInLine := func() {
			t.Helper()
			crash("First in the red bin: A001")
			if s, _ := b.folded(); s.Roll("A001").Step != procedure.StepPick || s.Roll("A001").Proof != "" {
				t.Fatalf("A001: %+v", s.Roll("A001"))
			}
			b.toPick("p")
			b.sees(b.step(procedure.StepPick))
		}
		b.shift()
		b.command("arrived", "\x12", "A001", "Who hands it over") // receive: not acknowledged yet
		crash("The red bin is empty")
		b.receive("A001", "First in the red bin: A001")
		b.receive("A002", "First in the red bin: A001")
		b.toPick("p")
		walk := []func(){b.toSeat, b.toStart, b.toLog, b.toCount, b.toPull}
		for n := range len(walk) + 1 { // pick, seat, start, log, count, pull
			for _, to := range walk[:n] {
				to()
			}
			firstInLine()
		}
		for _, to := range walk {
			to()
		}
		b.toLook()
		crash(b.step(procedure.StepLook))
		b.toMark()
		crash(b.step(procedure.StepMark))
		b.toBin()
		crash(b.step(procedure.StepBin))
		b.choose("bin.green", "i", "First in the red bin: A002")
		b.toReseat()
		green := func() {
			t.Helper()
			crash("First in the red bin: A002")
			if s, _ := b.folded(); s.Roll("A001").Place != procedure.PlaceGreenBin || s.Roll("A001").Step != procedure.StepReseat {
				t.Fatalf("A001: %+v", s.Roll("A001"))
			}
			b.toReseat()
		}
		green()
		b.choose("reseat.in", "i", "Type the label, read from the tape you kept.")
		green()
		b.choose("reseat.in", "i", "Type the label, read from the tape you kept.")
		b.eraseA001()
		crash("First in the red bin: A002")
		if s, _ := b.folded(); s.Roll("A001").Place != procedure.PlaceGreenBin || s.Roll("A001").Step != procedure.StepReturn || !s.Roll("A001").Erased {
			t.Fatalf("A001: %+v", s.Roll("A001"))
		}
		b.choose("next", "r", b.step(procedure.StepReturn))
		b.write("return.to", "Who takes it?", "Robin", "A001 closed")
		if rc := b.leave(); rc != 0 {
			t.Errorf("exit code %d", rc)
		}
	})
}

// eraseA001 types the label at the erase, and waits for the empty card.
func (b *bench) eraseA001() {
	b.tb.Helper()
	g, ok := b.hands.(glassHands)
	if !ok {
		b.write("erase.label", "", "erase A001", "The card is empty")
		return
	}
	g.enter("A001")
	g.choose("", "\x05", "The card is empty")
}
