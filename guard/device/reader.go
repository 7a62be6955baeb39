package device

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
)

// ErrNotFile is the cause when something else than a regular file stands under a name that is to be read.
var ErrNotFile = errors.New("not a regular file")

// Reader reads one file past the page cache, or through it without leaving much behind.
type Reader struct {
	file   *os.File
	stat   Stat
	direct bool
}

// OpenRead opens the file called name for reading. Links, folders, pipes and devices are refused with ErrNotFile (a
// link with the system's own error), without waiting for anything. The file's access time does not change where the
// platform can prevent it.
func (f *Folder) OpenRead(name string) (*Reader, error) {
	if err := checkName("open", name); err != nil {
		return nil, err
	}
	file, direct, err := f.openRead(name)
	if err != nil {
		return nil, err
	}
	r := &Reader{file: file, direct: direct}
	if r.stat, err = statFile(file); err == nil && r.stat.Type != File {
		err = &fs.PathError{Op: "open", Path: name, Err: ErrNotFile}
	}
	if err != nil {
		_ = file.Close()
		return nil, err
	}
	return r, nil
}

// Stat is what was known of the file when it was opened.
func (r *Reader) Stat() Stat { return r.stat }

// StatNow asks again.
func (r *Reader) StatNow() (Stat, error) { return statFile(r.file) }

// Close closes the file.
func (r *Reader) Close() error { return r.file.Close() }

// ReadAt fills b from offset off. b begins at an aligned address, its capacity is at least AlignUp(len(b)), and off is
// a multiple of Align. Fewer bytes than len(b) come with [io.ErrUnexpectedEOF]: the file is shorter than believed.
// What stands in b beyond its length afterwards is undefined.
func (r *Reader) ReadAt(b []byte, off int64) (n int, err error) {
	for n < len(b) {
		at, to := off+int64(n), len(b)
		if r.direct {
			if at%Align != 0 { // the device gave less than a block: the rest comes through the cache
				if err := r.undirect(); err != nil {
					return n, err
				}
			} else {
				to = int(AlignUp(int64(len(b))))
			}
		}
		got, err := readAt(r.file, b[n:to:to], at)
		if err != nil && r.direct && refusesDirect(err) {
			if err := r.undirect(); err != nil {
				return n, err
			}
			continue
		}
		if err != nil {
			return n, fmt.Errorf("read at %d: %w", at, err)
		}
		if got == 0 {
			return n, io.ErrUnexpectedEOF
		}
		n += got
	}
	if !r.direct {
		dropRange(r.file, off, int64(len(b)))
	}
	return len(b), nil
}

// undirect goes on through the cache.
func (r *Reader) undirect() error {
	r.direct = false
	if err := undirect(r.file); err != nil {
		return fmt.Errorf("read through the cache: %w", err)
	}
	return nil
}

// Sparse says whether the file has holes worth leaving out.
func (r *Reader) Sparse() bool { return r.stat.Used+BlockSize < r.stat.Size }

// NextData finds the next range of the file, from off, that has data. Both are the file's size when only a hole
// follows. Where the platform cannot tell, all is data.
func (r *Reader) NextData(off int64) (start, end int64) { return nextData(r.file, off, r.stat.Size) }
