package world

import (
	"fmt"
	"io/fs"
	"path/filepath"
	"strings"
	"time"

	"twobin/guard"
)

// Identify implements [guard.Identifier] for the simulated volumes: the card in the reader, and the drives that are
// there. Every other path is an error: a drill knows nothing else.
func (w *World) Identify(p string) (guard.Volume, error) {
	abs, err := filepath.Abs(p)
	if err != nil {
		return guard.Volume{}, fmt.Errorf("identify %s: %w", p, err)
	}
	if w.slot != nil && within(abs, w.slot.path) {
		return w.identifySlot()
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	slot := filepath.Join(w.dir, readerDir, cardName)
	switch {
	case w.in == none:
	case w.slot == nil && within(abs, slot):
		v := w.simulated(w.in, slot)
		v.Free = v.Size - w.about(filepath.Join(readerDir, cardName))
		return v, nil
	}
	for name, d := range w.drives {
		if !within(abs, w.Drive(name)) || d.gone {
			continue
		}
		free := d.Capacity - w.about(filepath.Join(drivesDir, name))
		return guard.Volume{
			Mount: w.Drive(name), FSType: "simulated", Name: name, ID: fmt.Sprintf("drill:%d-%s", w.plan.Seed, name),
			Disk: "sim-" + strings.ToLower(name), Size: d.Capacity, Free: max(0, free), ReadOnly: d.readOnly, Simulated: true,
		}, nil
	}
	return guard.Volume{}, &fs.PathError{Op: "identify", Path: p, Err: fs.ErrNotExist}
}

// simulated is a card of the plan as a volume that is seen at a path.
func (w *World) simulated(card int, at string) guard.Volume {
	id := fmt.Sprintf("card-%d-%03d", w.plan.Seed, card)
	return guard.Volume{
		Mount: at, FSType: "simulated", Name: "UNTITLED", ID: "drill:" + id, Disk: "sim-" + id, Size: w.plan.CardSize, Free: w.plan.CardSize, Simulated: true,
	}
}

// measured is how many bytes a folder held a moment ago.
type measured struct {
	bytes int64
	at    time.Time
}

// about is used, at most a second old: a volume is identified many times in a row, and a full day's drive has a thousand
// files. What decides whether a copy fits asks used. The state is locked.
func (w *World) about(dir string) int64 {
	m, ok := w.sizes[dir]
	if now := time.Now(); !ok || now.Sub(m.at) >= time.Second {
		m = measured{w.used(dir), now}
		w.sizes[dir] = m
	}
	return m.bytes
}

// used is how many bytes a folder of the sandbox holds, as far as it can be read.
func (w *World) used(dir string) int64 {
	var n int64
	_ = fs.WalkDir(w.root.FS(), filepath.ToSlash(dir), func(_ string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return nil //nolint:nilerr // what went away meanwhile takes no room
		}
		if st, err := e.Info(); err == nil {
			n += st.Size()
		}
		return nil
	})
	return n
}

func within(p, dir string) bool {
	rel, err := filepath.Rel(dir, p)
	return err == nil && rel != ".." && !strings.HasPrefix(rel, ".."+string(filepath.Separator))
}
