package world

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"twobin/guard"
	"twobin/procedure"
	"twobin/training/drill"
	"twobin/training/dummy"
)

// A slot is a real reader with a real practice card, in place of the simulated ones. One card plays every card of the
// drill: whenever it is seated, it is loaded with what the drill's card holds, before the runner hears of it. It is
// touched only while it carries the marker of package dummy and holds nothing that twobin has not written; another
// volume at its place is looked at for the marker and left alone.
type slot struct {
	// path is where the card is mounted; ident says which volume is there.
	path  string
	ident guard.Identifier
	// card is the volume that was admitted, as the system knows it, while it is in the reader; seen is its top folder. A
	// folder is only looked at, not opened, to know that it is still there: an open one would keep it from being ejected.
	card guard.Volume
	seen fs.FileInfo
	// says is what the trainee has to be told of the reader, empty for nothing.
	says string
}

// newSlot makes a slot for a card that is there and may be used.
func newSlot(path string, ident guard.Identifier) (*slot, error) {
	abs, err := filepath.Abs(path)
	if err != nil {
		return nil, err
	}
	if abs, err = filepath.EvalSymlinks(abs); err != nil {
		return nil, err
	}
	if err := UsableCard(abs, ident); err != nil {
		return nil, err
	}
	seen, err := os.Stat(abs)
	if err != nil {
		return nil, err
	}
	return &slot{path: abs, ident: ident, seen: seen}, nil
}

// still says whether the card that was seen last is there.
func (s *slot) still() bool {
	now, err := os.Stat(s.path)
	return err == nil && os.SameFile(now, s.seen)
}

// everySlot is how often the real reader is looked at.
const everySlot = 300 * time.Millisecond

// UsableCard says whether a practice card that a drill may use is mounted at a path: nil if so. It only reads, and
// nothing but the marker of a volume that has none.
func UsableCard(path string, ident guard.Identifier) error {
	if st, err := os.Stat(path); err != nil {
		return err
	} else if !st.IsDir() {
		return &fs.PathError{Op: "open", Path: path, Err: errors.New("not a folder")}
	}
	v, err := ident.Identify(path)
	if err != nil {
		return err
	}
	if v.ReadOnly {
		return fmt.Errorf("%s cannot be written: its switch, or how it is mounted", path)
	}
	return dummy.Usable(path)
}

// realReader looks at the real reader and lets the runner hear what came or went. Unlike the simulated one it waits for
// the trainee's hands.
func (w *World) realReader(ctx context.Context) error {
	w.mu.Lock()
	s, want, have, admitted := w.slot, w.scene.Reader(), w.in, w.slot.card
	w.mu.Unlock()
	if have != none {
		if s.still() {
			w.slotSays(stillIn(want, have))
			return nil
		}
		was := w.played(have, admitted)
		w.set(none)
		w.slotSays("")
		w.tell(ctx, procedure.VolumeChange{Gone: []guard.Volume{was}})
		return nil
	}
	if want == none {
		w.slotSays("")
		return nil
	}
	err := UsableCard(s.path, s.ident)
	switch {
	case errors.Is(err, dummy.ErrForeign):
		w.slotSays("The card at " + procedure.Plain(s.path) + " holds something that twobin has not written. It is left alone: take it out and look at it.")
		return nil
	case errors.Is(err, dummy.ErrNotMarked) || errors.Is(err, fs.ErrNotExist) || gone(err):
		w.slotSays("Seat the practice card now. None is at " + procedure.Plain(s.path) + " yet; any other card there is left alone.")
		return nil
	case err != nil:
		w.slotSays("The card at " + procedure.Plain(s.path) + " cannot be used: " + procedure.Plain(err.Error()))
		return nil
	}
	if err := dummy.Load(ctx, s.path, filepath.Join(w.dir, cardPath(want)), w.labelOf(want), w.later(want)...); err != nil {
		w.slotSays("The practice card cannot be written: " + procedure.Plain(err.Error()))
		return nil
	}
	v, err := s.ident.Identify(s.path)
	seen, serr := os.Stat(s.path)
	if err != nil || serr != nil {
		return nil //nolint:nilerr // pulled meanwhile: the next look says so
	}
	w.mu.Lock()
	s.card, s.seen = v, seen
	w.mu.Unlock()
	w.set(want)
	w.slotSays("")
	w.tell(ctx, procedure.VolumeChange{Arrived: []guard.Volume{w.played(want, v)}})
	return nil
}

