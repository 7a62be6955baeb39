package journal

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"unsafe"

	"golang.org/x/sys/unix"
)

// need skips, or fails where everything must be there, when something is lacking.
func need(t *testing.T, what string, ok bool) {
	t.Helper()
	switch {
	case ok:
	case os.Getenv("TWOBIN_TEST_ALL") != "":
		t.Fatalf("lacking: %s", what)
	default:
		t.Skipf("lacking: %s", what)
	}
}

func run(t *testing.T, name string, args ...string) string {
	t.Helper()
	out, err := exec.Command(name, args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s %s: %v\n%s", name, strings.Join(args, " "), err, out)
	}
	return strings.TrimSpace(string(out))
}

func have(names ...string) bool {
	for _, n := range names {
		if _, err := exec.LookPath(n); err != nil {
			return false
		}
	}
	return os.Geteuid() == 0
}

// fill takes all room that is left on the volume of path.
func fill(t *testing.T, path string) {
	t.Helper()
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	for size := 1 << 16; size > 0; {
		if _, err := f.Write(make([]byte, size)); err != nil {
			size /= 2
		}
	}
	if err := f.Close(); err != nil && !errors.Is(err, unix.ENOSPC) {
		t.Fatal(err)
	}
}

func TestFullSystemDisk(t *testing.T) {
	need(t, "root", os.Geteuid() == 0)
	dir := t.TempDir()
	if err := unix.Mount("tmpfs", dir, "tmpfs", 0, "size=256k"); err != nil {
		need(t, "mounting a tmpfs: "+err.Error(), false)
	}
	t.Cleanup(func() {
		if err := unix.Unmount(dir, 0); err != nil {
			t.Error(err)
		}
	})
	path := filepath.Join(dir, "shift.journal")
	j, before, err := Open(path, Options{})
	if err != nil {
		t.Fatal(err)
	}
	fill(t, filepath.Join(dir, "fill"))
	var out []Line
	for err == nil {
		before = append(before, out...)
		out, err = j.Append(t.Context(), Line{Event: "note.made", Data: []byte(`{"text":"` + strings.Repeat("x", 1000) + `"}`)})
	}
	if kindOf(err) != "no-space" || out != nil {
		t.Fatalf("Append on a full disk = %v, %v (%s)", out, err, kindOf(err))
	}
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	if _, _, err := Open(path, Options{}); kindOf(err) != "no-space" {
		t.Errorf("Open on a full disk = %v", err)
	}
	if err := os.Remove(filepath.Join(dir, "fill")); err != nil {
		t.Fatal(err)
	}
	j, after := mustOpen(t, path, Options{})
	if len(after) != len(before)+1 {
		t.Errorf("with room again: %d lines, want %d and one", len(after), len(before))
	}
	for i, l := range before {
		if !l.equal(after[i]) {
			t.Errorf("line %d changed", i+1)
		}
	}
	mustAppend(t, j, Line{Event: "note.made"})
	if r, err := j.Check(); err != nil || !r.Whole {
		t.Errorf("with room again: %v, %v", r, err)
	}
	if err := j.Close(); err != nil { // before the volume goes
		t.Fatal(err)
	}
}

// Append-only for the system as well: the journal needs no other way of writing. A torn end is copied but cannot be cut.
func TestInvariant10WorksWhereTheSystemOnlyAllowsAppending(t *testing.T) {
	need(t, "root, chattr", have("chattr"))
	path := tempPath(t)
	j, _, err := Open(path, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if out, err := exec.CommandContext(t.Context(), "chattr", "+a", path).CombinedOutput(); err != nil {
		need(t, "a file system with chattr +a: "+string(out), false)
	}
	t.Cleanup(func() { run(t, "chattr", "-a", path) })
	mustAppend(t, j, Line{Event: "step.done"})
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	j, _ = mustOpen(t, path, Options{})
	mustAppend(t, j, Line{Event: "step.done"})
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, nil, 0); err == nil {
		t.Fatal("the file is not append-only, so the test shows nothing")
	}
	end := `{"seq":5,"time":"2031-05-06T0`
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_APPEND, 0)
	if err != nil {
		t.Fatal(err)
	}
	_, err = f.WriteString(end)
	if err := errors.Join(err, f.Close()); err != nil {
		t.Fatal(err)
	}
	_, lines, err := Open(path, Options{})
	if kindOf(err) != "denied" || !strings.Contains(fmt.Sprint(err), "cut torn end off") || len(lines) != 4 {
		t.Errorf("torn end of an append-only file: %d lines, %v", len(lines), err)
	}
	if got, err := os.ReadFile(path + ".torn-1"); err != nil || string(got) != end {
		t.Errorf("set aside %q, %v", got, err)
	}
}

