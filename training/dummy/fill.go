package dummy

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math/rand/v2"
	"os"
	"path"
	"path/filepath"
	"time"

	"github.com/cespare/xxhash/v2"
)

// Small is the usual size of a dummy card: large enough to be seen moving, small enough for every disk. Own choice.
const Small int64 = 24 << 10

// Roll is what a dummy card holds. Equal rolls give equal bytes, names and times.
type Roll struct {
	Label string
	Shape Shape
	// Size is bytes in all; 0 is Small.
	Size int64
	Seed uint64
	// Take counts how often this card was added to, from 0: it moves clip numbers on and changes the contents.
	Take int
	// Shot is when the roll was shot; its clips end there, a minute apart.
	Shot time.Time
}

// Written is one file as written.
type Written struct {
	Path string // relative, separated by '/'
	Size int64
}

// firstClip is the number of the first clip: later additions go on behind the earlier ones.
func (r Roll) firstClip() int { return 1 + 20*r.Take }

// random is a source that depends on the roll and on what it is for, and on nothing else.
func (r Roll) random(what string) *rand.ChaCha8 {
	h := func(n uint64) uint64 {
		d := xxhash.NewWithSeed(r.Seed + n)
		fmt.Fprintf(d, "%s\x00%s\x00%d\x00%d", r.Label, what, r.Shape, r.Take)
		return d.Sum64()
	}
	var seed [32]byte
	for i := range 4 {
		binary.LittleEndian.PutUint64(seed[8*i:], h(uint64(i)))
	}
	return rand.NewChaCha8(seed)
}

// Fill writes the roll below dir, which must exist. A file that is there already is an error, never written over. ctx is
// heeded between blocks.
func Fill(ctx context.Context, dir string, r Roll) ([]Written, error) {
	fs, size := r.layout()
	if len(fs) == 0 {
		return nil, fmt.Errorf("fill %s: shape %s", dir, r.Shape)
	}
	return r.write(ctx, dir, fs, size)
}

// layout is what Fill writes: files sorted by path, and the bytes of each.
func (r Roll) layout() ([]file, []int64) {
	if r.Size == 0 {
		r.Size = Small
	}
	fs := draft(r, rand.New(r.random("names")))
	if len(fs) == 0 {
		return nil, nil
	}
	byPath(fs)
	return fs, sizes(fs, r.Size)
}

// at is when file i of n was shot.
func (r Roll) at(i, n int) time.Time {
	if r.Shot.IsZero() {
		return time.Time{}
	}
	return r.Shot.Add(-time.Duration(n-1-i) * time.Minute)
}

// list is what Fill writes, as the marker lists it.
func (r Roll) list() []listed {
	fs, size := r.layout()
	return r.listed(fs, size)
}

func (r Roll) listed(fs []file, size []int64) []listed {
	var out []listed
	for i, f := range fs {
		out = append(out, listed{f.path, size[i], stamp(r.at(i, len(fs)))})
	}
	return out
}

// Grow adds one more take to a card that Fill filled: clips with numbers that were not used yet.
func Grow(ctx context.Context, dir string, r Roll) ([]Written, error) {
	r, fs, size := r.take()
	return r.write(ctx, dir, fs, size)
}

// take is what Grow adds: the roll with its next take, files, and the bytes of each.
func (r Roll) take() (Roll, []file, []int64) {
	if r.Size == 0 {
		r.Size = Small / 8
	}
	r.Take++
	name := clipName(r.Label, r.firstClip(), rand.New(r.random("names")))
	fs := []file{{"CLIPS/" + name + ".mov", 40}, {"CLIPS/" + name + ".xml", 1}}
	if r.Shape == LongTake {
		fs = []file{{name + ".mov", 40}, {name + ".txt", 1}}
	}
	return r, fs, sizes(fs, r.Size)
}

func (r Roll) write(ctx context.Context, dir string, fs []file, size []int64) ([]Written, error) {
	root, err := os.OpenRoot(dir)
	if err != nil {
		return nil, fmt.Errorf("fill: %w", err)
	}
	defer root.Close() // only files below it were written, and those are closed
	var out []Written
	for i, f := range fs {
		if err := r.one(ctx, root, f.path, size[i], r.at(i, len(fs))); err != nil {
			return out, fmt.Errorf("fill %s: %s: %w", dir, f.path, err)
		}
		out = append(out, Written{f.path, size[i]})
	}
	return out, nil
}

// one writes one file and gives it its time.
func (r Roll) one(ctx context.Context, root *os.Root, name string, size int64, at time.Time) (err error) {
	if d := path.Dir(name); d != "." {
		if err := root.MkdirAll(filepath.FromSlash(d), 0o777); err != nil {
			return err
		}
	}
	local := filepath.FromSlash(name)
	f, err := root.OpenFile(local, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
	if err != nil {
		return err
	}
	defer func() {
		err = errors.Join(err, f.Close())
		if err == nil && !r.Shot.IsZero() {
			err = root.Chtimes(local, at, at)
		}
	}()
	src := r.random(name)
	for left := size; left > 0; {
		if err := ctx.Err(); err != nil {
			return err
		}
		n, err := io.CopyN(f, src, min(left, 1<<20))
		if err != nil {
			return err
		}
		left -= n
	}
	return nil
}

// empty says whether a folder holds nothing; the first name found otherwise. An empty folder of the file system itself
// does not count.
func empty(dir string) (string, error) {
	names, err := namesIn(dir, 2)
	if err != nil {
		return "", err
	}
	for _, n := range names {
		if n == "lost+found" {
			if below, err := namesIn(filepath.Join(dir, n), 1); err == nil && len(below) == 0 {
				continue
			}
		}
		return n, nil
	}
	return "", nil
}

// namesIn reads up to n names of a folder.
func namesIn(dir string, n int) ([]string, error) {
	f, err := os.Open(dir)
	if err != nil {
		return nil, err
	}
	defer f.Close() // only read
	names, err := f.Readdirnames(n)
	if errors.Is(err, io.EOF) {
		return nil, nil
	}
	return names, err
}

// isDir says whether a path is a folder.
func isDir(dir string) error {
	st, err := os.Stat(dir)
	if err != nil {
		return err
	}
	if !st.IsDir() {
		return &fs.PathError{Op: "open", Path: dir, Err: errors.New("not a folder")}
	}
	return nil
}
