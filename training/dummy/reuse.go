package dummy

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

// ErrNotMarked: the volume is no practice card. Nothing on it was touched.
var ErrNotMarked = errors.New("not a practice card")

// ErrForeign: the volume carries the marker, but also something that twobin has not written. Nothing on it was touched.
var ErrForeign = errors.New("a practice card with something else on it")

// systemNames are folders and files that operating systems leave at the top of a volume by themselves. They are neither
// taken for anybody's footage nor touched. From memory of the systems.
var systemNames = []string{
	".Spotlight-V100", ".Trashes", ".fseventsd", ".TemporaryItems", ".DS_Store", "System Volume Information", "$RECYCLE.BIN", "lost+found",
}

// Usable says whether a volume is a practice card that a drill may use: marked, with nothing on it but what the marker
// lists. The errors are [ErrNotMarked] and [ErrForeign]; it only reads.
func Usable(dir string) error {
	root, err := os.OpenRoot(dir)
	if err != nil {
		return fmt.Errorf("practice card: %w", err)
	}
	defer root.Close() // only read
	_, _, err = ours(root)
	return err
}

// ours lists what is on a practice card: the files the marker lists, and what of them is there.
func ours(root *os.Root) (list, there []listed, err error) {
	list, marked, whole, err := markerOf(root)
	switch {
	case err != nil:
		return nil, nil, err
	case !marked:
		return nil, nil, ErrNotMarked
	}
	there, err = files(root)
	if err != nil {
		return nil, nil, err
	}
	cut := 0
	for _, f := range there {
		i := slices.IndexFunc(list, func(l listed) bool { return l.path == f.path })
		switch {
		case !whole || i < 0 || f.size > list[i].size:
			return nil, nil, fmt.Errorf("%q: %w", f.path, ErrForeign)
		case f.size == list[i].size && sameTime(f.mtime, list[i].mtime):
			continue
		}
		// Files are written one after the other, and get their time last: at most one is cut off.
		if cut++; cut > 1 {
			return nil, nil, fmt.Errorf("%q: %w", f.path, ErrForeign)
		}
	}
	return list, there, nil
}

// sameTime compares two times of a file, in nanoseconds; 0 is none. FAT keeps them to 2 s and in the clock's own zone, so
// they may be off by whole quarters of an hour. From memory of the format.
func sameTime(a, b int64) bool {
	const coarse, zone = int64(2 * time.Second), int64(15 * time.Minute)
	off := (a - b) % zone
	if off < 0 {
		off += zone
	}
	return a == 0 || b == 0 || off <= coarse || off >= zone-coarse
}

// files lists a volume's files sorted by path, without marker and system's names. Whatever is neither file nor folder
// counts as foreign.
func files(root *os.Root) ([]listed, error) {
	var out []listed
	err := fs.WalkDir(root.FS(), ".", func(p string, e fs.DirEntry, err error) error {
		switch {
		case slices.Contains(systemNames, p):
			if e != nil && e.IsDir() {
				return fs.SkipDir
			}
			return nil
		case err != nil:
			return err
		case e.IsDir() || p == MarkerName || p == markerNew:
			return nil
		case !e.Type().IsRegular():
			return fmt.Errorf("%q: %w", p, ErrForeign)
		}
		st, err := e.Info()
		if err != nil {
			return err
		}
		out = append(out, listed{p, st.Size(), stamp(st.ModTime())})
		return nil
	})
	slices.SortFunc(out, byName)
	return out, err
}

// Load makes the practice card dir hold what the folder src holds: the card plays another one. A card that does so
// already is not written to. Else the files that the marker lists are removed, the marker is written anew, and the files
// of src are copied with their times. The errors before the first write are [ErrNotMarked] and [ErrForeign]. ctx is
// heeded between blocks; a card whose loading was cut off can be loaded again.
//
// later are takes that [Grow] may add to src while the card is in use. The marker lists them from the beginning: it is a
// file like any other to the routine, and must not change between two passes of one roll.
func Load(ctx context.Context, dir, src, label string, later ...Roll) (err error) {
	from, err := os.OpenRoot(src)
	if err != nil {
		return fmt.Errorf("load practice card: %w", err)
	}
	defer from.Close() // only read
	root, err := os.OpenRoot(dir)
	if err != nil {
		return fmt.Errorf("load practice card: %w", err)
	}
	defer func() { err = errors.Join(err, root.Close()) }()
	list, there, err := ours(root)
	if err != nil {
		return fmt.Errorf("load practice card %s: %w", dir, err)
	}
	want, err := files(from)
	if err != nil {
		return fmt.Errorf("load practice card: %w", err)
	}
	all := slices.Clone(want)
	for _, r := range later {
		for _, f := range r.added() {
			if !slices.ContainsFunc(all, func(o listed) bool { return o.path == f.path }) {
				all = append(all, f)
			}
		}
	}
	slices.SortFunc(all, byName)
	isNew := !slices.Equal(list, all)
	if !isNew && sameSizes(there, want) {
		return nil
	}
	if err := clean(root, there); err != nil {
		return fmt.Errorf("load practice card %s: %w", dir, err)
	}
	if isNew {
		if err := mark(root, label, all); err != nil {
			return fmt.Errorf("load practice card %s: marker: %w", dir, err)
		}
	}
	for _, f := range want {
		if err := carry(ctx, from, root, f); err != nil {
			return fmt.Errorf("load practice card %s: %s: %w", dir, f.path, err)
		}
	}
	return nil
}

