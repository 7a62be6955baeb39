package device

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"
)

// ErrMount is the cause when a name below a root leads to another file system.
var ErrMount = errors.New("another file system is mounted there")

// Root is a handle on the top folder of a volume, or on any folder. It stays on the volume on which it was opened.
type Root struct {
	Folder
	path  string
	top   *os.Root
	stat  Stat
	local bool
}

// OpenRoot opens the folder at path.
func OpenRoot(path string) (*Root, error) {
	top, err := os.OpenRoot(path)
	if err != nil {
		return nil, fmt.Errorf("open folder: %w", err)
	}
	folder, err := topFolder(top)
	if err != nil {
		_ = top.Close()
		return nil, fmt.Errorf("open folder: %w", err)
	}
	r := &Root{Folder: folder, path: path, top: top}
	if r.stat, err = folder.self(); err != nil {
		_ = r.Close()
		return nil, fmt.Errorf("open folder: %w", err)
	}
	r.dev, r.local = r.stat.Dev, folder.knownLocal()
	return r, nil
}

// Path is the path that OpenRoot was given.
func (r *Root) Path() string { return r.path }

// OS is the same handle for code that works with os.Root. It is closed by Close.
func (r *Root) OS() *os.Root { return r.top }

// SameAs says whether path leads, now, to the folder that this handle is on. False after the volume was unmounted or
// another was mounted over it. It may block on a drive that does not answer.
func (r *Root) SameAs(path string) bool {
	return r.sameAs(path)
}

// Space is how much room the volume has left: bytes for an ordinary user, files (-1: no limit known), and the size of
// its allocation unit in bytes.
type Space struct {
	Free  int64
	Files int64
	Block int64
}

// Local says whether the volume has a kernel file system of a kind for which a read-back from the device can be
// promised and one flush covers all files (see the package comment). False for memory, FUSE and network file systems.
func (r *Root) Local() bool { return r.local }

// Open opens the folder at rel, separated by '/', component by component; "" and "." are the root itself. It is refused
// when a component is a symbolic link or on another file system. The caller closes it.
func (r *Root) Open(rel string) (*Folder, error) { return r.walk(rel, nil) }

// Make opens the folder at rel and makes what is lacking. Every folder in which a new one was made is flushed, so that
// the way to rel survives a power cut.
func (r *Root) Make(rel string) (*Folder, error) {
	return r.walk(rel, func(parent *Folder, name string) error {
		made, err := parent.Make(name)
		if err != nil || !made {
			return err
		}
		return parent.Flush()
	})
}

// walk goes down to rel, calling enter before each step.
func (r *Root) walk(rel string, enter func(parent *Folder, name string) error) (*Folder, error) {
	at, err := r.Folder.again()
	if err != nil {
		return nil, err
	}
	for _, name := range parts(rel) {
		if enter != nil {
			if err := enter(at, name); err != nil {
				_ = at.Close()
				return nil, err
			}
		}
		next, err := at.Sub(name)
		_ = at.Close()
		if err != nil {
			return nil, err
		}
		at = next
	}
	return at, nil
}

// parts splits a relative path; empty and "." components vanish.
func parts(rel string) []string {
	var names []string
	for name := range strings.SplitSeq(rel, "/") {
		if name != "" && name != "." {
			names = append(names, name)
		}
	}
	return names
}

// Close closes both handles.
func (r *Root) Close() error {
	err := r.Folder.Close()
	if e := r.top.Close(); err == nil {
		err = e
	}
	return err
}

// Type is what a directory entry is. The zero value is unknown.
type Type int

const (
	// Unknown is the zero value.
	Unknown Type = iota
	// File is a regular file.
	File
	// Dir is a folder.
	Dir
	// Other is anything else: link, socket, device, pipe.
	Other
)

// Stat is what is known of one entry. MTime is nanoseconds since 1970 UTC; Used is bytes allocated on the volume (less
// than Size for a sparse file; equal to Size where the platform does not say).
type Stat struct {
	Type  Type
	Size  int64
	MTime int64
	Used  int64
	Dev   uint64
	Ino   uint64
}

// checkName refuses what is not the name of one entry.
func checkName(op, name string) error {
	if name == "" || name == "." || name == ".." || strings.ContainsAny(name, "/\x00") {
		return &fs.PathError{Op: op, Path: name, Err: fs.ErrInvalid}
	}
	return nil
}
