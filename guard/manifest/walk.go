package manifest

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"slices"
	"strings"
	"time"
)

// maxFolders is how deep a walk goes. A path of 4,096 bytes has at most 2,048 components.
const maxFolders = 2048

// Item is a file or folder on disk, its path relative to the folder walked.
type Item struct {
	Path     string
	Size     int64
	Modified time.Time
}

// Tree is what stands in a folder now. All slices are depth first (a folder's contents together).
type Tree struct {
	Files, Dirs []Item
	// Odd is what is neither file nor folder (symbolic links, sockets, devices): never followed, never opened.
	Odd []string
	// Unread are folders that could not be listed, with the cause.
	Unread map[string]error
	// Histories are the folders below that have a history of their own.
	Histories []string
	// Ignored counts items left out by a pattern, the folders ascmhl not counted.
	Ignored int
	// keep, if not nil, says which files go into Files; skip names that need no look at all.
	keep, skip func(path string) bool
	// count and bytes are of all files, kept or not.
	count int
	bytes int64
}

// Walk lists folder dir below root ("." for the root itself) without what ig leaves out. Symbolic links are not
// followed. A folder that cannot be read is noted in Unread; only the top one failing, or ctx, is an error.
func Walk(ctx context.Context, root *os.Root, dir string, ig Ignore) (*Tree, error) {
	return walkSome(ctx, root, dir, ig, Tree{})
}

// walkSome is Walk that holds only the files that how.keep asks for, so that a card of a million costs no memory.
func walkSome(ctx context.Context, root *os.Root, dir string, ig Ignore, how Tree) (*Tree, error) {
	top, err := openDir(root, dir)
	if err != nil {
		return nil, err
	}
	defer top.Close()
	t := &how
	t.Unread = map[string]error{}
	if err := t.walk(ctx, top, "", 0, ig); err != nil {
		return nil, err
	}
	return t, nil
}

func (t *Tree) walk(ctx context.Context, here *os.Root, prefix string, depth int, ig Ignore) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	names, err := listNames(here)
	if err != nil {
		if prefix == "" {
			return err
		}
		t.Unread[strings.TrimSuffix(prefix, "/")] = err
		return nil
	}
	for _, name := range names {
		p := prefix + name
		if t.skip != nil && t.skip(p) {
			continue
		}
		fi, err := here.Lstat(name)
		if errors.Is(err, fs.ErrNotExist) {
			continue // gone since the listing
		}
		if err != nil {
			t.Unread[p] = err
			continue
		}
		if ig.Match(p, fi.IsDir()) {
			if name != Folder || !fi.IsDir() {
				t.Ignored++
			} else if prefix != "" {
				t.Histories = append(t.Histories, strings.TrimSuffix(prefix, "/"))
			}
			continue
		}
		item := Item{Path: p, Size: fi.Size(), Modified: fi.ModTime()}
		switch {
		case fi.Mode().IsRegular():
			t.count++
			t.bytes += fi.Size()
			if t.keep == nil || t.keep(p) {
				t.Files = append(t.Files, item)
			}
		case fi.IsDir():
			item.Size = 0
			if err := t.enter(ctx, here, name, item, depth, ig); err != nil {
				return err
			}
		default:
			t.Odd = append(t.Odd, p)
		}
	}
	return nil
}

// enter walks one folder down. The folder's own entry comes after its contents.
func (t *Tree) enter(ctx context.Context, here *os.Root, name string, item Item, depth int, ig Ignore) error {
	if depth >= maxFolders {
		t.Unread[item.Path] = errors.New("folders nested too deep")
		return nil
	}
	sub, err := openDir(here, name)
	if err != nil {
		t.Unread[item.Path] = err
		t.Dirs = append(t.Dirs, item)
		return nil
	}
	defer sub.Close()
	if err := t.walk(ctx, sub, item.Path+"/", depth+1, ig); err != nil {
		return err
	}
	t.Dirs = append(t.Dirs, item)
	return nil
}

// openDir opens a folder, refusing a symbolic link as its last component: the folder opened must be the one that was
// looked at.
func openDir(root *os.Root, name string) (*os.Root, error) {
	want, err := root.Lstat(name)
	if err != nil {
		return nil, err
	}
	if !want.IsDir() {
		return nil, fmt.Errorf("%q is no folder", name)
	}
	sub, err := root.OpenRoot(name)
	if err != nil {
		return nil, err
	}
	got, err := sub.Stat(".")
	if err != nil || !os.SameFile(want, got) {
		sub.Close()
		return nil, fmt.Errorf("%q changed while it was opened", name)
	}
	return sub, nil
}

// OpenFile opens a regular file for reading, never through a symbolic link as its last component.
func OpenFile(root *os.Root, name string) (*os.File, error) {
	want, err := root.Lstat(name)
	if err != nil {
		return nil, err
	}
	if !want.Mode().IsRegular() {
		return nil, fmt.Errorf("%q is no regular file", name)
	}
	f, err := root.Open(name)
	if err != nil {
		return nil, err
	}
	got, err := f.Stat()
	if err != nil || !os.SameFile(want, got) {
		f.Close()
		return nil, fmt.Errorf("%q changed while it was opened", name)
	}
	return f, nil
}

// listNames is the sorted names of a folder, byte order.
func listNames(dir *os.Root) ([]string, error) {
	f, err := dir.Open(".")
	if err != nil {
		return nil, err
	}
	defer f.Close()
	names, err := f.Readdirnames(-1)
	slices.Sort(names)
	return names, err
}

// Measure counts the files that Walk would list and their bytes, holding none of them.
func Measure(ctx context.Context, root *os.Root, dir string, ig Ignore) (files int, bytes int64, err error) {
	t, err := walkSome(ctx, root, dir, ig, Tree{keep: func(string) bool { return false }})
	if err != nil {
		return 0, 0, err
	}
	return t.count, t.bytes, nil
}
