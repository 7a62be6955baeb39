package guard

import (
	"fmt"
	"slices"
	"strings"
)

// SystemFolder says whether a folder called name at the top of a file system of this type is part of the file system
// itself: lost+found, which ext2, ext3 and ext4 are made with. No camera writes there, and it is never removed; whether
// a listing has it or not makes no difference. As a rule only root can look into it. Whatever can be seen in it is not
// covered by this: that is a file like any other, proven or unknown.
func SystemFolder(name, fsType string) bool {
	switch fsType {
	case "ext2", "ext3", "ext4":
		return name == "lost+found"
	}
	return false
}

// difference is how two listings differ: counts, and the first path in byte order.
type difference struct {
	added, missing, changed, odd int
	first                        string
}

func (d difference) same() bool { return d.added+d.missing+d.changed+d.odd == 0 }

// String says what differs, in the words of the screen.
func (d difference) String() string {
	var parts []string
	for _, n := range []struct {
		count int
		word  string
	}{{d.added, "new"}, {d.missing, "missing"}, {d.changed, "changed"}, {d.odd, "odd"}} {
		if n.count > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", n.count, n.word))
		}
	}
	return strings.Join(parts, ", ")
}

// note keeps the first path.
func (d *difference) note(path string) {
	if d.first == "" {
		d.first = path
	}
	d.first = min(d.first, path)
}

// compare says how have, as found now, differs from want, as proven: paths, sizes, times and folders. Everything odd
// counts. The order of the listings does not matter; a path that is named twice is a difference.
func compare(want, have Listing, fsType string) difference {
	var d difference
	merge(sorted(want.Files), sorted(have.Files), func(e Entry) string { return e.Path }, func(w, h *Entry) {
		switch {
		case w == nil:
			d.added++
			d.note(h.Path)
		case h == nil:
			d.missing++
			d.note(w.Path)
		case *w != *h:
			d.changed++
			d.note(w.Path)
		}
	})
	wantDirs, haveDirs := ownFolders(want.Dirs, fsType), ownFolders(have.Dirs, fsType)
	merge(wantDirs, haveDirs, func(s string) string { return s }, func(w, h *string) {
		switch {
		case w == nil:
			d.added++
			d.note(*h)
		case h == nil:
			d.missing++
			d.note(*w)
		}
	})
	for _, path := range have.Odd {
		d.odd++
		d.note(path)
	}
	return d
}

// sorted gives files in byte order of their paths, without touching the original.
func sorted(files []Entry) []Entry {
	byPath := func(a, b Entry) int { return strings.Compare(a.Path, b.Path) }
	if slices.IsSortedFunc(files, byPath) {
		return files
	}
	files = slices.Clone(files)
	slices.SortStableFunc(files, byPath)
	return files
}

// ownFolders gives the folders in byte order, without the file system's own.
func ownFolders(dirs []string, fsType string) []string {
	own := make([]string, 0, len(dirs))
	for _, d := range dirs {
		if !SystemFolder(d, fsType) {
			own = append(own, d)
		}
	}
	slices.Sort(own)
	return own
}

// merge walks two lists in the order of their keys and calls pair with what belongs together; nil where one is lacking.
func merge[T any](a, b []T, key func(T) string, pair func(a, b *T)) {
	i, j := 0, 0
	for i < len(a) || j < len(b) {
		switch {
		case j == len(b) || i < len(a) && key(a[i]) < key(b[j]):
			pair(&a[i], nil)
			i++
		case i == len(a) || key(b[j]) < key(a[i]):
			pair(nil, &b[j])
			j++
		default:
			pair(&a[i], &b[j])
			i++
			j++
		}
	}
}
