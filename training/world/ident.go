package world

import (
	"fmt"
	"io/fs"
	"path/filepath"
	"strings"

	"twobin/guard"
)

// cardCapacity is the size of every simulated card, in bytes.
const cardCapacity = 64e9

// Identify implements [guard.Identifier] for the simulated volumes: the card in the reader, and the drives that are
// there. Every other path is an error: a drill knows nothing else.
func (w *World) Identify(p string) (guard.Volume, error) {
	abs, err := filepath.Abs(p)
	if err != nil {
		return guard.Volume{}, fmt.Errorf("identify %s: %w", p, err)
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	slot := filepath.Join(w.dir, readerDir, cardName)
	if within(abs, slot) && w.in != none {
		id := fmt.Sprintf("card-%d-%03d", w.plan.Seed, w.in)
		return guard.Volume{
			Mount: slot, FSType: "simulated", Name: "UNTITLED", ID: "drill:" + id, Disk: "sim-" + id,
			Size: cardCapacity, Free: cardCapacity - w.used(filepath.Join(readerDir, cardName)), Simulated: true,
		}, nil
	}
	for name, d := range w.drives {
		if !within(abs, w.Drive(name)) || d.gone {
			continue
		}
		free := d.Capacity - w.used(filepath.Join(drivesDir, name))
		return guard.Volume{
			Mount: w.Drive(name), FSType: "simulated", Name: name, ID: fmt.Sprintf("drill:%d-%s", w.plan.Seed, name),
			Disk: "sim-" + strings.ToLower(name), Size: d.Capacity, Free: max(0, free), ReadOnly: d.readOnly, Simulated: true,
		}, nil
	}
	return guard.Volume{}, &fs.PathError{Op: "identify", Path: p, Err: fs.ErrNotExist}
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
