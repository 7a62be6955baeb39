package world

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
)

// SandboxName is the marker of a sandbox: a file in its top folder. The process that uses the sandbox has it locked.
const SandboxName = "twobin-drill-sandbox"

// waitsName is a file beside the marker while the drill waits to be gone on with after the power cut.
const waitsName = "twobin-drill-waits"

// sandboxPrefix begins the name of every sandbox's folder. No hyphen: a window breaks lines there.
const sandboxPrefix = "twobin_drill_"

// sandboxLine is the marker's first line; the second says the size that the cards were asked to have.
const (
	sandboxLine = "everything in this folder belongs to a twobin drill and may be removed"
	sandboxSize = "fullest card in bytes, 0 for a small one: "
)

// errInUse: another process has the sandbox.
var errInUse = errors.New("another twobin works in it")

// mark writes the marker of a new sandbox. It is locked before it says what it is, so that no other process takes it for
// one that was left behind.
func (w *World) mark() (err error) {
	if w.lock, err = w.root.OpenFile(SandboxName, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o644); err != nil {
		return err
	}
	if err := lockFile(w.lock); err != nil && !errors.Is(err, errors.ErrUnsupported) {
		return err
	}
	_, err = fmt.Fprintf(w.lock, "%s\n%s%d\n", sandboxLine, sandboxSize, w.size)
	return err
}

// takeUp locks the marker of a sandbox that is there, and ends its waiting.
func (w *World) takeUp() (err error) {
	if w.lock, _, err = openMarker(w.root); err != nil {
		return fmt.Errorf("%s is no sandbox of a drill: %w", w.dir, err)
	}
	if err := lockFile(w.lock); err != nil && !errors.Is(err, errors.ErrUnsupported) {
		return fmt.Errorf("%s: %w", w.dir, err)
	}
	if err := w.root.Remove(waitsName); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return nil
}

// waits says in the sandbox that the drill will be gone on with. It is called before the power cut is journaled.
func (w *World) waits() error { return w.root.WriteFile(waitsName, nil, 0o644) }

// marker is what the marker of a sandbox says. whole: all of it was written, by a process that locks it.
type marker struct {
	size  int64
	whole bool
}

// openMarker opens the marker of a sandbox and reads it; the file is closed if there is an error.
func openMarker(root *os.Root) (f *os.File, m marker, err error) {
	st, err := root.Lstat(SandboxName)
	if err != nil {
		return nil, m, err
	}
	if !st.Mode().IsRegular() {
		return nil, m, errors.New("its marker is no file")
	}
	if f, err = root.OpenFile(SandboxName, os.O_RDWR, 0); err != nil {
		return nil, m, err
	}
	if m, err = readMarker(f); err != nil {
		return nil, m, errors.Join(err, f.Close())
	}
	return f, m, nil
}

// readMarker reads a marker. One that says only what the folder is was written by an earlier version, or is being written.
func readMarker(r io.Reader) (m marker, err error) {
	const most = 1 << 10
	b, err := io.ReadAll(io.LimitReader(r, most))
	if err != nil {
		return m, err
	}
	first, rest, _ := strings.Cut(string(b), "\n")
	if first != sandboxLine {
		return m, errors.New("its marker says something else")
	}
	n, ok := strings.CutPrefix(rest, sandboxSize)
	n, end := strings.CutSuffix(n, "\n")
	if size, err := strconv.ParseInt(n, 10, 64); ok && end && err == nil {
		m = marker{size, true}
	}
	return m, nil
}

// SizeOf is the size that the cards of a sandbox were asked to have: [Options.Size] of the run that made it.
func SizeOf(dir string) (int64, error) {
	root, err := os.OpenRoot(dir)
	if err != nil {
		return 0, fmt.Errorf("drill sandbox: %w", err)
	}
	defer root.Close() // only read
	f, m, err := openMarker(root)
	if err != nil {
		return 0, fmt.Errorf("drill sandbox %s: %w", dir, err)
	}
	return m.size, f.Close()
}

// free unlocks and closes a marker; nil is none.
func free(f *os.File) error {
	if f == nil {
		return nil
	}
	if err := unlockFile(f); err != nil && !errors.Is(err, errors.ErrUnsupported) {
		return errors.Join(err, f.Close())
	}
	return f.Close()
}

// Sweep removes sandboxes below a folder (empty: the system's for temporary files) that a killed process has left:
// folders with a sandbox's name and marker whose marker nobody has locked. One that waits to be gone on with after a
// power cut stays, and so does everything else. It gives the folders that it removed.
func Sweep(below string) (removed []string, err error) {
	if below == "" {
		below = os.TempDir()
	}
	root, err := os.OpenRoot(below)
	if err != nil {
		return nil, fmt.Errorf("look for drill sandboxes: %w", err)
	}
	defer root.Close() // what was removed is reported one by one
	es, err := fs.ReadDir(root.FS(), ".")
	if err != nil {
		return nil, fmt.Errorf("look for drill sandboxes: %w", err)
	}
	for _, e := range es {
		if !e.IsDir() || !strings.HasPrefix(e.Name(), sandboxPrefix) {
			continue
		}
		if ok, rmErr := sweepOne(root, e.Name()); rmErr != nil {
			err = errors.Join(err, fmt.Errorf("remove drill sandbox %s: %w", filepath.Join(below, e.Name()), rmErr))
		} else if ok {
			removed = append(removed, filepath.Join(below, e.Name()))
		}
	}
	return removed, err
}

// sweepOne removes one sandbox if it was left behind. Whatever keeps it from being sure leaves it.
func sweepOne(below *os.Root, name string) (removed bool, err error) {
	dir, err := below.OpenRoot(name)
	if err != nil {
		return false, nil //nolint:nilerr // somebody else's
	}
	f, m, err := openMarker(dir)
	if err != nil {
		return false, dir.Close()
	}
	if !m.whole || lockFile(f) != nil {
		return false, errors.Join(f.Close(), dir.Close())
	}
	defer func() { err = errors.Join(err, free(f)) }()
	_, waits := dir.Lstat(waitsName)
	_, there := dir.Lstat(SandboxName) // not removed by its owner meanwhile
	if err := dir.Close(); err != nil || !errors.Is(waits, fs.ErrNotExist) || there != nil {
		return false, err
	}
	return true, below.RemoveAll(name)
}
