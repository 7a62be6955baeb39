package watch

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"twobin/guard"
)

// limit is how long a test waits for what must come; only a failing test takes that long.
const limit = 10 * time.Second

// next waits for the first volume in a change that concerns path. kind is "arrived", "gone", "changed" or "answered".
func next(t *testing.T, w *Watcher, kind, path string) (guard.Volume, time.Time) {
	t.Helper()
	end := time.NewTimer(limit)
	defer end.Stop()
	for {
		select {
		case c, ok := <-w.Changes():
			if !ok {
				t.Fatalf("waiting for %s %s: closed", kind, path)
			}
			for k, vs := range map[string][]guard.Volume{"arrived": c.Arrived, "gone": c.Gone, "changed": c.Changed, "answered": c.Answered} {
				for _, v := range vs {
					if v.Mount != path {
						continue // other tests mount and unmount meanwhile
					}
					if k == kind {
						return v, c.At
					}
					t.Logf("%s: %s %+v", path, k, v)
				}
			}
		case <-end.C:
			t.Fatalf("waiting for %s %s: nothing within %s", kind, path, limit)
		}
	}
}

// arrived waits for a volume with its identity. On a busy machine the drive may answer a little later than the mount
// table does; what it says then is the same arrival.
func arrived(t *testing.T, w *Watcher, path string) (guard.Volume, time.Time) {
	t.Helper()
	v, at := next(t, w, "arrived", path)
	if v.ID == "" && v.Size == 0 {
		v, _ = next(t, w, "answered", path)
	}
	return v, at
}

// watchReaders watches with time for drives to answer on a busy machine, so that volumes are reported whole.
func watchReaders(t *testing.T, readers ...string) *Watcher {
	t.Helper()
	w, err := New(Options{Readers: readers, Answer: 3 * time.Second})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := w.Close(); err != nil {
			t.Error(err)
		}
	})
	return w
}

// folder makes a folder with one file in it.
func folder(t *testing.T, path string) string {
	t.Helper()
	must(t, os.MkdirAll(path, 0o755))
	must(t, os.WriteFile(filepath.Join(path, "clip.mov"), []byte("x"), 0o644))
	return path
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func TestReaderFolderAppearsAndGoes(t *testing.T) {
	t.Parallel()
	d := t.TempDir()
	reader := filepath.Join(d, "reader")
	a, b := folder(t, filepath.Join(d, "a")), folder(t, filepath.Join(d, "b"))
	w := watchReaders(t, reader)
	if v, err := w.Identify(reader); err == nil {
		t.Errorf("Identify without a card = %+v, want an error", v)
	}
	must(t, os.Rename(a, reader))
	first, _ := arrived(t, w, reader)
	again, err := w.Identify(reader)
	if err != nil || again.ID != first.ID || first.ID == "" {
		t.Errorf("Identify = %+v, %v, want ID %q", again, err, first.ID)
	}
	must(t, os.Rename(reader, a))
	if v, _ := next(t, w, "gone", reader); v.ID != first.ID {
		t.Errorf("gone %q, want %q", v.ID, first.ID)
	}
	must(t, os.Rename(b, reader))
	if v, _ := arrived(t, w, reader); v.ID == first.ID {
		t.Errorf("another folder has the same ID %q", v.ID)
	}
	must(t, os.Rename(reader, b))
	must(t, os.Rename(a, reader))
	if v, _ := arrived(t, w, reader); v.ID != first.ID {
		t.Errorf("the first folder seated again: %q, want %q", v.ID, first.ID)
	}
}

func TestReaderFolderFillsAndEmpties(t *testing.T) {
	t.Parallel()
	reader := t.TempDir()
	w := watchReaders(t, reader)
	if vs, err := w.Snapshot(t.Context()); err != nil || len(vs) == 0 || vs[0].Mount == reader {
		t.Errorf("Snapshot = %+v, %v, want volumes and no card", vs, err)
	}
	folder(t, reader)
	v, _ := arrived(t, w, reader)
	if vs, err := w.Snapshot(t.Context()); err != nil || len(vs) == 0 || vs[0].ID != v.ID || vs[0].Mount != reader {
		t.Errorf("Snapshot = %+v, %v, want the card first", vs, err)
	}
	must(t, os.Remove(filepath.Join(reader, "clip.mov")))
	next(t, w, "gone", reader)
}

func TestReaderIsALink(t *testing.T) {
	t.Parallel()
	d := t.TempDir()
	a, b := folder(t, filepath.Join(d, "deep", "a")), folder(t, filepath.Join(d, "b"))
	reader, middle := filepath.Join(d, "reader"), filepath.Join(d, "middle")
	must(t, os.Symlink("middle", reader))
	w := watchReaders(t, reader)
	must(t, os.Symlink(a, middle))
	va, _ := arrived(t, w, reader)
	must(t, os.Symlink(b, middle+".new"))
	must(t, os.Rename(middle+".new", middle)) // re-pointed in one go
	vb, _ := arrived(t, w, reader)
	if va.ID == vb.ID {
		t.Errorf("both cards have ID %q", va.ID)
	}
	must(t, os.RemoveAll(b))
	next(t, w, "gone", reader)
}

func TestReaderBelowAFolderThatComes(t *testing.T) {
	t.Parallel()
	d := t.TempDir()
	folder(t, filepath.Join(d, "wait", "x", "reader"))
	reader := filepath.Join(d, "media", "x", "reader")
	w := watchReaders(t, reader)
	must(t, os.Rename(filepath.Join(d, "wait"), filepath.Join(d, "media")))
	arrived(t, w, reader)
	must(t, os.Rename(filepath.Join(d, "media"), filepath.Join(d, "wait")))
	next(t, w, "gone", reader)
}

func TestFolderLookLeavesNoTrace(t *testing.T) {
	t.Parallel()
	d := folder(t, filepath.Join(t.TempDir(), "card"))
	old := time.Date(2001, 2, 3, 4, 5, 6, 0, time.UTC)
	must(t, os.Chtimes(d, old, old))
	before := accessTime(t, d)
	for range 3 {
		if f, err := (machine{}).Folder(d); err != nil || !f.Filled {
			t.Fatalf("Folder = %+v, %v", f, err)
		}
	}
	if after := accessTime(t, d); !after.Equal(before) {
		t.Errorf("looking set the access time from %s to %s", before, after)
	}
}
