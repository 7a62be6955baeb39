package procedure_test

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"twobin/procedure"
)

// oneGreen is a rig whose one roll lies in the green bin.
func oneGreen(t *testing.T, change ...func(*procedure.Config)) *rig {
	t.Helper()
	r := newRig(t).start(change...).setUp()
	r.card("A001", clips("A001"))
	r.receive("A001")
	r.toStart("A001")
	r.toGreen("A001")
	return r
}

// toLook begins the close and counts, up to the last look.
func (r *rig) toLook() {
	r.tb.Helper()
	r.ask("next", "c")
	r.ask("close.tapes", "1")
	r.ask("close.book", "1")
}

// TestCloseLooksAtCopies: a file that is gone, a drive that is gone, another drive in its place: each is an open point
// with its name, and putting it right and looking again clears it.
func TestCloseLooksAtCopies(t *testing.T) {
	t.Parallel()
	r := oneGreen(t)
	hit, err := filepath.Glob(filepath.Join(r.dir, "raid/*/*/*/A001/notes.txt"))
	if err != nil || len(hit) != 1 {
		t.Fatalf("found %v, %v", hit, err)
	}
	if err := os.Rename(hit[0], hit[0]+".away"); err != nil {
		t.Fatal(err)
	}
	r.toLook()
	r.out.await(t, `on RAID, A001: 3 of 4 files at their size`)
	r.out.await(t, "[close.copies]")
	if err := os.Rename(hit[0]+".away", hit[0]); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(hit[0], []byte("hello, longer"), 0o644); err != nil {
		t.Fatal(err)
	}
	r.say("l")
	r.out.await(t, `on RAID, A001: 3 of 4 files at their size`)
	r.out.await(t, "[close.copies]")
	if err := os.WriteFile(hit[0], []byte("hello"), 0o644); err != nil {
		t.Fatal(err)
	}
	r.mu.Lock()
	r.gone["shuttle"] = true
	r.mu.Unlock()
	r.say("l")
	r.out.await(t, "SHUTTLE was not seen at the last look: not mounted")
	r.out.await(t, "[close.copies]")
	r.mu.Lock()
	delete(r.gone, "shuttle")
	r.mu.Unlock()
	r.say("l")
	r.out.await(t, "the copies of 1 roll stand on 2 drives")
	r.ask("close.done", "c")
	r.out.await(t, "Closing code: ")
	s := r.runner.Shift()
	if !s.Closed || len(s.OpenPoints) != 0 || s.Stood == nil || s.Stood.Rolls != 1 {
		t.Errorf("closed %v, open %q, look %+v", s.Closed, s.OpenPoints, s.Stood)
	}
	if n := r.count("close.looked"); n != 4 {
		t.Errorf("%d looks are journaled, want 4", n)
	}
}

// TestCloseListsWhatDoesNotAddUp: counts that stay wrong are named where the close asks whether it may close with them.
func TestCloseListsWhatDoesNotAddUp(t *testing.T) {
	t.Parallel()
	r := oneGreen(t)
	r.ask("next", "c")
	for _, c := range []struct{ id, first, told, again string }{
		{"close.tapes", "The journal counts otherwise: not 3 tapes.", "1 roll went into the green bin", "count again"},
		{"close.book", "The journal counts otherwise: not 3 lines in the book.", "1 roll logged", "then count again"},
	} {
		r.ask(c.id, "3")
		r.out.await(t, c.first)
		r.out.await(t, c.again)
		if all := r.out.text(); strings.Contains(all, c.told) {
			t.Errorf("%s: the number is told before the second count:\n%s", c.id, all)
		}
		r.ask(c.id, "3")
		r.out.await(t, c.told)
		r.out.await(t, "it is an open point now. To look for what is missing: b")
	}
	r.out.await(t, "open: tapes kept do not match: 3 counted, 1 roll handled")
	r.out.await(t, "open: book lines do not match: 3 counted, 1 roll logged")
	r.out.await(t, "[close.done] It does not add up.")
	r.say("o")
	r.out.await(t, "Closing code: ")
	if got := r.runner.Shift().OpenPoints; len(got) != 2 {
		t.Errorf("open points = %q, want the two counts", got)
	}
}

// TestCloseCountsBack: "b" at a count goes back to work, and the next close counts anew.
func TestCloseCountsBack(t *testing.T) {
	t.Parallel()
	r := oneGreen(t)
	for _, first := range []string{"close.tapes", "close.book"} {
		r.ask("next", "c")
		if first == "close.book" {
			r.ask("close.tapes", "1")
		}
		r.ask(first, "b")
	}
	r.toLook()
	r.out.await(t, "[close.done] Everything adds up.")
	if n := r.count("close.left"); n != 2 {
		t.Errorf("the way back is journaled %d times, want 2", n)
	}
}

