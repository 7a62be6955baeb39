package doctor

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"time"

	"golang.org/x/term"

	"twobin/guard"
	"twobin/guard/device"
	"twobin/guard/watch"
)

// Options are what the caller knows of the shift to come.
type Options struct {
	// Home is the data folder; To the destinations, Readers the reader folders that were named.
	Home        string
	To, Readers []string
	// In and Out are the program's standard input and output.
	In, Out *os.File
	// Log takes what is worked around; nil for none.
	Log *slog.Logger
}

// System is the Env of the real machine.
func System(o Options) Env {
	began := time.Now()
	id := &watch.Identifier{Readers: o.Readers, Patience: Patience / 2}
	return Env{
		Home: o.Home, To: o.To, Getenv: os.Getenv,
		Terminal: func() Terminal { return terminalOf(o.In, o.Out) },
		Try:      func(ctx context.Context, dir string) Trial { return try(ctx, dir, id) },
		Clock: func() (time.Time, time.Duration) {
			now := time.Now()
			return now.Round(0), now.Sub(began)
		},
		Wait:     wait,
		Synced:   synced,
		Watch:    func(ctx context.Context) (Watching, error) { return watchOnce(ctx, o) },
		Identify: id.Identify,
		Writable: writable,
		Honesty:  honesty,
		Tool: func(name string) string {
			p, err := exec.LookPath(name)
			if err != nil {
				return ""
			}
			return p
		},
	}
}

func terminalOf(in, out *os.File) Terminal {
	var t Terminal
	if in != nil {
		t.In = term.IsTerminal(int(in.Fd()))
	}
	if out != nil && term.IsTerminal(int(out.Fd())) {
		t.Out = true
		if w, h, err := term.GetSize(int(out.Fd())); err == nil {
			t.Width, t.Height = w, h
		}
	}
	return t
}

func wait(ctx context.Context, d time.Duration) {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
	case <-ctx.Done():
	}
}

// watchOnce starts a watcher as a shift would, lists, and ends it.
func watchOnce(ctx context.Context, o Options) (w Watching, err error) {
	watcher, err := watch.New(watch.Options{Readers: o.Readers, Log: o.Log})
	if err != nil {
		return w, err
	}
	defer func() { err = errors.Join(err, watcher.Close()) }()
	w.Woken = watcher.Woken()
	w.Volumes, err = watcher.Snapshot(ctx)
	return w, err
}

// try makes the data folder if it is missing, writes one file, flushes it, reads it back, and removes what it made.
func try(ctx context.Context, dir string, id guard.Identifier) (t Trial) {
	if dir == "" {
		t.Write = errors.New("no data folder named")
		return t
	}
	made, err := makeAll(dir)
	defer func() {
		for _, d := range made {
			t.Write = errors.Join(t.Write, os.Remove(d))
		}
	}()
	t.Missing = len(made) > 0
	if err != nil {
		t.Write = err
		return t
	}
	if v, err := id.Identify(dir); err == nil {
		t.Volume = v
	}
	f, err := os.CreateTemp(dir, ".doctor-*")
	if err != nil {
		t.Write = err
		return t
	}
	defer func() { t.Write = errors.Join(t.Write, os.Remove(f.Name())) }()
	_, err = f.Write(make([]byte, 64<<10))
	if err != nil {
		t.Write = errors.Join(err, f.Close())
		return t
	}
	began := time.Now()
	t.Flush = f.Sync()
	t.Took = time.Since(began)
	if err := f.Close(); t.Flush == nil {
		t.Flush = err
	}
	if t.Write == nil && t.Flush == nil {
		t.Back, t.Reading = readOnce(ctx, dir, filepath.Base(f.Name()))
	}
	return t
}

// makeAll makes dir and gives the folders that were missing, deepest first.
func makeAll(dir string) (made []string, err error) {
	abs, err := filepath.Abs(dir)
	if err != nil {
		return nil, err
	}
	for p := abs; ; p = filepath.Dir(p) {
		if _, err := os.Stat(p); !errors.Is(err, fs.ErrNotExist) {
			break
		}
		made = append(made, p)
	}
	for i := len(made) - 1; i >= 0; i-- {
		if err := os.Mkdir(made[i], 0o700); err != nil {
			return made[i+1:], err
		}
	}
	return made, nil
}

// readOnce reads a file back as a copy would be.
func readOnce(ctx context.Context, dir, name string) (h guard.Honesty, err error) {
	root, err := device.OpenRoot(dir)
	if err != nil {
		return h, fmt.Errorf("open the data folder: %w", err)
	}
	defer func() { err = errors.Join(err, root.Close()) }()
	back, err := device.ReadBack(ctx, root, name, device.ReadOptions{})
	if err != nil {
		return h, err
	}
	return back.Honesty, nil
}

// honesty opens the folder and asks what kind of file system it lies on; it reads nothing.
func honesty(path string) (h guard.Honesty, err error) {
	root, err := device.OpenRoot(path)
	if err != nil {
		return h, err
	}
	defer func() { err = errors.Join(err, root.Close()) }()
	if root.Local() {
		return guard.FromDevice, nil
	}
	return guard.NotPastCache, nil
}
