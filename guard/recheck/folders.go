package recheck

import (
	"errors"

	"twobin/guard/hashes"
	"twobin/guard/manifest"
)

var errUnread = errors.New("a folder that cannot be listed")

// compareFolders compares the newest recorded folder hashes with those of what stands there. It is asked only where
// every file is intact: anything else is reported already. What differs then is a warning and no damage: the files are what
// they were, and drafts of the standard computed structure hashes otherwise.
func (w *work) compareFolders() {
	for i := range w.scopes {
		s := &w.scopes[i]
		if s.h == nil || !w.allIntact(s) {
			continue
		}
		format := s.folderFormat()
		if format == "" {
			continue
		}
		got, ok := w.folderHashes(s, format)
		if !ok {
			continue
		}
		check := func(dir string, content, structure []manifest.Hash) {
			c, st := textOf(content, format), textOf(structure, format)
			pair, there := got[dir]
			if !there || c == "" || st == "" {
				return
			}
			switch {
			case hashes.Text(format, []byte(pair.Content)) != c:
				w.roll.warnf("every file is intact, and the recorded folder hash of %q does not follow from them", join(s.dir, dir))
			case hashes.Text(format, []byte(pair.Structure)) != st:
				w.roll.warnf("the recorded structure hash of %q differs, its content hash does not: drafts of the standard computed it otherwise", join(s.dir, dir))
			}
		}
		check("", s.h.Newest.RootContent, s.h.Newest.RootStructure)
		for p, d := range s.h.DirHash {
			check(p, d.Content, d.Structure)
		}
	}
}

// allIntact tells whether all files below a history's folder are intact and none is gone.
func (w *work) allIntact(s *scope) bool {
	for _, it := range w.files {
		if it.class != Intact && under(it.path, s.dir) {
			return false
		}
	}
	for p := range w.gone {
		if under(p, s.dir) {
			return false
		}
	}
	return len(w.tree.Unread) == 0
}

func under(p, dir string) bool { return dir == "" || len(p) > len(dir) && p[:len(dir)+1] == dir+"/" }

// folderFormat is the format of the root's hashes.
func (s *scope) folderFormat() string {
	for _, h := range s.h.Newest.RootContent {
		if hashes.Known(h.Format) {
			return h.Format
		}
	}
	return ""
}

func textOf(hs []manifest.Hash, format string) string {
	for _, h := range hs {
		if h.Format == format {
			return h.Text
		}
	}
	return ""
}

// folderHashes computes all folder hashes below a history's folder, or says that a digest is lacking.
func (w *work) folderHashes(s *scope, format string) (map[string]manifest.Pair, bool) {
	got := map[string]manifest.Pair{}
	whole := true
	d := manifest.Draft{Format: format, Items: w.items(s, w.rep.Began, format)}
	err := d.FolderHashes(func(dir string, p manifest.Pair, ok bool) {
		whole = whole && ok
		got[dir] = p
	})
	return got, whole && err == nil
}
