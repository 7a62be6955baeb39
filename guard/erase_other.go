//go:build !linux && !darwin

package guard

import (
	"io/fs"
	"os"
)

// rootFolder is a folder of the card on other systems, by os.Root: links cannot lead out of it. Device numbers are not
// to be had there; a mount below the card is a link of its own kind there, which is neither file nor folder.
type rootFolder struct{ root *os.Root }

// openCard opens the top folder of a card.
func openCard(path string) (cardFolder, error) {
	root, err := os.OpenRoot(path)
	if err != nil {
		return nil, err
	}
	return &rootFolder{root}, nil
}

func (f *rootFolder) Self() (cardEntry, error) { return f.Stat(".") }

func (f *rootFolder) Stat(name string) (cardEntry, error) {
	info, err := f.root.Lstat(name)
	if err != nil {
		return cardEntry{}, err
	}
	e := cardEntry{kind: entryOther, size: info.Size(), mtime: info.ModTime().UnixNano()}
	switch {
	case info.Mode().IsRegular():
		e.kind = entryFile
	case info.IsDir():
		e.kind = entryDir
	}
	return e, nil
}

func (f *rootFolder) Names() ([]string, error) {
	dir, err := f.root.Open(".")
	if err != nil {
		return nil, err
	}
	defer dir.Close()
	return dir.Readdirnames(-1)
}

func (f *rootFolder) Sub(name string) (cardFolder, error) {
	if e, err := f.Stat(name); err != nil || e.kind != entryDir {
		return nil, &fs.PathError{Op: "open", Path: name, Err: fs.ErrInvalid}
	}
	root, err := f.root.OpenRoot(name)
	if err != nil {
		return nil, err
	}
	return &rootFolder{root}, nil
}

func (f *rootFolder) RemoveFile(name string) error { return f.remove(name, entryFile) }

func (f *rootFolder) RemoveFolder(name string) error { return f.remove(name, entryDir) }

// remove makes sure of the kind first: the system's own call takes either.
func (f *rootFolder) remove(name string, kind entryKind) error {
	e, err := f.Stat(name)
	if err != nil {
		return err
	}
	if e.kind != kind {
		return &fs.PathError{Op: "remove", Path: name, Err: fs.ErrInvalid}
	}
	return f.root.Remove(name)
}

// Sync does nothing: a removable volume is written through there unless its owner chose otherwise.
func (f *rootFolder) Sync() error { return nil }

func (f *rootFolder) Close() error { return f.root.Close() }