// device is an ext4 file system in a loop device, mounted at dir.
type device struct{ loop, dir string }

func newDevice(t *testing.T) *device {
	t.Helper()
	need(t, "root, losetup, mkfs.ext4", have("losetup", "mkfs.ext4"))
	image := filepath.Join(memoryDir(t), "image")
	f, err := os.Create(image)
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(f.Truncate(32<<20), f.Close()); err != nil {
		t.Fatal(err)
	}
	run(t, "mkfs.ext4", "-q", image)
	out, err := exec.CommandContext(t.Context(), "losetup", "-f", "--show", image).CombinedOutput()
	if err != nil {
		need(t, "a free loop device: "+string(out), false)
	}
	d := &device{loop: strings.TrimSpace(string(out)), dir: t.TempDir()}
	t.Cleanup(func() {
		if out, err := exec.Command("losetup", "-d", d.loop).CombinedOutput(); err != nil {
			t.Errorf("losetup -d: %v %s", err, out)
		}
	})
	d.mount(t)
	t.Cleanup(func() { d.unmount(t) })
	return d
}

func (d *device) mount(t *testing.T) {
	t.Helper()
	if err := unix.Mount(d.loop, d.dir, "ext4", 0, ""); err != nil {
		t.Fatal(err)
	}
}

func (d *device) unmount(t *testing.T) {
	t.Helper()
	if err := unix.Unmount(d.dir, 0); err != nil {
		t.Error(err)
	}
}

// unflushed is a File whose flush does nothing.
type unflushed struct{ File }

func (unflushed) Sync() error { return nil }

// Acknowledged lines, the journal's own name included, survive a power cut right after Append; and without the flush they
// do not, so the test can fail.
func TestInvariant8NoAcknowledgedLineIsLostInAPowerCut(t *testing.T) {
	d := newDevice(t)
	for i := range 10 {
		for _, flushed := range []bool{true, false} {
			path := filepath.Join(d.dir, fmt.Sprintf("%v-%d.journal", flushed, i))
			o := Options{Wrap: func(f File) File { return unflushed{f} }}
			if flushed {
				o.Wrap = nil
			}
			j, lines, err := Open(path, o)
			if err != nil {
				t.Fatal(err)
			}
			for range 3 * i {
				lines = append(lines, mustAppend(t, j, Line{Event: "step.done", Data: []byte(`{"text":"` + strings.Repeat("x", 700) + `"}`)})...)
			}
			if !flushed { // journal.opened is made durable by the flush of the folder; what comes after it is not
				lines = append(lines, mustAppend(t, j, Line{Event: "step.done"})...)
			}
			cut := d.cutUnder(t, j)
			got, damage, err := ReadFile(path)
			if flushed {
				if err != nil || damage != nil || len(got) != len(lines) || !got[len(got)-1].equal(lines[len(lines)-1]) {
					t.Fatalf("%d of %d acknowledged lines after the power cut, %v, %v (close: %v)", len(got), len(lines), damage, err, cut)
				}
			} else if len(got) == len(lines) {
				t.Fatalf("nothing lost without a flush: the power cut of this test cuts nothing")
			}
		}
	}
}

// cutUnder stops all writing to the device at once, as a power cut does, drops the journal and mounts what is there.
// FS_IOC_SHUTDOWN with flag 2 (EXT4_GOING_FLAGS_NOLOGFLUSH: the log is not flushed): numbers from the Linux kernel's ext4
// header.
func (d *device) cutUnder(t *testing.T, j *Journal) error {
	t.Helper()
	const shutdown, noLogFlush = 0x8004587d, 2
	flag := uint32(noLogFlush)
	if _, _, errno := unix.Syscall(unix.SYS_IOCTL, j.file.Fd(), shutdown, uintptr(unsafe.Pointer(&flag))); errno != 0 {
		need(t, "FS_IOC_SHUTDOWN: "+errno.Error(), false)
	}
	err := j.Close() // its note cannot be removed any more
	d.unmount(t)
	d.mount(t)
	return err
}

// A process that is being started holds copies of all handles for a moment, and a lock belongs to all copies together.
func TestCloseGivesTheLockFreeBesideACopyOfTheHandle(t *testing.T) {
	t.Parallel()
	path := tempPath(t)
	j, _, err := Open(path, Options{})
	if err != nil {
		t.Fatal(err)
	}
	handle, err := unix.Dup(int(j.file.Fd()))
	if err != nil {
		t.Fatal(err)
	}
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	mustOpen(t, path, Options{})
	if err := unix.Close(handle); err != nil {
		t.Fatal(err)
	}
}
