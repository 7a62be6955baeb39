package manifest

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"

	"twobin/guard/device"
)

// temp is a file written and flushed under a temporary name, in a folder whose handle it keeps.
type temp struct {
	folder *os.Root
	name   string
}

// newTemp writes a temporary file that stands for key. A leftover of that name from an interrupted run is removed
// first; nothing else ever is. On error nothing is left behind.
func newTemp(folder *os.Root, key string, write func(io.Writer) error) (t *temp, err error) {
	t = &temp{folder: folder, name: device.TempName(key)}
	if err := t.drop(); err != nil {
		return nil, fmt.Errorf("remove a leftover: %w", err)
	}
	f, err := folder.OpenFile(t.name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
	if err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			_ = t.drop() // the first error is the one that counts
		}
	}()
	if err := write(f); err != nil {
		f.Close()
		return nil, err
	}
	// A failed flush is never tried again: the file is dropped.
	if err := f.Sync(); err != nil {
		f.Close()
		return nil, err
	}
	return t, f.Close()
}

// drop removes the temporary file if it is there.
func (t *temp) drop() error {
	fi, err := t.folder.Lstat(t.name)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	if !device.IsTemp(t.name) || !fi.Mode().IsRegular() {
		return fmt.Errorf("%q is not ours to remove", t.name)
	}
	return t.folder.Remove(t.name)
}

// place gives the file its name, never over one that stands there ([fs.ErrExist]), and flushes the folder.
func (t *temp) place(name string) error {
	if err := renameNoReplace(t.folder, t.name, name); err != nil {
		return err
	}
	return syncFolder(t.folder)
}

// replace gives the file its name in place of the one that stands there. For the chain file only: the one file of a
// history that grows, by exactly one entry, in one step.
func (t *temp) replace(name string) error {
	if name != ChainName {
		return fmt.Errorf("%q is never replaced", name)
	}
	if err := t.folder.Rename(t.name, name); err != nil {
		return err
	}
	return syncFolder(t.folder)
}

// linkNoReplace is the rename of systems that have no "rename unless it exists": a second name fails if there is one.
// Where second names do not exist either, the look and the rename are two steps; the caller holds the roll alone.
func linkNoReplace(folder *os.Root, from, to string) error {
	err := folder.Link(from, to)
	if err == nil {
		return folder.Remove(from)
	}
	if errors.Is(err, fs.ErrExist) {
		return err
	}
	if _, err := folder.Lstat(to); err == nil {
		return &fs.PathError{Op: "rename", Path: to, Err: fs.ErrExist}
	} else if !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return folder.Rename(from, to)
}
