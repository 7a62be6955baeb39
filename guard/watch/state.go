package watch

import (
	"path/filepath"
	"strconv"

	"twobin/guard"
)

// Folder is what a reader folder's path leads to now. The zero value: nothing there.
type Folder struct {
	// Present: the path leads to a folder; Filled: it has at least one entry.
	Present, Filled bool
	// Real is the path without symbolic links.
	Real string
	// Dev and Inode are the folder's numbers, Born its birth time in nanoseconds since 1970 (0: not kept).
	Dev, Inode uint64
	Born       int64
}

// id is the identity of the folder itself, see the package comment.
func (f Folder) id() string {
	s := "dir:" + strconv.FormatUint(f.Dev, 10) + ":" + strconv.FormatUint(f.Inode, 10)
	if f.Born != 0 {
		s += ":" + strconv.FormatInt(f.Born, 10)
	}
	return s
}

// look is one reader folder as it stands.
type look struct {
	path   string
	folder Folder
}

// seen is one volume as it stands in the table or in a reader folder.
type seen struct {
	// key is equal as long as it is the same seating of the same volume at the same place.
	key   string
	mount Mount
	// reader is the reader folder's path, empty for others. plain: the folder is no mount point of its own.
	reader string
	plain  bool
	folder Folder
}

// at is the path the volume is reported at.
func (s seen) at() string {
	if s.reader != "" {
		return s.reader
	}
	return s.mount.Point
}

// facts is the volume as far as the tables tell without asking the drive.
func (s seen) facts(disk string) guard.Volume {
	v := guard.Volume{
		Mount: s.at(), Device: s.mount.Source, FSType: s.mount.FSType, ReadOnly: s.mount.ReadOnly, Disk: disk,
		Dev: devNumber(s.mount.Major, s.mount.Minor),
	}
	if s.plain {
		v.Dev, v.ID = s.folder.Dev, s.folder.id()
	}
	return v
}

// gather makes the list of volumes from the visible mounts and the reader folders. prev is the list before: if a file
// system is mounted at several places, the place that was reported before goes on standing for it.
func gather(ms []Mount, looks []look, prev []seen) []seen {
	var out []seen
	taken := make(map[int]bool)   // mounts that stand in a reader
	shown := make(map[device]int) // index into out, -1 for one in a reader
	for _, l := range looks {
		if s, i, ok := seat(ms, l); ok {
			out = append(out, s)
			if i >= 0 {
				taken[i] = true
			}
			if d := s.mount.device(); !s.plain && d != (device{}) {
				shown[d] = -1
			}
		}
	}
	before := make(map[string]bool, len(prev))
	for _, s := range prev {
		before[s.key] = true
	}
	for i, m := range ms {
		if taken[i] || !m.counts() {
			continue
		}
		s := seen{key: m.key(), mount: m}
		d := m.device()
		if d == (device{}) { // no numbers on this platform
			out = append(out, s)
			continue
		}
		j, again := shown[d]
		switch {
		case !again:
			shown[d] = len(out)
			out = append(out, s)
		case j >= 0 && before[s.key] && !before[out[j].key]:
			out[j] = s
		}
	}
	return out
}

// seat says what card a reader folder holds, and which of the mounts is its own (-1: it is a plain folder).
func seat(ms []Mount, l look) (seen, int, bool) {
	if !l.folder.Present {
		return seen{}, -1, false
	}
	on := carrier(ms, l.folder.Real)
	if on >= 0 && ms[on].Point == l.folder.Real {
		m := ms[on]
		s := seen{key: "reader\x00" + l.path + "\x00" + m.key(), mount: m, reader: l.path, folder: l.folder}
		if s.plain = m.part(); s.plain && !l.folder.Filled {
			return seen{}, -1, false
		}
		return s, on, true
	}
	if !l.folder.Filled {
		return seen{}, -1, false
	}
	s := seen{
		key: "reader\x00" + l.path + "\x00" + l.folder.id(), reader: l.path, plain: true, folder: l.folder,
	}
	if on >= 0 {
		s.mount = ms[on]
	}
	return s, -1, true
}

// carrier is the index of the mount that a path without symbolic links lies on: the one with the longest mount point,
// the later one of two equals. -1 if there is none.
func carrier(ms []Mount, real string) int {
	best := -1
	p := filepath.ToSlash(real)
	for i, m := range ms {
		pt := filepath.ToSlash(m.Point)
		if p != pt && !below(p, pt) {
			continue
		}
		if best < 0 || len(pt) >= len(filepath.ToSlash(ms[best].Point)) {
			best = i
		}
	}
	return best
}

// difference compares two lists by key. changed has the new state of volumes that stayed but are read-only now, or no
// longer are.
func difference(was, is []seen) (arrived, gone, changed []seen) {
	old := make(map[string]seen, len(was))
	for _, s := range was {
		old[s.key] = s
	}
	now := make(map[string]bool, len(is))
	for _, s := range is {
		now[s.key] = true
		o, ok := old[s.key]
		switch {
		case !ok:
			arrived = append(arrived, s)
		case o.mount.ReadOnly != s.mount.ReadOnly:
			changed = append(changed, s)
		}
	}
	for _, s := range was {
		if !now[s.key] {
			gone = append(gone, s)
		}
	}
	return arrived, gone, changed
}
