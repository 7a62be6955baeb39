package device

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
)

// bufferedWindow is how much may wait in the cache, in bytes, when a file system cannot write past it.
const bufferedWindow = 32 << 20

// Writer fills one temporary file from its beginning to its end.
type Writer struct {
	folder   *Folder
	name     string
	file     *os.File
	size     int64
	off      int64
	waited   int64
	direct   bool
	sparse   bool
	overhang bool
}

// Create makes a temporary file of the given final size in the folder, and reserves its room: a full volume says so
// here, before the first byte. An older file of that temporary name is removed; any name that is not temporary is
// refused. sparse: no room is reserved, because the file will have holes ([Writer.Skip]).
func (f *Folder) Create(name string, size int64, sparse bool) (*Writer, error) {
	return f.newWriter(name, size, sparse, size > 0 && !sparse)
}

// CreateSmall is Create for a file that is written in one piece: no room is reserved, because that one write says at
// once if there is none. Reserving took an eighth of the time of small files.
func (f *Folder) CreateSmall(name string, size int64) (*Writer, error) {
	return f.newWriter(name, size, false, false)
}

func (f *Folder) newWriter(name string, size int64, sparse, room bool) (*Writer, error) {
	if !IsTemp(name) {
		return nil, &fs.PathError{Op: "create", Path: name, Err: fs.ErrInvalid}
	}
	file, direct, err := f.create(name, size > 0)
	if errors.Is(err, fs.ErrExist) {
		if err := f.RemoveTemp(name); err != nil {
			return nil, err
		}
		file, direct, err = f.create(name, size > 0)
	}
	if err != nil {
		return nil, err
	}
	w := &Writer{folder: f, name: name, file: file, size: size, direct: direct, sparse: sparse}
	if room {
		if err := reserve(file, size); err != nil {
			return nil, errors.Join(fmt.Errorf("reserve %d bytes: %w", size, err), w.Abort())
		}
	}
	return w, nil
}

// Write appends b. b begins at an aligned address and its capacity is at least AlignUp(len(b)); only the last piece may
// have a length that is no multiple of Align, and what stands behind it up to the capacity used must be zero. b is not
// changed and may be shared with other writers.
func (w *Writer) Write(b []byte) error {
	end := len(b)
	if w.direct {
		end = int(AlignUp(int64(len(b))))
	}
	for n := 0; n < end; {
		got, err := writeAt(w.file, b[n:end:end], w.off+int64(n))
		if err == nil && got == 0 {
			err = io.ErrShortWrite
		}
		n += got
		if w.direct && (refusesDirect(err) || err == nil && n < end && n%Align != 0) {
			w.direct, end, err = false, len(b), undirect(w.file)
		}
		if err != nil {
			return fmt.Errorf("write at %d: %w", w.off+int64(n), err)
		}
		w.overhang = w.overhang || n > len(b)
	}
	w.off += int64(len(b))
	if !w.direct {
		w.pace(int64(len(b)))
	}
	return nil
}

// pace keeps little in the cache: writing begins at once, and what is a window behind is waited for and let go.
func (w *Writer) pace(n int64) {
	startWriting(w.file, w.off-n, n)
	if behind := w.off - bufferedWindow; behind > w.waited {
		waitWritten(w.file, w.waited, behind-w.waited)
		w.waited = behind
	}
}

// Skip leaves a hole of n bytes, a multiple of Align unless it is the file's end.
func (w *Writer) Skip(n int64) { w.off += n }

// Finish gives the file its exact length and its time (nanoseconds since 1970 UTC). Nothing is durable yet.
func (w *Writer) Finish(mtime int64) error {
	if w.off != w.size {
		return fmt.Errorf("finish: %d bytes written, want %d", w.off, w.size)
	}
	if w.overhang || w.sparse {
		if err := w.file.Truncate(w.size); err != nil {
			return fmt.Errorf("set length: %w", err)
		}
	}
	return w.folder.SetTime(w.name, mtime)
}

// Flush makes the file durable. After an error it must not be called again: the second call would say ok.
func (w *Writer) Flush() error {
	if err := w.file.Sync(); err != nil {
		return fmt.Errorf("flush: %w", err)
	}
	return nil
}

// Close closes the file; its error counts like a failed write.
func (w *Writer) Close() error { return w.file.Close() }

// Abort closes the file and removes it.
func (w *Writer) Abort() error {
	return errors.Join(w.file.Close(), w.folder.RemoveTemp(w.name))
}

// Place gives the temporary file from its name to. A file that has that name already is left alone; the error then is
// [fs.ErrExist]. The folder has to be flushed before the name is durable.
func (f *Folder) Place(from, to string) error {
	if !IsTemp(from) {
		return &fs.PathError{Op: "place", Path: from, Err: fs.ErrInvalid}
	}
	if err := checkName("place", to); err != nil {
		return err
	}
	return f.fault("place", to, f.place(from, to))
}
