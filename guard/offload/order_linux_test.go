package offload

import (
	"path"
	"strings"
	"sync"
	"testing"

	"golang.org/x/sys/unix"

	"twobin/guard/device"
	"twobin/guard/offload/internal/faultfs"
)

// TestOrderOfFlushes watches a drive that has to flush file by file: a file is flushed after its last write and before
// it gets its name, and every folder is flushed after the last name in it, before anything is read back.
func TestOrderOfFlushes(t *testing.T) {
	t.Parallel()
	src := t.TempDir()
	cardTree(t, src)
	fsys, mount, _ := spoiled(t)
	job := plainJob(t, src, mount)
	roll := job.Targets[0].Folder

	var mu sync.Mutex
	dirty, unnamed := map[string]bool{}, map[string]bool{} // files with unflushed data; folders with unflushed names
	renames, reads := 0, 0
	note := func(f func()) unix.Errno { mu.Lock(); defer mu.Unlock(); f(); return 0 }
	fsys.Set(faultfs.Hooks{
		Create: func(p string) unix.Errno { return note(func() { dirty[p] = true }) },
		Write: func(p string, _ int64, data []byte) (int, unix.Errno) {
			return len(data), note(func() { dirty[p] = true })
		},
		Fsync: func(p string) unix.Errno { return note(func() { delete(dirty, p); delete(unnamed, p) }) },
		Rename: func(p string) unix.Errno {
			return note(func() {
				renames++
				temp := path.Dir(p) + "/" + device.TempName(strings.TrimPrefix(p, roll+"/"))
				if dirty[temp] {
					t.Errorf("%q got its name before it was flushed", p)
				}
				unnamed[path.Dir(p)] = true
			})
		},
		Read: func(p string, _ int64, _ []byte) unix.Errno {
			return note(func() {
				if reads++; len(unnamed) != 0 {
					t.Errorf("%q is read back while names are unflushed in %v", p, unnamed)
				}
			})
		},
	})
	if _, errs := Run(t.Context(), job, nil); len(errs) != 0 {
		t.Fatal(errs)
	}
	if renames != len(job.Listing.Files) || reads == 0 {
		t.Errorf("%d names given and %d reads seen, for %d files", renames, reads, len(job.Listing.Files))
	}
}
