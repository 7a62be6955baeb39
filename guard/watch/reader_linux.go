package watch

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"unsafe"

	"golang.org/x/sys/unix"
)

// Folder follows the path, so that the next change wakes us, and only then looks.
func (s *linuxSystem) Folder(path string) (Folder, error) {
	if s.follow != nil {
		if err := s.follow.path(path); err != nil {
			s.log.Warn("reader folder cannot be followed by the kernel", "path", path, "err", err)
		}
	}
	return s.machine.Folder(path)
}

// Folder looks at a folder without leaving a trace in it: O_NOATIME, where we own it (the kernel refuses it to
// others; then listing it may set its access time).
func (machine) Folder(path string) (Folder, error) {
	fd, err := unix.Open(path, unix.O_RDONLY|unix.O_CLOEXEC|unix.O_DIRECTORY|unix.O_NONBLOCK|unix.O_NOATIME, 0)
	if errors.Is(err, unix.EPERM) {
		fd, err = unix.Open(path, unix.O_RDONLY|unix.O_CLOEXEC|unix.O_DIRECTORY|unix.O_NONBLOCK, 0)
	}
	switch {
	case errors.Is(err, unix.ENOENT), errors.Is(err, unix.ENOTDIR), errors.Is(err, unix.ELOOP):
		return Folder{}, nil
	case err != nil:
		return Folder{}, fmt.Errorf("open %s: %w", path, err)
	}
	defer unix.Close(fd)
	var st unix.Statx_t
	err = unix.Statx(fd, "", unix.AT_EMPTY_PATH, unix.STATX_BASIC_STATS|unix.STATX_BTIME, &st)
	if err != nil {
		return Folder{}, fmt.Errorf("stat %s: %w", path, err)
	}
	f := Folder{Present: true, Dev: unix.Mkdev(st.Dev_major, st.Dev_minor), Inode: st.Ino}
	if st.Mask&unix.STATX_BTIME != 0 {
		f.Born = st.Btime.Sec*1e9 + int64(st.Btime.Nsec)
	}
	if f.Real, err = os.Readlink(fmt.Sprintf("/proc/self/fd/%d", fd)); err != nil {
		return Folder{}, fmt.Errorf("resolve %s: %w", path, err)
	}
	if strings.HasSuffix(f.Real, " (deleted)") {
		if _, err := os.Lstat(f.Real); errors.Is(err, fs.ErrNotExist) {
			return Folder{}, nil
		}
	}
	f.Filled, err = anyEntry(fd)
	if err != nil {
		return Folder{}, fmt.Errorf("list %s: %w", path, err)
	}
	return f, nil
}

// anyEntry says whether an open folder has an entry besides itself and its parent.
func anyEntry(fd int) (bool, error) {
	buf := make([]byte, 4096)
	for {
		n, err := unix.ReadDirent(fd, buf)
		if errors.Is(err, unix.EINTR) {
			continue
		}
		if err != nil || n <= 0 {
			return false, err
		}
		if _, count, _ := unix.ParseDirent(buf[:n], 1, nil); count > 0 {
			return true, nil
		}
	}
}

// follower keeps inotify watches on every folder that has a say in where the reader paths lead: each folder on the way,
// also through symbolic links, and the last one. Watching is not reading: it leaves no trace.
type follower struct {
	fd  int
	set sync.Mutex // held while watches are set, which may block on a dying drive
	mu  sync.Mutex // guards names; never held while anything can block
	// names has, by watch, the entries that matter in that folder; an empty name stands for all.
	names map[int32]map[string]bool
	of    map[string]map[int32][]string // by reader path: its watches and their names
}

func newFollower() (*follower, error) {
	fd, err := unix.InotifyInit1(unix.IN_CLOEXEC | unix.IN_NONBLOCK)
	if err != nil {
		return nil, fmt.Errorf("inotify: %w", err)
	}
	return &follower{fd: fd, names: make(map[int32]map[string]bool), of: make(map[string]map[int32][]string)}, nil
}

