package offload

import (
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"golang.org/x/sys/unix"

	"twobin/guard"
	"twobin/guard/device"
	"twobin/guard/offload/internal/faultfs"
)

// fileTimes has the times (access, change, modification) of the listed files and folders, taken by lstat, which changes
// none.
func fileTimes(t testing.TB, src string, list guard.Listing) string {
	t.Helper()
	paths := append([]string{""}, list.Dirs...)
	for _, e := range list.Files {
		paths = append(paths, e.Path)
	}
	var b strings.Builder
	for _, path := range paths {
		var st unix.Stat_t
		if err := unix.Lstat(filepath.Join(src, path), &st); err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(&b, "%q a %d c %d m %d\n", path, st.Atim.Nano(), st.Ctim.Nano(), st.Mtim.Nano())
	}
	return b.String()
}

// sectorsWritten is how many sectors the system has written to a block device, everything flushed.
func sectorsWritten(t testing.TB, at, device string) int64 {
	t.Helper()
	dir, err := os.Open(at)
	if err != nil {
		t.Fatal(err)
	}
	defer dir.Close()
	if err := unix.Syncfs(int(dir.Fd())); err != nil {
		t.Fatal(err)
	}
	stat, err := os.ReadFile("/sys/block/" + filepath.Base(device) + "/stat")
	if err != nil {
		t.Fatal(err)
	}
	n, err := strconv.ParseInt(strings.Fields(string(stat))[6], 10, 64) // Documentation/block/stat.rst: write sectors
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// TestInvariant2CardUntouched: not a byte and not a timestamp, on a card that keeps every access time. The device itself
// must not get a single sector.
func TestInvariant2CardUntouched(t *testing.T) {
	t.Parallel()
	src, dev, _ := ext4(t, 64<<20, "-o", "strictatime")
	cardTree(t, src)
	job := plainJob(t, src, t.TempDir(), t.TempDir())
	job.Reread = true
	times, written := fileTimes(t, src, job.Listing), sectorsWritten(t, src, dev)

	job.Listing = scanned(t, src)
	if errs := Check(t.Context(), job); len(errs) != 0 {
		t.Fatal(errs)
	}
	p, errs := Run(t.Context(), job, nil)
	noFaults(t, p, errs)

	if n := sectorsWritten(t, src, dev) - written; n != 0 {
		t.Errorf("%d sectors were written to the card", n)
	}
	if diff := cmp.Diff(times, fileTimes(t, src, job.Listing)); diff != "" {
		t.Errorf("times on the card changed:\n%s", diff)
	}
	// That the test can see it: anyone else's reading does leave a trace here.
	if _, err := os.ReadFile(filepath.Join(src, frame2)); err != nil {
		t.Fatal(err)
	}
	if sectorsWritten(t, src, dev) == written || fileTimes(t, src, job.Listing) == times {
		t.Error("an ordinary reading left no trace, so this test shows nothing")
	}
}

// TestInvariant3NothingOverwrittenOrRemoved: other files of the same name, of equal and of other size, a folder and a
// link in the way, a file that appears in the last moment. Each stops its own destination and stays as it is.
func TestInvariant3NothingOverwrittenOrRemoved(t *testing.T) {
	t.Parallel()
	const roll = "Show/day001_2026-11-25/A/A003/"
	rows := []struct {
		name string
		path string
		make func(at string) error
	}{
		{"equal size, large", takeC001, func(at string) error { return os.WriteFile(at, make([]byte, 9<<20+123), 0o644) }},
		{"equal size, small", frame2, func(at string) error { return os.WriteFile(at, make([]byte, 100_001), 0o644) }},
		{"other size, large", takeC001, func(at string) error { return os.WriteFile(at, []byte("x"), 0o644) }},
		{"other size, small", frame2, func(at string) error { return os.WriteFile(at, []byte("x"), 0o644) }},
		{"folder in the way", takeC001, func(at string) error { return os.Mkdir(at, 0o755) }},
		{"link in the way", frame2, func(at string) error { return os.Symlink("elsewhere", at) }},
		{"link to an equal file", frame2, func(at string) error {
			if err := os.WriteFile(at+".other", make([]byte, 100_001), 0o644); err != nil {
				return err
			}
			return os.Symlink(filepath.Base(at)+".other", at)
		}},
		{"file for a folder", "FRAMES", func(at string) error { return os.WriteFile(at, []byte("x"), 0o644) }},
		{"link for a folder", "FRAMES", func(at string) error { return os.Symlink(os.TempDir(), at) }},
	}
	for _, row := range rows {
		t.Run(row.name, func(t *testing.T) {
			t.Parallel()
			src, dst := t.TempDir(), folderSet(t, 2)
			cardTree(t, src)
			at := filepath.Join(dst[1], roll+row.path)
			if err := os.MkdirAll(filepath.Dir(at), 0o755); err != nil {
				t.Fatal(err)
			}
			if err := row.make(at); err != nil {
				t.Fatal(err)
			}
			before := oneEntry(t, at)
			job := plainJob(t, src, dst...)
			p, errs := Run(t.Context(), job, nil)
			if len(errs) != 1 || errs[0].Kind != guard.KindExists || errs[0].Item != "DRIVE2" {
				t.Errorf("errors = %v, want one of kind %v on DRIVE2", errs, guard.KindExists)
			}
			if after := oneEntry(t, at); after != before {
				t.Errorf("what stood there was %s, is %s", before, after)
			}
			if !p.Proven(&p.Copies[0]) || p.Proven(&p.Copies[1]) {
				t.Error("want the first proven, the second not")
			}
		})
	}
	t.Run("appears in the last moment", func(t *testing.T) {
		t.Parallel()
		lastMoment(t)
	})
}

// lastMoment lets the file appear after the engine has looked, while it writes.
func lastMoment(t *testing.T) {
	src, dst := t.TempDir(), folderSet(t, 1)
	cardTree(t, src)
	fsys, mount, backing := spoiled(t)
	job := plainJob(t, src, append(dst, mount)...)
	at := rolled(Target{Path: backing, Folder: job.Targets[1].Folder}, takeC001)
	first := once()
	fsys.Set(faultfs.Hooks{Write: func(path string, off int64, data []byte) (int, unix.Errno) {
		if isTake(path) && off >= half && first() {
			if err := os.WriteFile(at, []byte("someone else's"), 0o644); err != nil {
				return 0, unix.EBADMSG
			}
		}
		return len(data), 0
	}})
	_, errs := Run(t.Context(), job, nil)
	if len(errs) != 1 || errs[0].Kind != guard.KindExists || errs[0].Path != takeC001 {
		t.Errorf("errors = %v, want one of kind %v", errs, guard.KindExists)
	}
	if data, err := os.ReadFile(at); string(data) != "someone else's" {
		t.Errorf("the other file now holds %d bytes (%v)", len(data), err)
	}
}

// oneEntry describes one entry without following it.
func oneEntry(t *testing.T, at string) string {
	t.Helper()
	info, err := os.Lstat(at)
	if err != nil {
		t.Fatal(err)
	}
	s := fmt.Sprintf("%v %d %v", info.Mode(), info.Size(), info.ModTime().UnixNano())
	switch {
	case info.Mode()&fs.ModeSymlink != 0:
		to, _ := os.Readlink(at)
		s += " " + to
	case info.Mode().IsRegular():
		data, _ := os.ReadFile(at)
		s += fmt.Sprintf(" %x", sum(data))
	case info.IsDir():
		s = "folder"
	}
	return s
}

// TestInvariant4OnlyTheDevicePasses: the three ways in which a copy could seem good without being on the device. The
// fourth, a drive that claims more than it holds, is TestClaimsMoreThanItHolds.
func TestInvariant4OnlyTheDevicePasses(t *testing.T) {
	t.Parallel()
	t.Run("wrong on the device, right in the cache", TestBitFlippedUnderTheCache)
	t.Run("memory instead of a device", TestMemoryIsNoDevice)
	t.Run("a failed flush condemns", func(t *testing.T) {
		t.Parallel()
		fsys, mount, _ := spoiled(t)
		src := t.TempDir()
		cardTree(t, src)
		job := plainJob(t, src, mount)
		failed := once()
		fsys.Set(faultfs.Hooks{Fsync: func(path string) unix.Errno {
			if isTake(path) && failed() {
				return unix.EIO // once: a second flush would say ok
			}
			return 0
		}})
		p, errs := Run(t.Context(), job, nil)
		if len(errs) != 1 || errs[0].Kind != guard.KindWrite || p.Copies[0].Fault == "" {
			t.Errorf("errors = %v, fault = %q", errs, p.Copies[0].Fault)
		}
	})
	t.Run("read back after the last write", func(t *testing.T) {
		t.Parallel()
		src := t.TempDir()
		cardTree(t, src)
		fsys, mount, _ := spoiled(t)
		var order strings.Builder
		step := make(chan string, 1<<16)
		fsys.Set(faultfs.Hooks{
			Read:   func(path string, _ int64, _ []byte) unix.Errno { step <- "r"; return 0 },
			Write:  func(path string, _ int64, data []byte) (int, unix.Errno) { step <- "w"; return len(data), 0 },
			Create: func(string) unix.Errno { step <- "w"; return 0 },
			Rename: func(string) unix.Errno { step <- "w"; return 0 },
		})
		job := plainJob(t, src, mount)
		job.Recorder = atStage(func(root *os.Root, folder string, _ int) error {
			return root.WriteFile(folder+"/"+device.TempName("list"), []byte("list"), 0o644)
		})
		p, errs := Run(t.Context(), job, nil)
		if len(errs) != 0 || p.Copies[0].ReadFrom.Before(p.Copies[0].LastWrite) {
			t.Errorf("errors = %v, last write %v, read back from %v", errs, p.Copies[0].LastWrite, p.Copies[0].ReadFrom)
		}
		close(step)
		for s := range step {
			order.WriteString(s)
		}
		all := order.String()
		if !strings.Contains(all, "r") || strings.LastIndex(all, "w") > strings.Index(all, "r") {
			t.Errorf("order of writes and reads = %s", all)
		}
	})
}
