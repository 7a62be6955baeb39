package device

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
	"unsafe"

	"golang.org/x/sys/unix"

	"twobin/guard"
)

func slowly(r *Root) func(from, to string) error { return r.placeSlowly }

// TestHonesty: what can be promised for the file system under the test's folder, and never for memory.
func TestHonesty(t *testing.T) {
	t.Parallel()
	memory, err := os.MkdirTemp("/dev/shm", "twobin-test-")
	if err != nil {
		t.Skip("/dev/shm is lacking")
	}
	t.Cleanup(func() { _ = os.RemoveAll(memory) })
	for _, dir := range []string{memory, t.TempDir()} {
		if err := os.WriteFile(filepath.Join(dir, "f"), make([]byte, 100_000), 0o644); err != nil {
			t.Fatal(err)
		}
		var st unix.Statfs_t
		if err := unix.Statfs(dir, &st); err != nil {
			t.Fatal(err)
		}
		want := guard.NotPastCache
		switch st.Type {
		case unix.EXT4_SUPER_MAGIC, unix.XFS_SUPER_MAGIC, unix.BTRFS_SUPER_MAGIC:
			want = guard.FromDevice
		}
		r := openRoot(t, dir)
		read, err := ReadBack(t.Context(), r, "f", ReadOptions{})
		if err != nil || read.Honesty != want || r.Local() != (want == guard.FromDevice) {
			t.Errorf("%s (type %x): honesty = %v, %v, want %v", dir, st.Type, read.Honesty, err, want)
		}
	}
}

// TestPagesHeldByOthers: as long as another process may hold a page of the file, nothing is promised. Both ways of
// looking agree.
func TestPagesHeldByOthers(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	r := openRoot(t, dir)
	if !r.Local() {
		t.Skip("the folder for tests is on no file system with promises")
	}
	const size = 1 << 20
	if err := os.WriteFile(filepath.Join(dir, "f"), make([]byte, size), 0o644); err != nil {
		t.Fatal(err)
	}
	f, err := os.Open(filepath.Join(dir, "f"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if err := f.Sync(); err != nil {
		t.Fatal(err)
	}
	m, err := unix.Mmap(int(f.Fd()), 0, size, unix.PROT_READ, unix.MAP_SHARED|unix.MAP_POPULATE)
	if err != nil {
		t.Fatal(err)
	}
	if gone, err := notResident(f, size); gone || err != nil {
		t.Errorf("notResident of a mapped file = %v, %v, want false", gone, err)
	}
	if read, err := ReadBack(t.Context(), r, "f", ReadOptions{}); err != nil || read.Honesty != guard.NotPastCache {
		t.Errorf("honesty of a mapped file = %v, %v, want %v", read.Honesty, err, guard.NotPastCache)
	}
	if err := unix.Munmap(m); err != nil {
		t.Fatal(err)
	}
	deadline := time.Now().Add(5 * time.Second) // the kernel frees mapped pages a little later
	for {
		read, err := ReadBack(t.Context(), r, "f", ReadOptions{})
		if err != nil {
			t.Fatal(err)
		}
		if read.Honesty == guard.FromDevice {
			break
		}
		if time.Now().After(deadline) {
			t.Fatal("never gone from the cache")
		}
	}
	if gone, err := notResident(f, size); !gone || err != nil {
		t.Errorf("notResident after the drop = %v, %v, want true", gone, err)
	}
}

// TestBuffersAskForHugePages: the kernel's own note on the mapping says "hg" where huge pages were asked for, whether it
// had any or not. Source: proc_pid_smaps(5), VmFlags.
func TestBuffersAskForHugePages(t *testing.T) {
	t.Parallel()
	if _, err := os.Stat("/sys/kernel/mm/transparent_hugepage"); err != nil {
		t.Skip("this kernel has no huge pages: ", err)
	}
	block, err := NewBuffer(BlockSize)
	if err != nil {
		t.Fatal(err)
	}
	defer FreeBuffer(block)
	var scratch Scratch
	defer scratch.Free()
	small, err := scratch.get(0, Align)
	if err != nil {
		t.Fatal(err)
	}
	if len(small) != Align || cap(small) < hugePage {
		t.Errorf("scratch for one page: length %d, room %d, want %d and %d", len(small), cap(small), Align, hugePage)
	}
	for name, b := range map[string][]byte{"block": block, "scratch": small} {
		if flags := mappingFlags(t, &b[0]); !slices.Contains(flags, "hg") {
			t.Errorf("%s: flags of its mapping: %q, none of them hg", name, flags)
		}
	}
}

// mappingFlags has what smaps says of the mapping that holds p.
func mappingFlags(t *testing.T, p *byte) []string {
	t.Helper()
	smaps, err := os.ReadFile("/proc/self/smaps")
	if err != nil {
		t.Fatal(err)
	}
	at, inside := uint64(uintptr(unsafe.Pointer(p))), false
	for line := range strings.Lines(string(smaps)) {
		var from, to uint64
		if n, _ := fmt.Sscanf(line, "%x-%x ", &from, &to); n == 2 {
			inside = from <= at && at < to
		}
		if flags, is := strings.CutPrefix(line, "VmFlags:"); is && inside {
			return strings.Fields(flags)
		}
	}
	t.Fatal("no mapping holds the buffer")
	return nil
}

// TestReadingLeavesNoTrace: access times stay, through the cache and past it.
func TestReadingLeavesNoTrace(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	name := filepath.Join(dir, "f")
	if err := os.WriteFile(name, make([]byte, 9000), 0o644); err != nil {
		t.Fatal(err)
	}
	old := time.Unix(1e9, 0)
	for _, p := range []string{name, dir} {
		if err := os.Chtimes(p, old, time.Now()); err != nil { // older than the change: relatime would renew it
			t.Fatal(err)
		}
	}
	r := openRoot(t, dir)
	f, err := r.OpenRead("f")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if err := f.undirect(); err != nil {
		t.Fatal(err)
	}
	if _, err := f.Sum(t.Context(), ReadOptions{}); err != nil {
		t.Fatal(err)
	}
	if _, err := ReadBack(t.Context(), r, "f", ReadOptions{}); err != nil {
		t.Fatal(err)
	}
	if err := r.List(func(string, Stat) error { return nil }); err != nil {
		t.Fatal(err)
	}
	for _, p := range []string{name, dir} {
		var st unix.Stat_t
		if err := unix.Stat(p, &st); err != nil || st.Atim.Sec != 1e9 {
			t.Errorf("access time of %s = %d, %v", p, st.Atim.Sec, err)
		}
	}
}

func TestLockExcludes(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	a, b := openRoot(t, dir), openRoot(t, dir)
	if err := a.Lock(); err != nil {
		t.Fatalf("first Lock = %v", err)
	}
	var holder *guard.Holder
	if err := b.Lock(); !errors.As(err, &holder) || holder.PID != os.Getpid() {
		t.Errorf("second Lock = %v, want it to name this process", err)
	}
}