// added is what Grow adds to a card of this roll, as the marker lists it.
func (r Roll) added() []listed {
	r, fs, size := r.take()
	return r.listed(fs, size)
}

func byName(a, b listed) int { return strings.Compare(a.path, b.path) }

func sameSizes(a, b []listed) bool {
	return slices.EqualFunc(a, b, func(x, y listed) bool { return x.path == y.path && x.size == y.size })
}

// clean removes files that are ours, and the folders that are empty without them.
func clean(root *os.Root, there []listed) error {
	var dirs []string
	for _, f := range there {
		if err := root.Remove(filepath.FromSlash(f.path)); err != nil {
			return err
		}
	}
	err := fs.WalkDir(root.FS(), ".", func(p string, e fs.DirEntry, err error) error {
		switch {
		case slices.Contains(systemNames, p) && e != nil && e.IsDir():
			return fs.SkipDir
		case err != nil:
			return err
		case e.IsDir() && p != ".":
			dirs = append(dirs, p)
		}
		return nil
	})
	if err != nil {
		return err
	}
	for _, d := range slices.Backward(dirs) { // below before above
		if err := root.Remove(filepath.FromSlash(d)); err != nil {
			return err
		}
	}
	return nil
}

// carry copies one file with its time.
func carry(ctx context.Context, from, to *os.Root, f listed) (err error) {
	name := filepath.FromSlash(f.path)
	in, err := from.Open(name)
	if err != nil {
		return err
	}
	defer in.Close() // only read
	if d := path.Dir(f.path); d != "." {
		if err := to.MkdirAll(filepath.FromSlash(d), 0o777); err != nil {
			return err
		}
	}
	out, err := to.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
	if err != nil {
		return err
	}
	defer func() {
		err = errors.Join(err, out.Sync(), out.Close())
		if err == nil {
			at := time.Unix(0, f.mtime)
			err = to.Chtimes(name, at, at)
		}
	}()
	const block = 1 << 20
	for {
		if err := ctx.Err(); err != nil {
			return err
		}
		if _, err := io.CopyN(out, in, block); errors.Is(err, io.EOF) {
			return nil
		} else if err != nil {
			return err
		}
	}
}

// Remark writes the marker again onto a practice card after the erase of a drill, which removes it with everything
// else. The caller knows that the volume is the practice card that it was before the erase. A card that still has its
// marker, or holds what was not left of the files of src, is not written to.
func Remark(dir, src, label string) (err error) {
	root, err := os.OpenRoot(dir)
	if err != nil {
		return fmt.Errorf("mark practice card: %w", err)
	}
	defer func() { err = errors.Join(err, root.Close()) }()
	from, err := os.OpenRoot(src)
	if err != nil {
		return fmt.Errorf("mark practice card: %w", err)
	}
	defer from.Close() // only read
	if _, marked, _, err := markerOf(root); err != nil || marked {
		return err
	}
	was, err := files(from)
	if err != nil {
		return fmt.Errorf("mark practice card: %w", err)
	}
	there, err := files(root)
	if err != nil {
		return fmt.Errorf("mark practice card %s: %w", dir, err)
	}
	for _, f := range there {
		if !slices.ContainsFunc(was, func(o listed) bool { return o.path == f.path && o.size == f.size }) {
			return fmt.Errorf("mark practice card %s: %q: %w", dir, f.path, ErrForeign)
		}
	}
	if err := mark(root, label, there); err != nil {
		return fmt.Errorf("mark practice card %s: %w", dir, err)
	}
	return nil
}
