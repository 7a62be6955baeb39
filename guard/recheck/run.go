package recheck

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"time"

	"twobin/guard"
	"twobin/guard/device"
	"twobin/guard/manifest"
)

// Options say how a recheck works. The zero value reads, and appends generations signed with nothing but the program's
// name.
type Options struct {
	// ReadOnly: nothing is written.
	ReadOnly bool
	// Info signs the generations that are appended.
	Info manifest.Info
	// Meter, if not nil, shows the progress.
	Meter *Meter
	// Now is the clock (wall and monotonic); nil is time.Now.
	Now func() time.Time
	// Log may be nil.
	Log *slog.Logger
}

// Run finds the rolls below path, reads every file of them anew, compares, and appends a generation to each history
// unless opt.ReadOnly. It blocks as long as the drive does, and heeds ctx between blocks.
//
// The report tells what was found; the error only what kept Run from its work: [guard.KindStopped] for ctx,
// [guard.KindGone] when the drive went away, [guard.KindDenied] or [guard.KindReadBack] when path cannot be read. The
// report is filled as far as the work went, with Complete false.
func Run(ctx context.Context, path string, opt Options) (Report, error) {
	if opt.Now == nil {
		opt.Now = time.Now
	}
	if opt.Log == nil {
		opt.Log = slog.New(slog.DiscardHandler)
	}
	if opt.Info.Now == nil {
		opt.Info.Now = opt.Now
	}
	r := &run{opt: opt, rep: Report{Path: path, Began: opt.Now()}}
	err := r.all(ctx, path)
	r.rep.Ended = opt.Now()
	r.rep.Complete = err == nil
	if err != nil {
		return r.rep, fault(ctx, path, err)
	}
	return r.rep, nil
}

type run struct {
	opt Options
	rep Report
}

// errGone says that the path of a roll no longer leads to the folder that was opened.
var errGone = errors.New("the drive is no longer there")

func fault(ctx context.Context, path string, err error) error {
	kind := guard.KindReadBack
	switch {
	case ctx.Err() != nil:
		kind = guard.KindStopped
	case errors.Is(err, errGone):
		kind = guard.KindGone
	case errors.Is(err, os.ErrPermission):
		kind = guard.KindDenied
	case errors.Is(err, os.ErrNotExist):
		kind = guard.KindGone
	}
	return &guard.Error{Op: "recheck", Item: path, Kind: kind, Err: err}
}

func (r *run) all(ctx context.Context, path string) error {
	abs, err := filepath.Abs(path)
	if err != nil {
		return err
	}
	if abs, err = filepath.EvalSymlinks(abs); err != nil {
		return err
	}
	r.rep.Path = abs
	r.opt.Meter.change(func(s *Snapshot) { *s = Snapshot{Counting: true} })
	places, unread, err := find(ctx, abs)
	r.rep.Unread = unread
	if err != nil {
		return err
	}
	if err := r.count(ctx, places); err != nil {
		return err
	}
	for _, p := range places {
		r.opt.Meter.change(func(s *Snapshot) { s.Roll = p.shown })
		roll, err := r.roll(ctx, p)
		r.rep.Rolls = append(r.rep.Rolls, roll)
		if err != nil {
			return fmt.Errorf("%s: %w", p.shown, err)
		}
		r.opt.Meter.change(func(s *Snapshot) { s.RollsDone++ })
	}
	return nil
}

// count sets the meter's totals.
func (r *run) count(ctx context.Context, places []place) error {
	for _, p := range places {
		root, err := device.OpenRoot(p.parent)
		if err != nil {
			return err
		}
		files, bytes, err := manifest.Measure(ctx, root.OS(), p.name, manifest.Ignore{})
		if e := root.Close(); err == nil {
			err = e
		}
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err != nil {
			continue // the roll's own check will say so
		}
		r.opt.Meter.change(func(s *Snapshot) { s.Rolls++; s.Files += files; s.Bytes += bytes })
	}
	r.opt.Meter.change(func(s *Snapshot) { s.Counting, s.Rolls, s.began = false, len(places), r.opt.Now() })
	return nil
}