// stillIn is what to say while the card sits in the reader and does not belong there.
func stillIn(want, have int) string {
	if want == have {
		return ""
	}
	return "The card is still in the reader. Eject it on the computer, then pull it."
}

// gone: the path, or the card at it, is not there.
func gone(err error) bool {
	var e *guard.Error
	return errors.As(err, &e) && e.Kind == guard.KindGone
}

// sameCard says whether two sights are of the volume that was admitted.
func sameCard(a, b guard.Volume) bool { return a.ID == b.ID && a.Dev == b.Dev && a.Mount == b.Mount }

// slotSays keeps what the trainee has to be told, and shows it when it is new.
func (w *World) slotSays(line string) {
	w.mu.Lock()
	isNew := w.slot.says != line
	w.slot.says = line
	desk := w.desk
	w.mu.Unlock()
	if isNew && desk != nil {
		desk.Nudge()
	}
}

// labelOf is the label of the first roll on a card, for its marker.
func (w *World) labelOf(card int) string {
	for _, r := range w.plan.Rolls {
		if r.Card == card {
			return string(r.Label)
		}
	}
	return "Z040"
}

// later are the takes that will be shot on a card after its offload.
func (w *World) later(card int) []dummy.Roll {
	var out []dummy.Roll
	for _, r := range w.plan.Rolls {
		if _, ok := w.plan.Of(r.Label, drill.NewTake); ok && r.Card == card {
			out = append(out, w.oneMore(r, newTake))
		}
	}
	return out
}

// played is the practice card, as the system sees it, in the part of one of the drill's cards.
func (w *World) played(card int, v guard.Volume) guard.Volume {
	sim := w.simulated(card, w.slot.path)
	v.Mount, v.Device, v.ID, v.Disk, v.Name, v.Simulated = sim.Mount, "", sim.ID, sim.Disk, sim.Name, true
	return v
}

// identifySlot says what the practice card in the reader is now. The volume at its path has to be the one that was
// admitted. The system is asked without the state's lock: a drive may be slow to answer.
func (w *World) identifySlot() (guard.Volume, error) {
	w.mu.Lock()
	in, admitted := w.in, w.slot.card
	w.mu.Unlock()
	now, err := w.slot.ident.Identify(w.slot.path)
	if err != nil {
		return guard.Volume{}, err
	}
	if in == none || !sameCard(now, admitted) {
		return guard.Volume{}, &fs.PathError{Op: "identify", Path: w.slot.path, Err: fs.ErrNotExist}
	}
	return w.played(in, now), nil
}

// remark gives the practice card its marker back after an erase, so that it can be used again.
func (w *World) remark() error {
	if _, err := w.identifySlot(); err != nil {
		return err
	}
	w.mu.Lock()
	in := w.in
	w.mu.Unlock()
	return dummy.Remark(w.slot.path, filepath.Join(w.dir, cardPath(in)), w.labelOf(in))
}

// slotLines is what the trainee is told of the real reader. The state is locked.
func (w *World) slotLines() []string {
	var out []string
	if !w.scene.shift.Ready {
		line := "The practice card plays every card of this drill."
		if w.slot.still() {
			line += " Eject it and take it out of the reader now: " + procedure.Plain(w.slot.path)
		}
		out = append(out, line)
	}
	if w.slot.says != "" {
		out = append(out, w.slot.says)
	}
	return out
}

// InReader says whether the card belongs in the reader now: for hands in software, with a real reader.
func (w *World) InReader() bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.scene.Reader() != none
}
