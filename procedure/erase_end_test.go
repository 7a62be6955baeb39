package procedure_test

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"twobin/guard"
	"twobin/procedure"
	"twobin/procedure/journal"
)

// fullDisk is a journal whose disk is full when a certain event comes.
type fullDisk struct {
	procedure.Book
	at string
}

func (b *fullDisk) Append(ctx context.Context, ls ...journal.Line) ([]journal.Line, error) {
	for _, l := range ls {
		if l.Event == b.at {
			return nil, &guard.Error{Op: "append to", Item: "journal", Kind: guard.KindNoSpace}
		}
	}
	return b.Book.Append(ctx, ls...)
}

// erases is the rig's media with an erase that ends otherwise.
type erases struct {
	procedure.Media
	done guard.Erased
	err  error
}

func (e *erases) Erase(ctx context.Context, permit *guard.Permit, p *guard.Proof, card guard.Volume) (guard.Erased, error) {
	if e.err != nil {
		return e.done, e.err
	}
	return e.Media.Erase(ctx, permit, p, card)
}

// toErased brings A001 to the typed label, and types it.
func (r *rig) toErased() {
	r.tb.Helper()
	r.setUp()
	r.card("A001", clips("A001"))
	r.receive("A001")
	r.toStart("A001")
	r.toGreen("A001")
	r.toErase("A001")
	r.say("erase A001")
}

// What an erase did is told although the journal cannot take it any more: the card is not as it was. The next run offers no
// second erase.
func TestTheDiskIsFullAtTheEndOfAnErase(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		at   string
		err  error
		says string
		left int
	}{
		{"erase.done", nil, "4 files removed, 0 left.", 0},
		{"erase.stopped", &guard.Error{Op: "erase", Item: "card", Kind: guard.KindErase, Err: errors.New("i/o error")}, "0 files removed, 4 left.", 2},
	} {
		r := newRig(t)
		r.media = &erases{r.media, guard.Erased{Left: 4}, c.err}
		r.start(func(f *procedure.Config) {
			open := f.OpenBook
			f.OpenBook = func(o procedure.ShiftOpened) (procedure.Book, []journal.Line, error) {
				b, ls, err := open(o)
				return &fullDisk{b, c.at}, ls, err
			}
		})
		r.toErased()
		r.out.await(t, "nothing more can be recorded")
		r.out.await(t, "the copies are as they are")
		r.out.await(t, "A001: the erase has ended, and the journal does not say so: "+c.says)
		if strings.Contains(r.out.text(), "cards and copies are as they are") {
			t.Errorf("%s: the card is said to be as it was", c.at)
		}
		if es, err := os.ReadDir(filepath.Join(r.dir, "reader")); err != nil || len(es) != c.left {
			t.Errorf("%s: in the reader stand %v (%v), want %d", c.at, es, err, c.left)
		}
		r.stop()
		r.start()
		r.out.await(t, "A001: its erase was cut off part of the way")
		if roll := r.runner.Shift().Roll("A001"); !roll.Partly || roll.Step != procedure.StepReturn {
			t.Errorf("%s: after a new start %+v", c.at, roll)
		}
		r.stop()
	}
}

// A file whose removal did not return may be gone: it is said, journaled, and the erase is not tried again.
func TestARemovalThatDoesNotReturnIsADoubt(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	r.media = &erases{r.media, guard.Erased{Left: 4, Doubtful: "CLIPS/a.mov"}, &guard.Error{Op: "erase", Item: "card", Kind: guard.KindStalled}}
	r.start()
	r.toErased()
	r.out.await(t, "A001: the card stopped answering while a file was removed.")
	r.out.await(t, "0 files removed, 4 left on the card (of one of these it is not known); the proven copies are untouched.")
	if roll := r.runner.Shift().Roll("A001"); !roll.Partly || roll.Step != procedure.StepReturn {
		t.Errorf("A001: %+v", roll)
	}
	for _, e := range r.events() {
		if ev, ok := e.Event.(procedure.EraseStopped); ok && ev.Doubtful != "CLIPS/a.mov" {
			t.Errorf("journaled: %+v", ev)
		}
	}
}
