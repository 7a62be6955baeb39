package offload

import (
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"golang.org/x/sys/unix"

	"twobin/guard"
	"twobin/guard/offload/internal/faultfs"
)

func TestScanReportsWhatIsOdd(t *testing.T) {
	t.Parallel()
	needRoot(t)
	src := t.TempDir()
	put(t, src, "b/file", 3)
	put(t, src, "a-b", 4) // sorts before a/… by bytes
	put(t, src, "a/file", 5)
	put(t, src, "bytes\xff\xfe", 6)
	if err := os.Symlink("b", filepath.Join(src, "link")); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(".", filepath.Join(src, "b/loop")); err != nil {
		t.Fatal(err)
	}
	if err := unix.Mkfifo(filepath.Join(src, "fifo"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := unix.Mknod(filepath.Join(src, "device"), unix.S_IFBLK|0o600, int(unix.Mkdev(7, 250))); err != nil {
		t.Fatal(err)
	}
	l, err := net.Listen("unix", filepath.Join(src, "sock"))
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	for _, bind := range []string{"self", "b/inner"} { // the card mounted below itself, and a folder of it elsewhere
		at := filepath.Join(src, bind)
		if err := os.Mkdir(at, 0o755); err != nil {
			t.Fatal(err)
		}
		command(t, "mount", "--bind", src, at)
		t.Cleanup(func() { _ = exec.Command("umount", "-l", at).Run() })
	}
	list := scanned(t, src)
	var files []string
	for _, e := range list.Files {
		files = append(files, e.Path)
	}
	if diff := cmp.Diff([]string{"a-b", "a/file", "b/file", "bytes\xff\xfe"}, files); diff != "" {
		t.Errorf("files (-want +got):\n%s", diff)
	}
	if diff := cmp.Diff([]string{"a", "b"}, list.Dirs); diff != "" {
		t.Errorf("folders (-want +got):\n%s", diff)
	}
	if diff := cmp.Diff([]string{"b/inner", "b/loop", "device", "fifo", "link", "self", "sock"}, list.Odd); diff != "" {
		t.Errorf("odd (-want +got):\n%s", diff)
	}
	job := plainJob(t, src, t.TempDir())
	errs := Check(t.Context(), job)
	for _, odd := range list.Odd {
		if !slices.ContainsFunc(errs, func(e *guard.Error) bool { return e.Kind == guard.KindSourceOdd && e.Path == odd }) {
			t.Errorf("Check says nothing of %s", odd)
		}
	}
	p, faults := Run(t.Context(), job, nil)
	noFaults(t, p, faults)
}

// TestScanEndlessFolders: a broken file system shows a folder within itself, for ever.
func TestScanEndlessFolders(t *testing.T) {
	t.Parallel()
	_, mount, backing := spoiled(t)
	dir := backing
	for range deepest + 5 {
		dir = filepath.Join(dir, "d")
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	_, err := Scan(t.Context(), mount)
	var e *guard.Error
	if !errors.As(err, &e) || !errors.Is(err, errDeep) {
		t.Errorf("Scan = %v, want %v", err, errDeep)
	}
}

func TestScanNamesTheFolderThatFails(t *testing.T) {
	t.Parallel()
	fsys, mount, backing := spoiled(t)
	put(t, backing, "CLIPS/SUB/file", 3)
	fsys.Set(faultfs.Hooks{Lookup: func(path string) unix.Errno {
		if path == "CLIPS/SUB/file" {
			return unix.EIO
		}
		return 0
	}})
	_, err := Scan(t.Context(), mount)
	var e *guard.Error
	if !errors.As(err, &e) || e.Kind != guard.KindSourceRead || e.Path != "CLIPS/SUB" {
		t.Errorf("Scan = %v, want %v in CLIPS/SUB", err, guard.KindSourceRead)
	}
}

// TestReservedNamesAreRefused: a card with a name of our half copies is not copied, because such names are removed.
func TestReservedNamesAreRefused(t *testing.T) {
	t.Parallel()
	src, dst := t.TempDir(), t.TempDir()
	put(t, src, "CLIPS/.twobin-0123456789abcdef.part", 9)
	job := plainJob(t, src, dst)
	for name, errs := range map[string][]*guard.Error{"Check": Check(t.Context(), job), "Run": func() []*guard.Error { _, e := Run(t.Context(), job, nil); return e }()} {
		if len(errs) != 1 || errs[0].Kind != guard.KindSourceOdd {
			t.Errorf("%s = %v, want one of kind %v", name, errs, guard.KindSourceOdd)
		}
	}
	if s := tree(t, dst); strings.Count(s, "\n") != 1 {
		t.Errorf("the destination has %s", s)
	}
}

// TestSparseFile: a file of 3 GB with 8 MiB of data takes little room, keeps its holes, and is proven.
func TestSparseFile(t *testing.T) {
	t.Parallel()
	size := int64(3e9)
	if os.Getenv("TWOBIN_TEST_HEAVY") != "" {
		size = 100e9
	}
	src := t.TempDir()
	put(t, src, "sparse.bin", 4<<20)
	put(t, src, "all hole.bin", 0)
	f, err := os.OpenFile(filepath.Join(src, "sparse.bin"), os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if _, err := f.WriteAt(make([]byte, 1<<20), size/2+77); err != nil {
		t.Fatal(err)
	}
	if _, err := f.WriteAt([]byte("end"), size-3); err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(filepath.Join(src, "all hole.bin"), 100<<20+1); err != nil {
		t.Fatal(err)
	}
	at, _, _ := ext4(t, 64<<20)
	job := plainJob(t, src, at)
	if errs := Check(t.Context(), job); len(errs) != 0 {
		t.Errorf("Check = %v", errs)
	}
	p, errs := Run(t.Context(), job, nil)
	noFaults(t, p, errs)
	for i, name := range []string{"all hole.bin", "sparse.bin"} { // xxhsum -H1, an outside program, reads the holes as zeros
		sum, _, _ := strings.Cut(command(t, "xxhsum", "-q", "-H1", rolled(job.Targets[0], name)), " ")
		if want := fmt.Sprintf("%016x", p.Files[i].Hash); strings.TrimPrefix(sum, "\\") != want {
			t.Errorf("xxhsum says %s of the copy of %s, the proof %s", sum, name, want)
		}
	}
	var st unix.Stat_t
	if err := unix.Stat(rolled(job.Targets[0], "sparse.bin"), &st); err != nil || st.Size != size || st.Blocks*512 > 32<<20 {
		t.Errorf("the copy has %d bytes, %d of them on the drive (%v)", st.Size, st.Blocks*512, err)
	}
}
