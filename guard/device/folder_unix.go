//go:build linux || darwin

package device

import (
	"errors"
	"io"
	"io/fs"
	"os"

	"golang.org/x/sys/unix"

	"twobin/guard"
)

// Folder is a handle on one folder. Names given to it are single entries of that folder, byte for byte.
type Folder struct {
	dir    *os.File
	dev    uint64
	trial  bool // has a temporary name
	locked bool // by Lock
}

// topFolder takes a second handle on what top is on.
func topFolder(top *os.Root) (Folder, error) {
	dir, err := top.Open(".")
	return Folder{dir: dir}, err
}

// fd is the number of the handle; f stays reachable through the caller.
func (f *Folder) fd() int { return int(f.dir.Fd()) }

// again opens the same folder once more, so that it can be closed by itself.
func (f *Folder) again() (*Folder, error) {
	dir, err := f.open(".", unix.O_RDONLY|unix.O_DIRECTORY)
	if err != nil {
		return nil, err
	}
	return &Folder{dir: dir, dev: f.dev}, nil
}

// self describes the folder.
func (f *Folder) self() (Stat, error) {
	var st unix.Stat_t
	if err := retry(func() error { return unix.Fstat(f.fd(), &st) }); err != nil {
		return Stat{}, f.fault("stat", ".", err)
	}
	return statOf(&st), nil
}

// Self describes the folder itself.
func (f *Folder) Self() (Stat, error) { return f.self() }

// Close closes the handle, and ends its lock.
func (f *Folder) Close() error {
	if f.locked {
		guard.UnlockFolder(f.dir)
	}
	return f.dir.Close()
}

// Stat describes the entry called name, without following a link.
func (f *Folder) Stat(name string) (Stat, error) {
	if err := checkName("stat", name); err != nil {
		return Stat{}, err
	}
	var st unix.Stat_t
	err := retry(func() error { return unix.Fstatat(f.fd(), name, &st, unix.AT_SYMLINK_NOFOLLOW) })
	if err != nil {
		return Stat{}, f.fault("stat", name, err)
	}
	return statOf(&st), nil
}

// Sub opens the folder called name. A link, or another file system mounted there, is an error.
func (f *Folder) Sub(name string) (*Folder, error) {
	if err := checkName("open", name); err != nil {
		return nil, err
	}
	dir, err := f.open(name, unix.O_RDONLY|unix.O_DIRECTORY|unix.O_NOFOLLOW)
	if err != nil {
		return nil, err
	}
	sub := &Folder{dir: dir, trial: IsTemp(name)}
	st, err := sub.self()
	if err != nil {
		_ = dir.Close()
		return nil, err
	}
	if sub.dev = st.Dev; f.dev != 0 && sub.dev != f.dev {
		_ = dir.Close()
		return nil, f.fault("open", name, ErrMount)
	}
	return sub, nil
}

// Make makes a folder called name unless there is one; made says which. Anything else of that name is an error.
func (f *Folder) Make(name string) (made bool, err error) {
	if err := checkName("mkdir", name); err != nil {
		return false, err
	}
	err = retry(func() error { return unix.Mkdirat(f.fd(), name, 0o777) })
	if err == nil {
		return true, nil
	}
	if errors.Is(err, unix.EEXIST) {
		if st, e := f.Stat(name); e == nil && st.Type == Dir {
			return false, nil
		}
	}
	return false, f.fault("mkdir", name, err)
}

// List calls yield for every entry, in no order, with up to 1,024 names in memory. Entries that vanish in between are
// left out. The folder's access time does not change where the platform can prevent it.
func (f *Folder) List(yield func(name string, st Stat) error) error {
	dir, err := f.open(".", unix.O_RDONLY|unix.O_DIRECTORY)
	if err != nil {
		return err
	}
	defer dir.Close()
	for {
		names, err := dir.Readdirnames(1024)
		for _, name := range names {
			st, err := f.Stat(name)
			if errors.Is(err, fs.ErrNotExist) {
				continue
			}
			if err != nil {
				return err
			}
			if err := yield(name, st); err != nil {
				return err
			}
		}
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return f.fault("list", ".", err)
		}
	}
}

// RemoveTemp removes the temporary file called name; any other name is refused.
func (f *Folder) RemoveTemp(name string) error {
	if !IsTemp(name) {
		return &fs.PathError{Op: "remove", Path: name, Err: fs.ErrPermission}
	}
	return f.fault("remove", name, retry(func() error { return unix.Unlinkat(f.fd(), name, 0) }))
}

// RemoveTempFolder removes an empty folder with a temporary name; any other name is refused.
func (f *Folder) RemoveTempFolder(name string) error {
	if !IsTemp(name) {
		return &fs.PathError{Op: "remove", Path: name, Err: fs.ErrPermission}
	}
	return f.fault("remove", name, retry(func() error { return unix.Unlinkat(f.fd(), name, unix.AT_REMOVEDIR) }))
}