func (f *follower) Close() error { return unix.Close(f.fd) }

const followed = unix.IN_CREATE | unix.IN_DELETE | unix.IN_MOVED_FROM | unix.IN_MOVED_TO | unix.IN_DELETE_SELF |
	unix.IN_MOVE_SELF | unix.IN_ONLYDIR

// path sets the watches for one reader path anew: new ones first, then those that are no longer on its way are ended.
func (f *follower) path(reader string) error {
	f.set.Lock()
	defer f.set.Unlock()
	way := wayTo(reader)
	mine := make(map[int32][]string)
	var first error
	for _, s := range way {
		wd, err := unix.InotifyAddWatch(f.fd, s.dir, followed)
		if err != nil {
			if !errors.Is(err, unix.ENOENT) && !errors.Is(err, unix.EACCES) && first == nil {
				first = fmt.Errorf("watch %s: %w", s.dir, err)
			}
			continue
		}
		mine[int32(wd)] = append(mine[int32(wd)], s.name)
	}
	old := f.of[reader]
	f.of[reader] = mine
	all := make(map[int32]map[string]bool)
	for _, watches := range f.of {
		for wd, names := range watches {
			if all[wd] == nil {
				all[wd] = make(map[string]bool)
			}
			for _, n := range names {
				all[wd][n] = true
			}
		}
	}
	f.mu.Lock()
	f.names = all
	f.mu.Unlock()
	for wd := range old {
		if all[wd] == nil {
			_, _ = unix.InotifyRmWatch(f.fd, uint32(wd)) // fails if the folder has gone and its watch with it
		}
	}
	return first
}

// stop is one folder on the way of a path, and the entry in it that the path takes ("" in the last one: any).
type stop struct{ dir, name string }

// wayTo walks an absolute path as the kernel does, for at most 40 symbolic links, as far as it leads.
func wayTo(path string) []stop {
	var way []stop
	dir, rest := "/", strings.Split(strings.Trim(filepath.Clean(path), "/"), "/")
	for links := 0; len(rest) > 0; {
		name := rest[0]
		rest = rest[1:]
		switch name {
		case "", ".":
			continue
		case "..":
			dir = filepath.Dir(dir)
			continue
		}
		way = append(way, stop{dir, name})
		next := filepath.Join(dir, name)
		fi, err := os.Lstat(next)
		if err != nil {
			return way
		}
		if fi.Mode()&fs.ModeSymlink == 0 {
			dir = next
			continue
		}
		to, err := os.Readlink(next)
		if links++; err != nil || links > 40 {
			return way
		}
		if filepath.IsAbs(to) {
			dir = "/"
		}
		rest = append(strings.Split(to, "/"), rest...)
	}
	return append(way, stop{dir, ""})
}

// drain takes all events that wait and says whether one of them can matter.
func (f *follower) drain() bool {
	f.mu.Lock()
	defer f.mu.Unlock()
	matters := false
	buf := make([]byte, 16<<10)
	for {
		n, err := unix.Read(f.fd, buf)
		if errors.Is(err, unix.EINTR) {
			continue
		}
		if err != nil || n < unix.SizeofInotifyEvent {
			return matters
		}
		for off := 0; off+unix.SizeofInotifyEvent <= n; {
			e := (*unix.InotifyEvent)(unsafe.Pointer(&buf[off]))
			end := off + unix.SizeofInotifyEvent + int(e.Len)
			if end > n {
				return true
			}
			name := strings.TrimRight(string(buf[off+unix.SizeofInotifyEvent:end]), "\x00")
			names := f.names[e.Wd] // nil for a watch that was set a moment ago: its names come after it
			switch {
			case e.Mask&unix.IN_Q_OVERFLOW != 0:
				matters = true
			case e.Mask&unix.IN_IGNORED != 0:
			case names == nil, name == "", names[""], names[name]:
				matters = true
			}
			off = end
		}
	}
}
