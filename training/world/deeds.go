package world

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"slices"
	"time"

	"twobin/guard"
	"twobin/procedure"
	"twobin/training/drill"
	"twobin/training/dummy"
)

// deeds does what is due, one after the other.
func (w *World) deeds(ctx context.Context) {
	for ctx.Err() == nil {
		w.mu.Lock()
		if len(w.queue) == 0 {
			w.mu.Unlock()
			return
		}
		d := w.queue[0]
		w.queue = w.queue[1:]
		w.mu.Unlock()
		if err := w.do(ctx, d); err != nil && ctx.Err() == nil {
			w.log.Error("drill world", "deed", d.Do, "err", err)
			w.say("The drill's sandbox is disturbed: " + procedure.Plain(err.Error()))
		}
	}
}

// say shows one line until the next thing happens.
func (w *World) say(line string) {
	w.mu.Lock()
	w.shown = []string{line}
	desk := w.desk
	w.mu.Unlock()
	if desk != nil {
		desk.Nudge()
	}
}

func (w *World) do(ctx context.Context, d Deed) error {
	if d.After > 0 { // queued before Begin
		w.mu.Lock()
		w.plans([]Deed{d})
		w.mu.Unlock()
		return nil
	}
	switch d.Do {
	case DeedReader:
		if w.slot != nil {
			return w.realReader(ctx)
		}
		return w.reader(ctx)
	case DeedMark:
		if w.slot != nil {
			return w.remark()
		}
		return nil
	case DeedIncident:
		return w.begin(ctx, d.What)
	case DeedBack:
		return w.driveBack(ctx, d.Drive)
	case DeedFree:
		w.mu.Lock()
		if k := w.drives[d.Drive]; k != nil {
			k.Capacity = w.plan.CapacityOf(d.Drive)
		}
		w.mu.Unlock()
		return nil
	case DeedGrow:
		return w.grow(ctx, d.Roll, d.Roll.Card, 0)
	default:
		return fmt.Errorf("deed %d is unknown", d.Do)
	}
}

// reader makes the reader hold what it should: first out, then in.
func (w *World) reader(ctx context.Context) error {
	w.mu.Lock()
	want, have := w.scene.Reader(), w.in
	w.mu.Unlock()
	if want == have {
		return nil
	}
	slot := filepath.Join(readerDir, cardName)
	if have != none {
		was, err := w.Identify(filepath.Join(w.dir, slot))
		if err != nil {
			return err
		}
		w.set(none)
		if err := w.rename(ctx, slot, cardPath(have)); err != nil {
			return err
		}
		w.tell(ctx, procedure.VolumeChange{Gone: []guard.Volume{was}})
	}
	if want == none {
		return nil
	}
	if err := w.rename(ctx, cardPath(want), slot); err != nil {
		return err
	}
	w.set(want)
	now, err := w.Identify(filepath.Join(w.dir, slot))
	if err != nil {
		return err
	}
	w.tell(ctx, procedure.VolumeChange{Arrived: []guard.Volume{now}})
	return nil
}

func (w *World) set(card int) {
	w.mu.Lock()
	w.in = card
	w.mu.Unlock()
}

// rename moves a folder within the sandbox. Where the system keeps a folder that is in use from being moved, it is
// tried again for a while: the runner is about to let go of it.
func (w *World) rename(ctx context.Context, from, to string) error {
	const patience = 5 * time.Second
	end := time.Now().Add(patience)
	for {
		err := w.root.Rename(from, to)
		if err == nil || errors.Is(err, fs.ErrNotExist) || time.Now().After(end) {
			return err
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(50 * time.Millisecond):
		}
	}
}

func (w *World) tell(ctx context.Context, c procedure.VolumeChange) {
	select {
	case w.changes <- c:
	case <-ctx.Done():
	}
}

