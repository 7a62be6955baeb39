//go:build linux || darwin

package guard

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// folderAt opens a folder as a card.
func folderAt(t *testing.T, path string) *unixFolder {
	t.Helper()
	f, err := openCard(path)
	if err != nil {
		t.Fatal(err)
	}
	return f.(*unixFolder)
}

// What cannot be done to a card's folder is said as an error of that call, never taken for done.
func TestFolderFaults(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	plant(t, filepath.Join(dir, "sub"), "", true)
	f := folderAt(t, dir)
	var path *fs.PathError
	want := func(what, op string, err, cause error) {
		t.Helper()
		if !errors.As(err, &path) || path.Op != op || !errors.Is(err, cause) {
			t.Errorf("%s = %v, want %s: %v", what, err, op, cause)
		}
	}
	_, err := openCard(filepath.Join(dir, "nothing"))
	want("a card that is not there", "open", err, fs.ErrNotExist)
	_, err = f.Stat("nothing")
	want("stat", "stat", err, fs.ErrNotExist)
	want("remove a file", "remove", f.RemoveFile("nothing"), fs.ErrNotExist)
	want("remove a folder", "remove", f.RemoveFolder("nothing"), fs.ErrNotExist)
	for _, name := range []string{"", ".", ".."} {
		_, err = f.Sub(name)
		want("sub "+name, "open", err, fs.ErrInvalid)
	}
	other := &unixFolder{dir: f.dir, dev: f.dev + 1} // as if sub were of another file system than the card
	_, err = other.Sub("sub")
	want("a folder of another file system", "open", err, errMount)
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	_, err = f.Self()
	want("self of a closed one", "stat", err, unix.EBADF)
	_, err = f.Names()
	want("names of a closed one", "open", err, unix.EBADF)
	want("sync of a closed one", "sync", f.Sync(), unix.EBADF)
}

// A process that is being started holds copies of all handles for a moment, and a lock belongs to all copies together.
func TestCloseGivesTheCardFreeBesideACopyOfTheHandle(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	f := folderAt(t, dir)
	handle, err := unix.Dup(f.fd())
	if err != nil {
		t.Fatal(err)
	}
	defer unix.Close(handle)
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	if err := folderAt(t, dir).Close(); err != nil {
		t.Error(err)
	}
}

// Without the right to leave the access time alone a folder is opened all the same; any other refusal is final.
func TestOpenQuietly(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	for _, c := range []struct {
		name  string
		says  []error // of each call
		calls int
		fails error
	}{
		{"at once", []error{nil}, 1, nil},
		{"not ours", []error{unix.EPERM, nil}, 2, nil},
		{"not ours, and gone then", []error{unix.EPERM, unix.ENOENT}, 2, unix.ENOENT},
		{"closed to us", []error{unix.EACCES, nil}, 1, unix.EACCES},
		{"interrupted", []error{unix.EINTR, unix.EINTR, nil}, 3, nil},
	} {
		if noAccessTime == 0 && c.calls == 2 {
			continue // this system asks once
		}
		var asked []int
		got, err := openQuietly(func(flags int) (int, error) {
			asked = append(asked, flags)
			if says := c.says[len(asked)-1]; says != nil {
				return -1, says
			}
			return unix.Open(dir, unix.O_RDONLY|unix.O_CLOEXEC, 0)
		}, "name")
		if !errors.Is(err, c.fails) || (err == nil) != (c.fails == nil) || len(asked) != c.calls || asked[0] != noAccessTime {
			t.Errorf("%s: %v after calls with %v", c.name, err, asked)
		}
		if c.calls == 2 && asked[1] != 0 {
			t.Errorf("%s: the second call has the flags %v", c.name, asked[1])
		}
		if err == nil {
			if _, err := os.ReadDir(dir); err != nil || got.Name() != "name" {
				t.Errorf("%s: %q, %v", c.name, got.Name(), err)
			}
			_ = got.Close()
		}
	}
}

// After a call that did not return in time no other is begun on that card.
func TestAsideBeginsNothingAfterAStall(t *testing.T) {
	t.Parallel()
	a := newAside(time.Millisecond)
	let := make(chan struct{})
	defer close(let)
	if _, err := ask(a, func() (int, error) { <-let; return 1, nil }); !errors.Is(err, errStalled) {
		t.Fatalf("a call that hangs = %v, want %v", err, errStalled)
	}
	began := make(chan struct{}, 1)
	if _, err := ask(a, func() (int, error) { began <- struct{}{}; return 1, nil }); !errors.Is(err, errStalled) || len(began) > 0 {
		t.Errorf("the next call = %v, begun %v; want %v, and not begun", err, len(began) > 0, errStalled)
	}
}
