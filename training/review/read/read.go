package read

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"

	"twobin/procedure/journal"
)

// one is one journal, read.
type one struct {
	session *Session // nil: nothing of it can be used
	left    *Left
	first   journal.Digest
	events  int
	bytes   int64
}

// Read reads journals, as many at a time as there are cores. What cannot be used is in Set.Left, never an error; the
// error is ctx's alone.
func Read(ctx context.Context, paths []string) (Set, error) {
	all := make([]one, len(paths))
	var next atomic.Int64
	var wg sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), len(paths)) {
		wg.Go(func() {
			f := newFolder()
			for i := int(next.Add(1)) - 1; i < len(paths) && ctx.Err() == nil; i = int(next.Add(1)) - 1 {
				all[i] = f.read(paths[i])
			}
		})
	}
	wg.Wait()
	if err := ctx.Err(); err != nil {
		return Set{}, fmt.Errorf("read journals: %w", err)
	}
	return join(all), nil
}

// read reads one journal.
func (f *folder) read(path string) one {
	f.raw = f.raw[:0]
	raw, err := f.load(path)
	if err != nil {
		return one{left: &Left{Path: path, Why: "cannot be read: " + err.Error()}}
	}
	lines, damage := journal.Parse(raw)
	o := one{events: len(lines), bytes: int64(len(raw))}
	if damage != nil {
		o.left = &Left{Path: path, Line: damage.Line, Used: len(lines), Why: "is damaged in line " + fmt.Sprint(damage.Line) + ": " + damage.What}
	}
	switch {
	case len(raw) == 0:
		o.left = &Left{Path: path, Why: "is empty"}
		return o
	case len(lines) == 0:
		o.left.Line = 0
		return o
	}
	o.first = lines[0].Sum
	s, skipped, why := f.fold(path, lines)
	if s == nil {
		if o.left == nil {
			o.left = &Left{Path: path, Why: why}
		}
		return o
	}
	if skipped.n > 0 && o.left == nil {
		o.left = &Left{Path: path, Line: skipped.line, Used: len(lines) - skipped.n,
			Why: fmt.Sprintf("has %d events that are not known here, the first in line %d: %s", skipped.n, skipped.line, skipped.what)}
	}
	o.session = s
	return o
}

// load reads a file into the buffer that is used again for the next one.
func (f *folder) load(path string) ([]byte, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer file.Close() // only read
	st, err := file.Stat()
	if err != nil {
		return nil, err
	}
	if !st.Mode().IsRegular() {
		return nil, errors.New("not an ordinary file")
	}
	f.raw = slices.Grow(f.raw, int(min(st.Size(), maxJournal))+1)
	for {
		n, err := file.Read(f.raw[len(f.raw):cap(f.raw)])
		f.raw = f.raw[:len(f.raw)+n]
		switch {
		case errors.Is(err, io.EOF):
			return f.raw, nil
		case err != nil:
			return nil, err
		case len(f.raw) > maxJournal:
			return nil, fmt.Errorf("more than %d MB; a shift's journal is far smaller", maxJournal>>20)
		}
		f.raw = slices.Grow(f.raw, 4096)
	}
}

// maxJournal is the most bytes that are taken for a journal: a year of shifts in one file would be smaller.
const maxJournal = 256 << 20

// join puts the journals together; one that came twice counts once.
func join(all []one) Set {
	var set Set
	best := map[journal.Digest]int{}
	for i, o := range all {
		if o.session == nil {
			continue
		}
		if have, ok := best[o.first]; !ok || all[have].session.Lines < o.session.Lines {
			best[o.first] = i
		}
	}
	for i, o := range all {
		if o.session != nil && best[o.first] != i {
			set.Left = append(set.Left, Left{Path: o.session.Path, Why: "is the same journal as " + all[best[o.first]].session.Path + ", which is counted"})
			continue
		}
		set.Events += o.events
		set.Bytes += o.bytes
		if o.left != nil {
			set.Left = append(set.Left, *o.left)
		}
		if o.session != nil {
			set.Sessions = append(set.Sessions, *o.session)
		}
	}
	slices.SortStableFunc(set.Sessions, func(a, b Session) int {
		return cmp.Or(a.Began.Compare(b.Began), cmp.Compare(a.Path, b.Path))
	})
	slices.SortFunc(set.Left, func(a, b Left) int { return cmp.Compare(a.Path, b.Path) })
	return set
}
