//go:build !linux && !darwin

package device

import (
	"errors"
	"io"
	"io/fs"
	"math"
	"os"
	"time"
)

// Folder is a handle on one folder. Names given to it are single entries of that folder.
type Folder struct {
	root  *os.Root
	dev   uint64
	trial bool // has a temporary name
}

func topFolder(top *os.Root) (Folder, error) {
	root, err := top.OpenRoot(".")
	return Folder{root: root}, err
}

func (f *Folder) again() (*Folder, error) {
	root, err := f.root.OpenRoot(".")
	if err != nil {
		return nil, err
	}
	return &Folder{root: root, dev: f.dev}, nil
}

func (f *Folder) self() (Stat, error) {
	info, err := f.root.Stat(".")
	if err != nil {
		return Stat{}, err
	}
	return statOf(info), nil
}

// Self describes the folder itself.
func (f *Folder) Self() (Stat, error) { return f.self() }

// Close closes the handle.
func (f *Folder) Close() error { return f.root.Close() }

// Stat describes the entry called name, without following a link.
func (f *Folder) Stat(name string) (Stat, error) {
	if err := checkName("stat", name); err != nil {
		return Stat{}, err
	}
	info, err := f.root.Lstat(name)
	if err != nil {
		return Stat{}, err
	}
	return statOf(info), nil
}

// Sub opens the folder called name. A link is an error.
func (f *Folder) Sub(name string) (*Folder, error) {
	st, err := f.Stat(name)
	if err != nil {
		return nil, err
	}
	if st.Type != Dir {
		return nil, &fs.PathError{Op: "open", Path: name, Err: errors.New("not a folder")}
	}
	root, err := f.root.OpenRoot(name)
	if err != nil {
		return nil, err
	}
	return &Folder{root: root, dev: f.dev, trial: IsTemp(name)}, nil
}

// Make makes a folder called name unless there is one; made says which. Anything else of that name is an error.
func (f *Folder) Make(name string) (made bool, err error) {
	if err := checkName("mkdir", name); err != nil {
		return false, err
	}
	err = f.root.Mkdir(name, 0o777)
	if errors.Is(err, fs.ErrExist) {
		if st, e := f.Stat(name); e == nil && st.Type == Dir {
			return false, nil
		}
	}
	return err == nil, err
}

// List calls yield for every entry, in no order.
func (f *Folder) List(yield func(name string, st Stat) error) error {
	dir, err := f.root.Open(".")
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
			return err
		}
	}
}

// RemoveTemp removes the temporary file called name; any other name is refused.
func (f *Folder) RemoveTemp(name string) error {
	if !IsTemp(name) {
		return &fs.PathError{Op: "remove", Path: name, Err: fs.ErrPermission}
	}
	return f.root.Remove(name)
}

// RemoveTempFolder removes an empty folder with a temporary name; any other name is refused.
func (f *Folder) RemoveTempFolder(name string) error { return f.RemoveTemp(name) }

// RemoveTrial removes the empty folder called name. It is refused unless this folder has itself a temporary name: such a
// folder is where names are tried.
func (f *Folder) RemoveTrial(name string) error {
	st, err := f.Stat(name)
	if err != nil || !f.trial || st.Type != Dir {
		return errors.Join(err, &fs.PathError{Op: "remove", Path: name, Err: fs.ErrPermission})
	}
	return f.root.Remove(name)
}

// Flush makes the names in the folder durable; here the system does that by itself or not at all.
func (f *Folder) Flush() error { return nil }

// FlushAll does nothing here; files are flushed one by one.
func (f *Folder) FlushAll() error { return nil }

// SetTime sets the time of the entry called name (or of the folder itself, for ".") to mtime.
func (f *Folder) SetTime(name string, mtime int64) error {
	t := time.Unix(0, mtime)
	return f.root.Chtimes(name, t, t)
}

// Lock keeps nobody out here: the platform has no lock on folders.
func (f *Folder) Lock() error { return nil }

func (f *Folder) fault(_, _ string, err error) error { return err }

func (f *Folder) openRead(name string) (file *os.File, direct bool, err error) {
	if st, err := f.Stat(name); err != nil || st.Type != File {
		return nil, false, errors.Join(err, &fs.PathError{Op: "open", Path: name, Err: ErrNotFile})
	}
	file, err = f.root.Open(name)
	return file, false, err
}

func (f *Folder) create(name string, _ bool) (file *os.File, isDirect bool, err error) {
	file, err = f.root.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
	return file, false, err
}

// place gives the file a second name and takes the first away: never replaces either. File systems without links get a
// look and a plain rename; there another program could in theory slip in between.
func (f *Folder) place(from, to string) error {
	err := f.root.Link(from, to)
	if err == nil {
		return f.root.Remove(from)
	}
	if errors.Is(err, fs.ErrExist) {
		return err
	}
	if _, err := f.root.Lstat(to); err == nil {
		return fs.ErrExist
	} else if !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return f.root.Rename(from, to)
}

func (r *Root) sameAs(path string) bool {
	now, err := os.Stat(path)
	if err != nil {
		return false
	}
	held, err := r.root.Stat(".")
	return err == nil && os.SameFile(now, held)
}

func statFile(file *os.File) (Stat, error) {
	info, err := file.Stat()
	if err != nil {
		return Stat{}, err
	}
	return statOf(info), nil
}

func statOf(info fs.FileInfo) Stat {
	s := Stat{Type: Other, Size: info.Size(), MTime: info.ModTime().UnixNano(), Used: info.Size()}
	switch {
	case info.Mode().IsRegular():
		s.Type = File
	case info.IsDir():
		s.Type = Dir
	}
	return s
}

func readAt(file *os.File, b []byte, off int64) (int, error) {
	n, err := file.ReadAt(b, off)
	if errors.Is(err, io.EOF) {
		err = nil
	}
	return n, err
}

func writeAt(file *os.File, b []byte, off int64) (int, error) { return file.WriteAt(b, off) }

func refusesDirect(error) bool { return false }

func undirect(*os.File) error { return nil }

func reserve(*os.File, int64) error { return nil }

func startWriting(*os.File, int64, int64) {}
func waitWritten(*os.File, int64, int64)  {}
func dropRange(*os.File, int64, int64)    {}

func (f *Folder) knownLocal() bool { return false }

func knownLocal(*os.File) bool { return false }

func dropCache(*os.File, int64) bool { return false }

func nextData(_ *os.File, off, size int64) (start, end int64) { return off, size }

// LongestName is the longest name in bytes that the volume says it takes; 0: it does not say.
func (r *Root) LongestName() int { return 0 }

// HoldsHuge says whether the volume takes files of 4 GiB and more; here it is not known beforehand.
func (r *Root) HoldsHuge() bool { return true }

// GroupFlush says whether one flush covers all files of the volume and reports their errors: not here.
func (r *Root) GroupFlush() bool { return false }

// unknownSpace stands for a volume that does not tell its room: writing will find out.
var unknownSpace = Space{Free: math.MaxInt64, Files: -1, Block: Align}