// begin journals an incident and lets it have its effect; one whose step is over is dropped. It may be called from the media's goroutine as well.
func (w *World) begin(ctx context.Context, i drill.Planned) error {
	w.mu.Lock()
	desk, done := w.desk, w.scene.Begun(i.ID) || w.scene.over[i.ID] || !w.scene.holds(i)
	w.mu.Unlock()
	if done {
		return nil
	}
	text := i.Says
	if i.Dest != "" {
		i.Dest = w.holder(i)
		text = i.Dest
	}
	if i.Kind == drill.PowerCut {
		if err := w.waits(); err != nil {
			return err
		}
	}
	if err := desk.Record(i.Roll, procedure.Incident{Kind: string(i.Kind), ID: i.ID, Text: text}); err != nil {
		return err
	}
	switch i.Kind {
	case drill.NoFolder:
		return w.lose(ctx, i)
	case drill.NewTake:
		r, _ := w.plan.Roll(i.Roll)
		return w.grow(ctx, r, r.Card, newTake)
	case drill.DriveGone:
		return w.driveGone(ctx, i.Dest)
	case drill.PowerCut:
		w.cutOnce.Do(func() { close(w.cut) })
	}
	return nil
}

// holder is the drive that an incident happens to: the planned one if it is in use and, after the copy, holds the roll;
// else the first that does.
func (w *World) holder(i drill.Planned) string {
	w.mu.Lock()
	defer w.mu.Unlock()
	var can []string
	for _, d := range w.scene.shift.Dests {
		if !w.scene.shift.GoneDests[d.Name] {
			can = append(can, d.Name)
		}
	}
	if r := w.scene.shift.Rolls[i.Roll]; r != nil && r.Copy == procedure.CopyIsProven {
		can = nil
		for _, c := range r.Copies {
			if c.Proven {
				can = append(can, c.Name)
			}
		}
	}
	if len(can) == 0 || slices.Contains(can, i.Dest) {
		return i.Dest
	}
	return can[0]
}

// lose takes a roll's folder away from a drive.
func (w *World) lose(ctx context.Context, i drill.Planned) error {
	w.mu.Lock()
	folder := w.scene.shift.Folder(i.Roll)
	w.mu.Unlock()
	from := filepath.Join(drivesDir, i.Dest, filepath.FromSlash(folder))
	return w.rename(ctx, from, filepath.Join(lostDir, i.ID))
}

// grow shoots one more take on a card, where it lies.
func (w *World) grow(ctx context.Context, r drill.Roll, card, take int) error {
	w.mu.Lock()
	at := cardPath(card)
	if w.in == card && w.slot == nil {
		at = filepath.Join(readerDir, cardName)
	}
	w.mu.Unlock()
	_, err := dummy.Grow(ctx, filepath.Join(w.dir, at), w.oneMore(r, take))
	return err
}

// newTake counts the takes before the one that is shot after the offload: its clip numbers are free in every drill.
const newTake = 4

// oneMore is one more take on a roll's card.
func (w *World) oneMore(r drill.Roll, take int) dummy.Roll {
	return dummy.Roll{Label: string(r.Label), Shape: r.Shape, Size: w.plan.Take, Seed: uint64(w.plan.Seed), Take: take, Shot: w.shot}
}

func (w *World) driveGone(ctx context.Context, name string) error {
	v, err := w.Identify(w.Drive(name))
	if err != nil {
		return err
	}
	w.mu.Lock()
	w.drives[name].gone = true
	w.mu.Unlock()
	w.tell(ctx, procedure.VolumeChange{Gone: []guard.Volume{v}})
	return nil
}

func (w *World) driveBack(ctx context.Context, name string) error {
	w.mu.Lock()
	d := w.drives[name]
	if d != nil {
		d.gone = false
	}
	w.mu.Unlock()
	if d == nil {
		return nil
	}
	v, err := w.Identify(w.Drive(name))
	if err != nil {
		return err
	}
	w.tell(ctx, procedure.VolumeChange{Arrived: []guard.Volume{v}})
	return nil
}
