package recheck

import (
	"fmt"
	"strings"

	"twobin/guard/hashes"
	"twobin/guard/manifest"
)

// lists adds what the checksum lists beside the roll folder say: the names that no manifest can hold, and all of it if
// there is no history. Where both speak of a file they must agree; the history counts.
func (w *work) lists(known map[string]*manifest.Known, ig manifest.Ignore) error {
	for _, name := range w.place.lists {
		differ, first := 0, ""
		add := func(p string, sum uint64) error {
			p, ok := strings.CutPrefix(p, w.place.name+"/")
			if !ok {
				return fmt.Errorf("%w: %q is not in %s", manifest.ErrList, p, w.place.name)
			}
			if dir, ok := historyOf(p); ok {
				w.fixed[dir] = true
				return nil
			}
			if ig.Ignored(p) {
				return nil
			}
			k := known[p]
			if k == nil && w.former(p) {
				return nil // moved since; the history has it under its present path
			}
			if k == nil {
				k = &manifest.Known{Size: -1}
				known[p] = k
			}
			text := hashes.Text64(sum)
			switch k.Digest(hashes.XXH64) {
			case text:
			case "":
				k.Digests = append(k.Digests, manifest.Digest{Format: hashes.XXH64, Text: text})
			default:
				if differ++; differ == 1 {
					first = p
				}
			}
			return nil
		}
		f, err := manifest.OpenFile(w.root.OS(), name)
		if err == nil {
			err = manifest.ReadList(f, add)
			_ = f.Close() // only read
		}
		if err != nil {
			w.roll.faultf("%s: %v", name, err)
		}
		if differ > 0 {
			w.roll.warnf("%s says otherwise than the earlier record of %d files (first %q); the earlier counts", name, differ, first)
		}
	}
	return nil
}

// historyOf tells whether a path lies in a folder ascmhl, and of which folder's history.
func historyOf(p string) (dir string, ok bool) {
	if strings.HasPrefix(p, manifest.Folder+"/") {
		return "", true
	}
	dir, _, ok = strings.Cut(p, "/"+manifest.Folder+"/")
	return dir, ok
}

// former tells whether a history says that a file was moved away from p.
func (w *work) former(p string) bool {
	for _, s := range w.scopes {
		if rel, ok := strings.CutPrefix(p, prefixOf(s.dir)); ok && s.h != nil && s.h.Former[rel] {
			return true
		}
	}
	return false
}