// TestCloseWithADriveNotSeen: the shift closes only "with open points", which name the drive; a drive that was dropped
// is not looked for, and leaves its rolls with one copy too few, which is an open point too.
func TestCloseWithADriveNotSeen(t *testing.T) {
	t.Parallel()
	r := oneGreen(t)
	r.mu.Lock()
	r.gone["raid"] = true
	r.mu.Unlock()
	r.toLook()
	r.ask("close.copies", "o")
	r.ask("close.done", "o")
	r.out.await(t, "Closing code: ")
	if s := r.runner.Shift(); len(s.OpenPoints) != 1 || !strings.Contains(s.OpenPoints[0], "RAID was not seen") {
		t.Errorf("open points = %q, want one about RAID", s.OpenPoints)
	}
	other := oneGreen(t)
	other.mu.Lock()
	other.gone["raid"] = true
	other.mu.Unlock()
	other.toLook()
	other.ask("close.copies", "drop RAID")
	other.out.await(t, "Not every roll has its number of proven copies on the drives in use")
	const short = "A001: proven on 1 drive in use (SHUTTLE), 2 needed; also on RAID, dropped"
	other.out.await(t, "open: "+short)
	other.ask("close.done", "o")
	other.out.await(t, "Closing code: ")
	if s := other.runner.Shift(); len(s.OpenPoints) != 1 || s.OpenPoints[0] != short || len(s.Stood.Dests) != 1 {
		t.Errorf("open points = %q, looked at %+v", s.OpenPoints, s.Stood.Dests)
	}
}

// TestCloseBackToWork: the way back is journaled, so that a new run is at work too, and the next close asks all anew.
func TestCloseBackToWork(t *testing.T) {
	t.Parallel()
	r := oneGreen(t)
	r.toLook()
	r.ask("close.done", "b")
	r.out.await(t, "[next]")
	r.stop()
	r.start()
	r.toLook()
	r.ask("close.done", "c")
	r.out.await(t, "Closing code: ")
	if n := r.count("close.left"); n != 1 {
		t.Errorf("the way back is journaled %d times, want 1", n)
	}
}

// TestCloseWritesTheSheet: a sheet that cannot be written is asked about, can be written again, and is an open point
// when it is left; one that is written is named.
func TestCloseWritesTheSheet(t *testing.T) {
	t.Parallel()
	var fault error
	seen := 0
	r := oneGreen(t, func(c *procedure.Config) {
		c.Sheet = func(_ context.Context, s *procedure.Shift) ([]string, error) {
			seen++
			if len(s.Order) != 1 || s.Stood == nil {
				t.Errorf("the sheet is written of %v, look %v", s.Order, s.Stood)
			}
			return []string{"/home/sheets/day.csv", "/home/sheets/day.xlsx"}, fault
		}
	})
	fault = errors.New("no space left")
	r.toLook()
	r.out.await(t, "The log sheet could not be written")
	r.out.await(t, "[close.sheet]")
	r.say("o")
	r.out.await(t, "[close.done]")
	if p := r.runner.Shift().Points(); len(p) != 1 || !strings.Contains(p[0], "no space left") {
		t.Errorf("points = %q, want the sheet", p)
	}
	fault = nil
	r.say("b")
	r.toLook()
	r.out.await(t, "The log sheet is written: /home/sheets/day.csv, .xlsx.")
	r.out.await(t, "[close.done]")
	r.say("note B next week")
	r.out.await(t, "The log sheet is written")
	if seen != 3 {
		t.Errorf("the sheet was written %d times, want 3: a note makes it stale", seen)
	}
	if p := r.runner.Shift().Points(); len(p) != 0 {
		t.Errorf("points = %q", p)
	}
}

// TestCloseWithoutAProof: a proof that is lost cannot be looked for, and that is an open point, not a silent pass.
func TestCloseWithoutAProof(t *testing.T) {
	t.Parallel()
	r := oneGreen(t)
	r.stop()
	names, err := filepath.Glob(filepath.Join(r.dir, "home/proofs/*"))
	if err != nil || len(names) == 0 {
		t.Fatalf("proofs: %v, %v", names, err)
	}
	for _, n := range names {
		if err := os.RemoveAll(n); err != nil {
			t.Fatal(err)
		}
	}
	r.start()
	r.toLook()
	r.out.await(t, "its proof could not be read")
	r.out.await(t, "[close.copies]")
}

// TestNoCardOutsideTheWork: a card that comes during the set-up or the close is not received, and the operator reads where
// it goes and when it is received.
func TestNoCardOutsideTheWork(t *testing.T) {
	t.Parallel()
	const bin = "now: card in its case into the red bin."
	r := newRig(t).start()
	r.out.await(t, "[setup.")
	r.say("arrived A001")
	r.out.await(t, "the set-up is not complete")
	r.out.await(t, bin)
	r.setUp()
	r.ask("next", "c")
	r.ask("close.tapes", "arrived A001")
	r.out.await(t, "the shift is being closed")
	r.out.await(t, bin)
	r.ask("close.tapes", "0")
	r.ask("close.book", "0")
	r.ask("close.done", "b")
	r.receive("A001")
}
