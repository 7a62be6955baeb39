//go:build linux || darwin

package guard

import (
	"errors"
	"io/fs"
	"os"

	"golang.org/x/sys/unix"
)

// unixFolder is a folder of the card on a system with openat, fstatat and unlinkat.
type unixFolder struct {
	dir *os.File
	dev uint64
	top bool // the card's own, which is locked
}

// openCard opens the top folder of a card. The path itself may be a link, as a reader's may.
func openCard(path string) (cardFolder, error) {
	dir, err := openQuietly(func(flags int) (int, error) {
		return unix.Open(path, flags|unix.O_RDONLY|unix.O_DIRECTORY|unix.O_CLOEXEC, 0)
	}, path)
	if err != nil {
		return nil, err
	}
	f := &unixFolder{dir: dir}
	self, err := f.Self()
	if err == nil {
		err = lockCard(dir, path)
	}
	if err != nil {
		_ = dir.Close()
		return nil, err
	}
	f.dev, f.top = self.dev, true
	return f, nil
}

// lockCard is LockFolder with the errors of an erase.
func lockCard(dir *os.File, path string) error {
	err := LockFolder(dir)
	holder := (*Holder)(nil)
	switch {
	case err == nil:
		return nil
	case errors.As(err, &holder):
		return &Error{Op: "lock", Item: "card", Kind: KindBusy, Err: holder}
	}
	return &fs.PathError{Op: "lock", Path: path, Err: err}
}

// openQuietly opens without changing the access time, where the system can do that and we may ask for it.
func openQuietly(open func(flags int) (int, error), name string) (*os.File, error) {
	var fd int
	again := func(flags int) error {
		return retry(func() (err error) { fd, err = open(flags); return err })
	}
	err := again(noAccessTime)
	if errors.Is(err, unix.EPERM) && noAccessTime != 0 {
		err = again(0)
	}
	if err != nil {
		return nil, &fs.PathError{Op: "open", Path: name, Err: err}
	}
	return os.NewFile(uintptr(fd), name), nil
}

func (f *unixFolder) fd() int { return int(f.dir.Fd()) }

func (f *unixFolder) Self() (cardEntry, error) {
	var st unix.Stat_t
	if err := retry(func() error { return unix.Fstat(f.fd(), &st) }); err != nil {
		return cardEntry{}, &fs.PathError{Op: "stat", Path: f.dir.Name(), Err: err}
	}
	return entryOf(&st), nil
}

func (f *unixFolder) Stat(name string) (cardEntry, error) {
	var st unix.Stat_t
	err := retry(func() error { return unix.Fstatat(f.fd(), name, &st, unix.AT_SYMLINK_NOFOLLOW) })
	if err != nil {
		return cardEntry{}, &fs.PathError{Op: "stat", Path: name, Err: err}
	}
	return entryOf(&st), nil
}

func (f *unixFolder) Names() ([]string, error) {
	dir, err := openQuietly(func(flags int) (int, error) {
		return unix.Openat(f.fd(), ".", flags|unix.O_RDONLY|unix.O_DIRECTORY|unix.O_CLOEXEC, 0)
	}, ".")
	if err != nil {
		return nil, err
	}
	defer dir.Close()
	return dir.Readdirnames(-1)
}

func (f *unixFolder) Sub(name string) (cardFolder, error) {
	if name == "" || name == "." || name == ".." {
		return nil, &fs.PathError{Op: "open", Path: name, Err: fs.ErrInvalid}
	}
	dir, err := openQuietly(func(flags int) (int, error) { return openBelow(f.fd(), name, flags) }, name)
	if errors.Is(err, unix.EXDEV) {
		return nil, &fs.PathError{Op: "open", Path: name, Err: errMount}
	}
	if err != nil {
		return nil, err
	}
	sub := &unixFolder{dir: dir, dev: f.dev}
	self, err := sub.Self()
	if err == nil && self.dev != f.dev {
		err = &fs.PathError{Op: "open", Path: name, Err: errMount}
	}
	if err != nil {
		_ = dir.Close()
		return nil, err
	}
	return sub, nil
}

func (f *unixFolder) RemoveFile(name string) error { return f.remove(name, 0) }

func (f *unixFolder) RemoveFolder(name string) error { return f.remove(name, unix.AT_REMOVEDIR) }

func (f *unixFolder) remove(name string, flags int) error {
	if err := retry(func() error { return unix.Unlinkat(f.fd(), name, flags) }); err != nil {
		return &fs.PathError{Op: "remove", Path: name, Err: err}
	}
	return nil
}

func (f *unixFolder) Sync() error {
	if err := syncAll(f.fd()); err != nil {
		return &fs.PathError{Op: "sync", Path: f.dir.Name(), Err: err}
	}
	return nil
}

func (f *unixFolder) Close() error {
	if f.top {
		UnlockFolder(f.dir)
	}
	return f.dir.Close()
}

// entryOf translates; the conversions are needed because the fields' types differ between platforms.
func entryOf(st *unix.Stat_t) cardEntry {
	e := cardEntry{
		kind: entryOther, size: st.Size, mtime: st.Mtim.Nano(), //nolint:unconvert // differs by platform
		dev: uint64(st.Dev), ino: uint64(st.Ino), //nolint:unconvert // differs by platform
	}
	switch st.Mode & unix.S_IFMT {
	case unix.S_IFREG:
		e.kind = entryFile
	case unix.S_IFDIR:
		e.kind = entryDir
	}
	return e
}

// retry repeats a call that a signal interrupted.
func retry(call func() error) error {
	for {
		if err := call(); !errors.Is(err, unix.EINTR) {
			return err
		}
	}
}