// RemoveTrial removes the empty folder called name. It is refused unless this folder has itself a temporary name: such a
// folder is where names are tried.
func (f *Folder) RemoveTrial(name string) error {
	if !f.trial {
		return &fs.PathError{Op: "remove", Path: name, Err: fs.ErrPermission}
	}
	return f.fault("remove", name, retry(func() error { return unix.Unlinkat(f.fd(), name, unix.AT_REMOVEDIR) }))
}

// Flush makes the names in the folder durable.
func (f *Folder) Flush() error {
	err := retry(f.dir.Sync)
	// Some FUSE and network file systems have no flush for folders and say so; their names are as durable as they get.
	if errors.Is(err, unix.EINVAL) || errors.Is(err, unix.ENOTSUP) || errors.Is(err, unix.ENOSYS) {
		return nil
	}
	return f.fault("flush folder", ".", err)
}

// SetTime sets the time of the entry called name (or of the folder itself, for ".") to mtime.
func (f *Folder) SetTime(name string, mtime int64) error {
	t := unix.NsecToTimespec(mtime)
	err := retry(func() error {
		return unix.UtimesNanoAt(f.fd(), name, []unix.Timespec{t, t}, unix.AT_SYMLINK_NOFOLLOW)
	})
	return f.fault("set time", name, err)
}

// Lock keeps other processes of this program out of the folder until the handle is closed; see [guard.LockFolder].
func (f *Folder) Lock() error {
	err := guard.LockFolder(f.dir)
	f.locked = f.locked || err == nil
	return f.fault("lock", ".", err)
}

// placeSlowly gives the file a second name and takes the first away: never replaces either. File systems without links
// (FAT over FUSE) get a look and a plain rename; there another program could in theory slip in between.
func (f *Folder) placeSlowly(from, to string) error {
	err := retry(func() error { return unix.Linkat(f.fd(), from, f.fd(), to, 0) })
	if err == nil {
		return retry(func() error { return unix.Unlinkat(f.fd(), from, 0) })
	}
	if errors.Is(err, unix.EEXIST) {
		return err
	}
	var st unix.Stat_t
	if e := unix.Fstatat(f.fd(), to, &st, unix.AT_SYMLINK_NOFOLLOW); e == nil {
		return unix.EEXIST
	} else if !errors.Is(e, unix.ENOENT) {
		return e
	}
	return retry(func() error { return unix.Renameat(f.fd(), from, f.fd(), to) })
}

// openAt opens name with the given flags.
func (f *Folder) openAt(name string, flags int) (*os.File, error) {
	var fd int
	err := retry(func() (err error) {
		fd, err = openat(f.fd(), name, flags|unix.O_CLOEXEC)
		return err
	})
	if errors.Is(err, unix.EXDEV) {
		err = ErrMount
	}
	if err != nil {
		return nil, f.fault("open", name, err)
	}
	return os.NewFile(uintptr(fd), name), nil
}

// fault dresses a system error with operation and name; nil stays nil.
func (f *Folder) fault(op, name string, err error) error {
	if err == nil {
		return nil
	}
	var dressed *fs.PathError
	if errors.As(err, &dressed) {
		return err
	}
	return &fs.PathError{Op: op, Path: name, Err: err}
}

// sameAs compares device and inode number.
func (r *Root) sameAs(path string) bool {
	var st unix.Stat_t
	if err := retry(func() error { return unix.Stat(path, &st) }); err != nil {
		return false
	}
	s := statOf(&st)
	return s.Dev == r.stat.Dev && s.Ino == r.stat.Ino
}

// statFile describes an open file.
func statFile(file *os.File) (Stat, error) {
	var st unix.Stat_t
	if err := retry(func() error { return unix.Fstat(int(file.Fd()), &st) }); err != nil {
		return Stat{}, &fs.PathError{Op: "stat", Path: file.Name(), Err: err}
	}
	return statOf(&st), nil
}

// statOf translates; the conversions are needed because the fields' types differ between platforms.
func statOf(st *unix.Stat_t) Stat {
	s := Stat{Type: Other, Size: st.Size, MTime: st.Mtim.Nano(), Used: int64(st.Blocks) * 512, Dev: uint64(st.Dev), Ino: uint64(st.Ino)} //nolint:unconvert // differs by platform
	switch st.Mode & unix.S_IFMT {
	case unix.S_IFREG:
		s.Type = File
	case unix.S_IFDIR:
		s.Type = Dir
	}
	return s
}

// readAt is one read call at an offset; 0 means the end of the file.
func readAt(file *os.File, b []byte, off int64) (n int, err error) {
	err = retry(func() (err error) { n, err = unix.Pread(int(file.Fd()), b, off); return err })
	return max(n, 0), err
}

// writeAt is one write call at an offset.
func writeAt(file *os.File, b []byte, off int64) (n int, err error) {
	err = retry(func() (err error) { n, err = unix.Pwrite(int(file.Fd()), b, off); return err })
	return max(n, 0), err
}

// retry repeats a call that a signal interrupted.
func retry(call func() error) error {
	for {
		if err := call(); !errors.Is(err, unix.EINTR) {
			return err
		}
	}
}
