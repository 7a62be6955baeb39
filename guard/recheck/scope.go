package recheck

import (
	"context"
	"errors"
	"io/fs"
	"slices"
	"strings"

	"golang.org/x/text/unicode/norm"

	"twobin/guard/device"
	"twobin/guard/hashes"
	"twobin/guard/manifest"
)

// scope is one history: the roll's own (dir "") or one further down. A file belongs to the deepest scope above it.
type scope struct {
	dir string
	// h is nil for a history that is broken, and for the roll's own if it has only a list.
	h *manifest.History
}

// item is one file on disk or in the record.
type item struct {
	path  string
	size  int64 // on disk
	mtime int64 // nanoseconds since 1970 UTC
	known *manifest.Known
	// more are formats computed beside XXH64.
	more []string
	// What was found. sum and digests are only valid if err is nil.
	sum     uint64
	digests []manifest.Digest
	err     error
	class   Class
	from    string
	cause   string
}

// text is the digest computed in a format, or "".
func (it *item) text(format string) string {
	if it.err != nil {
		return ""
	}
	if format == hashes.XXH64 {
		return hashes.Text64(it.sum)
	}
	for _, d := range it.digests {
		if d.Format == format {
			return d.Text
		}
	}
	return ""
}

// computed is all digests at hand.
func (it *item) computed() []manifest.Digest {
	return append([]manifest.Digest{{Format: hashes.XXH64, Text: hashes.Text64(it.sum)}}, it.digests...)
}

// work is one roll under way.
type work struct {
	*run
	place place
	root  *device.Root
	roll  *Roll
	// scopes, deepest first; the last is the roll's own.
	scopes []scope
	tree   *manifest.Tree
	files  []*item
	// gone are recorded paths that are not on disk.
	gone map[string]*manifest.Known
	// fixed are the folders whose histories are in the checksum list: they came with the card and are not extended.
	fixed map[string]bool
	// broken: a history further down cannot be used.
	broken bool
	// readAny: at least one file was read.
	readAny bool
}

// rel is a path below the roll folder as the device package wants it, from the parent folder on.
func (w *work) rel(p string) string { return join(w.place.name, p) }

// scopeOf is the deepest scope above a path.
func (w *work) scopeOf(p string) *scope {
	for i := range w.scopes {
		if s := &w.scopes[i]; s.dir == "" || strings.HasPrefix(p, s.dir+"/") {
			return s
		}
	}
	return &w.scopes[len(w.scopes)-1]
}

// read gathers the record and what stands on disk.
func (w *work) read(ctx context.Context) error {
	own := scope{}
	var err error
	if w.place.history {
		own.h, err = manifest.ReadHistory(ctx, w.root.OS(), w.place.name)
		switch {
		case ctx.Err() != nil:
			return ctx.Err()
		case err != nil:
			w.roll.faultf("%v", err)
			own.h = nil
		case len(own.h.Links) == 0:
			w.roll.Warnings = append(w.roll.Warnings, own.h.Warnings...)
			own.h = nil
		default:
			w.roll.Record = ByHistory
			w.roll.Generations = len(own.h.Links)
			w.roll.Warnings = append(w.roll.Warnings, own.h.Warnings...)
		}
	}
	if own.h == nil && len(w.place.lists) == 0 && len(w.roll.Faults) == 0 {
		w.roll.faultf("there is no finished record to check by")
	}
	ig, patterns := manifest.Ignore{}, []string(nil)
	if own.h != nil {
		ig, patterns = manifest.NewIgnore(own.h.Newest.Ignore)
		w.roll.Warnings = append(w.roll.Warnings, patterns...)
	}
	w.tree, err = manifest.Walk(ctx, w.root.OS(), w.place.name, ig)
	if errors.Is(err, fs.ErrNotExist) {
		w.tree, err = &manifest.Tree{}, nil // the whole folder is gone
	}
	if err != nil {
		return err
	}
	w.roll.Ignored = w.tree.Ignored
	if err := w.below(ctx); err != nil {
		return err
	}
	w.scopes = append(w.scopes, own)
	known := w.known()
	if err := w.lists(known, ig); err != nil {
		return err
	}
	w.match(known)
	return nil
}

