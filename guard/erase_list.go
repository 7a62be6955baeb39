package guard

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"slices"
)

// cardDeepest is how many folders may stand within each other, so that a file system that shows a folder within itself
// comes to an end. The same figure as when a card is scanned for its offload.
const cardDeepest = 128

// foundFile is one file as listed before the first removal.
type foundFile struct {
	Entry
	ino uint64
}

// cardList gathers a listing through folder handles.
type cardList struct {
	ctx    context.Context
	dev    uint64
	fsType string
	files  []foundFile
	dirs   []string
	odd    []string
}

// listCard lists everything below top, whose device number is dev. Files stand in byte order of their paths. Links are
// not followed and mounts not entered: they are odd, as in [Listing].
func listCard(ctx context.Context, top cardFolder, dev uint64, fsType string) (Listing, []foundFile, error) {
	c := &cardList{ctx: ctx, dev: dev, fsType: fsType}
	if err := c.folder(top, "", 0); err != nil {
		return Listing{}, nil, err
	}
	slices.SortFunc(c.files, func(a, b foundFile) int { return cmp.Compare(a.Path, b.Path) })
	slices.Sort(c.dirs)
	slices.Sort(c.odd)
	l := Listing{Files: make([]Entry, len(c.files)), Dirs: c.dirs, Odd: c.odd}
	for i := range c.files {
		l.Files[i] = c.files[i].Entry
	}
	return l, c.files, nil
}

func (c *cardList) folder(f cardFolder, path string, depth int) error {
	if depth > cardDeepest {
		return fmt.Errorf("list %q: folders within folders without end", path)
	}
	names, err := f.Names()
	if err != nil {
		return fmt.Errorf("list %q: %w", path, err)
	}
	slices.Sort(names)
	for _, name := range names {
		if err := c.ctx.Err(); err != nil {
			return err
		}
		st, err := f.Stat(name)
		if err != nil {
			return fmt.Errorf("list %q: %w", joinPath(path, name), err)
		}
		if err := c.entry(f, joinPath(path, name), name, st, depth); err != nil {
			return err
		}
	}
	return nil
}

// entry sorts one entry of f into the listing, and goes into folders.
func (c *cardList) entry(f cardFolder, path, name string, st cardEntry, depth int) error {
	switch {
	case st.dev != c.dev:
		c.odd = append(c.odd, path)
		return nil
	case st.kind == entryFile:
		c.files = append(c.files, foundFile{Entry{path, st.size, st.mtime}, st.ino})
		return nil
	case st.kind != entryDir:
		c.odd = append(c.odd, path)
		return nil
	}
	sub, err := f.Sub(name)
	switch {
	case errors.Is(err, errMount):
		c.odd = append(c.odd, path)
		return nil
	case errors.Is(err, fs.ErrPermission) && SystemFolder(path, c.fsType):
		return nil // nobody but root sees into it, and nothing is removed from it
	case err != nil:
		return fmt.Errorf("list %q: %w", path, err)
	}
	defer func() { _ = sub.Close() }() // opened for looking only
	c.dirs = append(c.dirs, path)
	return c.folder(sub, path, depth+1)
}
