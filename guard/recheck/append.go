package recheck

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"twobin/guard"
	"twobin/guard/hashes"
	"twobin/guard/manifest"
)

// append writes a generation into each history of the roll, those further down first, and notes their names. Histories
// that are broken or came with the card are left as they are. A roll with only a list gets none: nobody has said that
// its files were ever the card's.
func (w *work) append(ctx context.Context) error {
	own := w.scopes[len(w.scopes)-1]
	if own.h == nil || w.fixed[""] {
		if own.h != nil {
			w.roll.warnf("the history came with the card and is not extended")
		}
		return nil
	}
	if !w.root.SameAs(w.place.parent) {
		return errGone
	}
	if w.broken {
		w.roll.faultf("nothing was recorded, because a history further down is broken")
		return nil
	}
	folder, err := w.root.Open(w.place.name)
	if err != nil {
		return err
	}
	defer folder.Close()
	if err := folder.Lock(); err != nil {
		if holder := (*guard.Holder)(nil); errors.As(err, &holder) {
			return fmt.Errorf("%w: %w", errBusy, holder)
		}
		return err
	}
	newest := map[string]manifest.Reference{}
	for i := range w.scopes {
		s := &w.scopes[i]
		if s.h == nil {
			continue
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		if w.fixed[s.dir] {
			last := s.h.Links[len(s.h.Links)-1]
			newest[s.dir] = manifest.Reference{Path: manifest.Folder + "/" + last.Name, C4: last.C4}
			continue
		}
		g, err := w.generation(s, newest)
		if err != nil {
			return err
		}
		name := manifest.Folder + "/" + g.Name
		newest[s.dir] = manifest.Reference{Path: name, C4: g.C4}
		w.roll.Appended = append(w.roll.Appended, join(s.dir, name))
	}
	return nil
}

// generation stages and publishes the next generation of one history.
func (w *work) generation(s *scope, newest map[string]manifest.Reference) (*manifest.Generation, error) {
	at := w.opt.Info.Now()
	patterns := manifest.MergePatterns(s.h.Newest.Ignore, manifest.DefaultIgnore())
	d := &manifest.Draft{Header: w.opt.Info.Header(manifest.InPlace, at, patterns), Format: hashes.XXH64}
	for _, other := range w.scopes {
		if rel, ok := w.directlyBelow(other.dir, s.dir); ok {
			if ref, ok := newest[other.dir]; ok {
				d.Below = append(d.Below, rel)
				d.Header.References = append(d.Header.References, manifest.Reference{Path: rel + "/" + ref.Path, C4: ref.C4})
			}
		}
	}
	slices.SortFunc(d.Header.References, func(a, b manifest.Reference) int { return strings.Compare(a.Path, b.Path) })
	d.Items = w.items(s, at, hashes.XXH64)
	base := w.place.name
	if s.dir != "" {
		base = s.dir[strings.LastIndexByte(s.dir, '/')+1:]
	}
	g, err := manifest.Stage(w.root.OS(), w.rel(s.dir), base, s.h, d)
	if err != nil {
		return nil, err
	}
	return g, g.Publish()
}

// directlyBelow tells whether dir's history lies below that of top with none in between, and its path from there.
func (w *work) directlyBelow(dir, top string) (string, bool) {
	if dir == top || top != "" && !strings.HasPrefix(dir, top+"/") {
		return "", false
	}
	rel := strings.TrimPrefix(dir[len(top):], "/")
	return rel, w.scopeOf(dir).dir == top
}

// items gives the files and folders of one history to the draft. Unreadable files stand in it without a digest, so no
// folder above them gets a hash; files that are not recorded in this history count without being listed.
func (w *work) items(s *scope, at time.Time, format string) func(func(manifest.DraftItem) bool) {
	moved := w.movedFolders(s)
	prefix := s.dir
	if prefix != "" {
		prefix += "/"
	}
	type entry struct {
		path string
		it   *item
		dir  manifest.Item
	}
	var all []entry
	for _, it := range w.files {
		if rel, ok := strings.CutPrefix(it.path, prefix); ok {
			all = append(all, entry{path: rel, it: it})
		}
	}
	for _, d := range w.tree.Dirs {
		if rel, ok := strings.CutPrefix(d.Path, prefix); ok {
			all = append(all, entry{path: rel, dir: d})
		}
	}
	for p := range w.tree.Unread {
		// What cannot be listed has no hash, and so nothing above it.
		if rel, ok := strings.CutPrefix(p+"/\x00", prefix); ok && rel != "" {
			all = append(all, entry{path: rel, it: &item{err: errUnread}})
		}
	}
	slices.SortFunc(all, func(a, b entry) int { return manifest.ComparePaths(a.path, b.path) })
	return func(yield func(manifest.DraftItem) bool) {
		for _, e := range all {
			d := manifest.DraftItem{Path: e.path}
			if e.it == nil {
				d.Dir, d.Modified, d.Previous = true, e.dir.Modified.UTC(), moved[e.path]
			} else {
				w.fill(&d, s, e.it, at, format)
			}
			if !yield(d) {
				return
			}
		}
	}
}

// fill makes a file's part of the draft.
func (w *work) fill(d *manifest.DraftItem, s *scope, it *item, at time.Time, format string) {
	if it.err != nil {
		return
	}
	if text := it.text(format); text != "" {
		raw, err := hashes.Parse(format, text)
		if err != nil {
			panic("recheck: own digest: " + err.Error())
		}
		d.Digest = raw
	}
	// Unchecked: recorded, and nothing of it could be compared. Listing it would make a good value of what was never one.
	if !manifest.CanRecord(d.Path) || w.scopeOf(it.path) != s || it.class == Unchecked {
		return
	}
	hs, failed := manifest.Judge(it.known, it.computed(), at)
	if it.class == Changed && !failed {
		for i := range hs { // the size alone differs: never "verified"
			hs[i].Action = manifest.Failed
		}
	}
	d.File = &manifest.FileRecord{Path: d.Path, Size: it.size, Modified: time.Unix(0, it.mtime).UTC(), Hashes: hs}
	if it.from != "" {
		if rel, ok := strings.CutPrefix(it.from, prefixOf(s.dir)); ok && manifest.CanRecord(rel) {
			d.File.Previous = rel
		}
	}
}

func prefixOf(dir string) string {
	if dir == "" {
		return ""
	}
	return dir + "/"
}

// movedFolders finds recorded folders that are gone and whose recorded files all stand, under the same names, in one
// other folder that is in no record. Paths are relative to the history.
func (w *work) movedFolders(s *scope) map[string]string {
	now := map[string]string{} // recorded path to present path, of moved files
	for _, it := range w.files {
		if it.from != "" && w.scopeOf(it.path) == s {
			now[strings.TrimPrefix(it.from, prefixOf(s.dir))] = strings.TrimPrefix(it.path, prefixOf(s.dir))
		}
	}
	moved := map[string]string{}
	if len(now) == 0 {
		return moved
	}
	there := map[string]bool{}
	for _, d := range w.tree.Dirs {
		there[strings.TrimPrefix(d.Path, prefixOf(s.dir))] = true
	}
	for old := range s.h.Dirs {
		if there[old] {
			continue
		}
		if to, ok := movedTo(old, s.h.Files, now); ok && there[to] && !s.h.Dirs[to] {
			moved[to] = old
		}
	}
	return moved
}

// movedTo is the one folder in which all recorded files of old stand now.
func movedTo(old string, files map[string]*manifest.Known, now map[string]string) (string, bool) {
	to := ""
	for p := range files {
		rest, ok := strings.CutPrefix(p, old+"/")
		if !ok {
			continue
		}
		dir, ok := strings.CutSuffix(now[p], "/"+rest)
		if !ok || to != "" && to != dir {
			return "", false
		}
		to = dir
	}
	return to, to != ""
}
