package recheck

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"hash"
	"path/filepath"
	"slices"
	"strings"

	"twobin/guard"
	"twobin/guard/device"
	"twobin/guard/hashes"
	"twobin/guard/manifest"
)

// roll checks one roll. The roll is returned filled as far as the work went.
func (r *run) roll(ctx context.Context, p place) (Roll, error) {
	roll := Roll{Folder: p.shown, Record: ByList, Past: guard.FromDevice}
	root, err := device.OpenRoot(p.parent)
	if err != nil {
		return roll, err
	}
	defer root.Close()
	w := &work{run: r, place: p, root: root, roll: &roll, fixed: map[string]bool{}}
	err = w.check(ctx)
	if !w.readAny {
		roll.Past = guard.NotPastCache // nothing was read: nothing is claimed
	}
	roll.Reading = roll.Past.String()
	slices.SortFunc(roll.Files, func(a, b File) int { return cmp.Compare(a.Path, b.Path) })
	return roll, err
}

func (w *work) check(ctx context.Context) error {
	if err := w.read(ctx); err != nil {
		return err
	}
	if err := w.hashAll(ctx); err != nil {
		return err
	}
	w.renames()
	w.classify()
	w.compareFolders()
	if w.opt.ReadOnly {
		return nil
	}
	if err := w.append(ctx); err != nil {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if errors.Is(err, errGone) {
			return err
		}
		w.roll.faultf("the result could not be recorded: %v", err)
	}
	return nil
}

// hashAll reads every file from the device. A file that cannot be read is noted; a drive that is gone ends the work.
func (w *work) hashAll(ctx context.Context) error {
	scratch := new(device.Scratch)
	defer scratch.Free()
	for _, it := range w.files {
		it.err = w.hash(ctx, it, scratch)
		switch {
		case it.err == nil:
		case ctx.Err() != nil:
			return ctx.Err()
		case !w.root.SameAs(w.place.parent):
			return errGone
		default:
			w.opt.Log.Warn("recheck: cannot read", "file", filepath.Join(w.place.parent, w.rel(it.path)), "cause", it.err)
		}
		w.opt.Meter.change(func(s *Snapshot) { s.FilesDone++ })
	}
	return nil
}

func (w *work) hash(ctx context.Context, it *item, scratch *device.Scratch) error {
	hs := make([]hash.Hash, len(it.more))
	for i, f := range it.more {
		var err error
		if hs[i], err = hashes.New(f); err != nil {
			return err
		}
	}
	read, err := device.ReadBack(ctx, w.root, w.rel(it.path), device.ReadOptions{Extra: hs, Scratch: scratch, Progress: func(n int64) {
		w.roll.Bytes += n
		w.opt.Meter.change(func(s *Snapshot) { s.BytesDone += n })
	}})
	if err != nil {
		return err
	}
	it.sum, it.size = read.Sum, read.Stat.Size
	for i, f := range it.more {
		it.digests = append(it.digests, manifest.Digest{Format: f, Text: hashes.Text(f, hs[i].Sum(nil))})
	}
	w.readAny = true
	if read.Honesty != guard.FromDevice {
		w.roll.Past = read.Honesty
	}
	return nil
}

// renames finds files that were moved: the recorded path is gone, exactly one file without a record has its size and
// digest, and that file fits no other missing one.
func (w *work) renames() {
	fits := map[string][]*item{} // recorded path to candidates
	claims := map[*item]int{}
	type sized struct {
		format, text string
	}
	byDigest := map[sized][]*item{}
	for _, it := range w.files {
		if it.known != nil || it.err != nil {
			continue
		}
		for _, d := range it.computed() {
			byDigest[sized{d.Format, d.Text}] = append(byDigest[sized{d.Format, d.Text}], it)
		}
	}
	for p, k := range w.gone {
		for _, d := range k.Digests {
			c := byDigest[sized{d.Format, d.Text}]
			if len(c) == 0 {
				continue
			}
			for _, it := range c {
				if (k.Size < 0 || k.Size == it.size) && w.scopeOf(it.path) == w.scopeOf(p) && agrees(k, it) {
					fits[p] = append(fits[p], it)
					claims[it]++
				}
			}
			break
		}
	}
	for p, c := range fits {
		if len(c) == 1 && claims[c[0]] == 1 {
			c[0].known, c[0].from = w.gone[p], p
			delete(w.gone, p)
		}
	}
}

// agrees tells whether every recorded digest that was computed is equal.
func agrees(k *manifest.Known, it *item) bool {
	for _, d := range it.computed() {
		if ref := k.Digest(d.Format); ref != "" && ref != d.Text {
			return false
		}
	}
	return true
}

// classify puts every file, on disk or recorded, into its class.
func (w *work) classify() {
	for _, it := range w.files {
		it.class, it.cause = w.class(it)
		w.roll.put(File{Path: it.path, Class: it.class, From: it.from, Cause: it.cause})
	}
	for p := range w.gone {
		w.roll.put(File{Path: p, Class: Missing})
	}
	for dir := range w.knownDirs() {
		w.roll.warnf("the folder %q is recorded and not there", dir)
	}
	slices.Sort(w.roll.Warnings)
	bad := w.roll.Counts
	w.opt.Meter.change(func(s *Snapshot) {
		s.Changed += bad.Changed
		s.Missing += bad.Missing
		s.Other += bad.Unreadable + bad.Unchecked
	})
}

func (w *work) class(it *item) (Class, string) {
	switch {
	case it.err != nil:
		return Unreadable, it.err.Error()
	case it.known == nil && w.unjudged(it.path):
		return Unchecked, "its history cannot be used"
	case it.known == nil:
		return Extra, ""
	case it.known.Size >= 0 && it.known.Size != it.size:
		return Changed, fmt.Sprintf("%d bytes, recorded %d", it.size, it.known.Size)
	}
	compared := false
	for _, d := range it.computed() {
		switch it.known.Digest(d.Format) {
		case "":
		case d.Text:
			compared = true
		default:
			return Changed, d.Format + " differs"
		}
	}
	switch {
	case !compared:
		return Unchecked, "no recorded value that can be computed"
	case it.from != "":
		return Renamed, ""
	}
	return Intact, ""
}

// unjudged tells whether nothing can be said of p because its history is damaged. A roll that has a list has its
// records from there.
func (w *work) unjudged(p string) bool {
	s := w.scopeOf(p)
	return s.h == nil && (s.dir != "" || len(w.place.lists) == 0)
}

// knownDirs are recorded folders that do not stand there, were not moved, and hold no recorded file (those are
// reported as missing themselves).
func (w *work) knownDirs() map[string]bool {
	lost := map[string]bool{}
	for _, s := range w.scopes {
		if s.h == nil {
			continue
		}
		for d := range s.h.Dirs {
			lost[join(s.dir, d)] = true
		}
	}
	for _, d := range w.tree.Dirs {
		delete(lost, d.Path)
	}
	for p := range w.gone {
		dropParents(lost, p)
	}
	for _, it := range w.files {
		if it.from != "" {
			dropParents(lost, it.from)
		}
	}
	for p := range w.tree.Unread {
		for d := range lost {
			if strings.HasPrefix(d, p+"/") {
				delete(lost, d)
			}
		}
	}
	return lost
}

func dropParents(dirs map[string]bool, p string) {
	for i := len(p) - 1; i > 0; i-- {
		if p[i] == '/' {
			delete(dirs, p[:i])
		}
	}
}

var errBusy = errors.New("another process works on this roll")
