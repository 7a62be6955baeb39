package device

import (
	"context"
	"errors"
	"fmt"
	"hash"
	"io/fs"
	"path"
	"syscall"

	"github.com/cespare/xxhash/v2"

	"twobin/guard"
)

// ReadOptions says how a copy is read back. The zero value is the careful one.
type ReadOptions struct {
	// Simulated: the volume plays a drive in a drill ([guard.Volume.Simulated]); the honesty is [guard.FromSimulated].
	Simulated bool
	// Flushed: the caller flushed this file after its last write. Otherwise it is flushed first.
	Flushed bool
	// Extra hashes get the same bytes as XXH64. They are not reset.
	Extra []hash.Hash
	// Progress, if not nil, is told the bytes of each block just read. It must not block.
	Progress func(n int64)
	// Scratch, if not nil, is used for the buffers, so that many files need no new memory.
	Scratch *Scratch
}

// Read is what a read-back found.
type Read struct {
	// Sum is XXH64, seed 0, of Stat.Size bytes.
	Sum     uint64
	Stat    Stat
	Honesty guard.Honesty
}

// ReadBack reads the file at rel below root and hashes it: flush, drop from the cache, look that it is gone, read from
// the device. ctx is heeded between blocks; a single call to a dying drive is not: run ReadBack aside if that matters.
// It opens files for reading only, but flushes: not for a card.
func ReadBack(ctx context.Context, root *Root, rel string, opt ReadOptions) (Read, error) {
	folder, err := root.Open(path.Dir(rel))
	if err != nil {
		return Read{}, err
	}
	defer folder.Close()
	return folder.ReadBack(ctx, path.Base(rel), opt)
}

// ReadBack is the function of that name, for a file of this folder.
func (f *Folder) ReadBack(ctx context.Context, name string, opt ReadOptions) (Read, error) {
	r, err := f.OpenRead(name)
	if err != nil {
		return Read{}, err
	}
	defer r.Close()
	if !opt.Flushed {
		if err := r.file.Sync(); err != nil && !errors.Is(err, syscall.EROFS) && !errors.Is(err, fs.ErrPermission) {
			return Read{}, fmt.Errorf("flush %q: %w", name, err)
		}
	}
	read := Read{Stat: r.stat, Honesty: guard.NotPastCache}
	switch {
	case opt.Simulated:
		read.Honesty = guard.FromSimulated
	case knownLocal(r.file) && dropCache(r.file, r.stat.Size):
		read.Honesty = guard.FromDevice
	}
	read.Sum, err = r.sum(ctx, opt)
	if err != nil {
		return Read{}, fmt.Errorf("read %q: %w", name, err)
	}
	dropRange(r.file, 0, 0)
	return read, nil
}

// Sum reads the whole file and hashes it, for a source: nothing is flushed and nothing promised about the cache.
func (r *Reader) Sum(ctx context.Context, opt ReadOptions) (uint64, error) { return r.sum(ctx, opt) }

// sum hashes in a second goroutine while the next block is read, when there is more than one.
func (r *Reader) sum(ctx context.Context, opt ReadOptions) (uint64, error) {
	scratch := opt.Scratch
	if scratch == nil {
		scratch = new(Scratch)
		defer scratch.Free()
	}
	digest := xxhash.New()
	add := func(b []byte) {
		_, _ = digest.Write(b)
		for _, h := range opt.Extra {
			_, _ = h.Write(b)
		}
	}
	var pending chan struct{}
	wait := func() {
		if pending != nil {
			<-pending
		}
	}
	defer wait()
	size := r.stat.Size
	for off, i := int64(0), 0; off < size; i = 1 - i {
		if err := ctx.Err(); err != nil {
			return 0, err
		}
		n := min(BlockSize, size-off)
		b, err := scratch.get(i, n)
		if err != nil {
			return 0, err
		}
		if _, err := r.ReadAt(b[:n], off); err != nil {
			return 0, err
		}
		off += n
		if opt.Progress != nil {
			opt.Progress(n)
		}
		wait()
		pending = nil
		if off == size {
			add(b[:n])
			break
		}
		pending = make(chan struct{})
		go func(done chan struct{}) { add(b[:n]); close(done) }(pending)
	}
	wait()
	pending = nil
	return digest.Sum64(), nil
}