// below reads the histories further down.
func (w *work) below(ctx context.Context) error {
	for _, dir := range w.tree.Histories {
		h, err := manifest.ReadHistory(ctx, w.root.OS(), w.rel(dir))
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err != nil {
			w.roll.faultf("%s: %v", dir, err)
			w.broken, h = true, nil
		} else {
			for _, s := range h.Warnings {
				w.roll.warnf("%s: %s", dir, s)
			}
			if len(h.Links) == 0 {
				continue // never finished: its files belong to the history above
			}
		}
		w.scopes = append(w.scopes, scope{dir, h})
	}
	slices.SortFunc(w.scopes, func(a, b scope) int { return strings.Count(b.dir, "/") - strings.Count(a.dir, "/") })
	return nil
}

// known joins what all histories say, by path below the roll folder.
func (w *work) known() map[string]*manifest.Known {
	all := map[string]*manifest.Known{}
	for _, s := range w.scopes {
		if s.h == nil {
			continue
		}
		for p, k := range s.h.Files {
			p = join(s.dir, p)
			if w.scopeOf(p).dir == s.dir {
				all[p] = k
			}
		}
		for _, ref := range s.h.Newest.References {
			if err := manifest.CheckReference(w.root.OS(), w.rel(s.dir), ref); err != nil {
				w.roll.faultf("%v", err)
			}
		}
	}
	return all
}

// match brings disk and record together.
func (w *work) match(known map[string]*manifest.Known) {
	listOnly := w.scopes[len(w.scopes)-1].h == nil
	defaults, _ := manifest.NewIgnore(manifest.DefaultIgnore())
	for _, f := range w.tree.Files {
		it := &item{path: f.Path, size: f.Size, mtime: f.Modified.UnixNano(), known: known[f.Path]}
		if it.known == nil && listOnly && defaults.Match(f.Path, false) {
			w.roll.Ignored++
			continue
		}
		delete(known, f.Path)
		w.files = append(w.files, it)
	}
	w.gone = known
	w.sameNames()
	for p, err := range w.tree.Unread {
		// What is recorded below a folder that cannot be listed is unreadable, not missing.
		below := 0
		for g := range w.gone {
			if g == p || strings.HasPrefix(g, p+"/") {
				w.roll.put(File{Path: g, Class: Unreadable, Cause: err.Error()})
				delete(w.gone, g)
				below++
			}
		}
		if below == 0 {
			w.roll.faultf("%s cannot be listed: %v", p, err)
		}
	}
	for _, p := range w.tree.Odd {
		if w.gone[p] != nil {
			continue // reported as missing
		}
		w.roll.warnf("%q is neither file nor folder and was not looked into", p)
	}
	w.formats()
}

// sameNames pairs names that differ only in their Unicode form: some systems give names back otherwise than they took
// them.
func (w *work) sameNames() {
	if len(w.gone) == 0 {
		return
	}
	byForm := map[string]string{}
	for p := range w.gone {
		n := norm.NFC.String(p)
		if _, taken := byForm[n]; taken {
			byForm[n] = "" // two: no guess
			continue
		}
		byForm[n] = p
	}
	n := 0
	for _, it := range w.files {
		if it.known != nil {
			continue
		}
		if old := byForm[norm.NFC.String(it.path)]; old != "" && w.gone[old] != nil {
			it.known, it.from = w.gone[old], old
			delete(w.gone, old)
			n++
		}
	}
	if n > 0 {
		w.roll.warnf("%d names differ from the record in their Unicode form only", n)
	}
}

// formats says what is computed for each file: everything recorded for it, and for a file that is in no record what is
// recorded for a missing one of its size, so that a move can be seen.
func (w *work) formats() {
	sizes := map[int64][]string{}
	for _, k := range w.gone {
		for _, d := range k.Digests {
			if !slices.Contains(sizes[k.Size], d.Format) {
				sizes[k.Size] = append(sizes[k.Size], d.Format)
			}
		}
	}
	for _, it := range w.files {
		var want []string
		if it.known != nil {
			for _, d := range it.known.Digests {
				want = append(want, d.Format)
			}
		} else {
			want = append(append(want, sizes[it.size]...), sizes[-1]...)
		}
		for _, f := range want {
			if f != hashes.XXH64 && hashes.Known(f) && !slices.Contains(it.more, f) {
				it.more = append(it.more, f)
			}
		}
	}
}
