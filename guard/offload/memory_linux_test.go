package offload

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"strconv"
	"strings"
	"testing"
)

// TestMemoryOfTheList: listing, proof and three copies of it stay below 400 bytes a file (the limit of the issue), names
// of 40 bytes included.
func TestMemoryOfTheList(t *testing.T) {
	files := 20_000
	if os.Getenv("TWOBIN_TEST_HEAVY") != "" {
		files = 1_000_000
	}
	src := t.TempDir()
	for i := range files {
		name := fmt.Sprintf("FRAMES/A001R%04d/A001.%019d.dpx", i/1000, i)
		if i%1000 == 0 {
			put(t, src, name, 0)
		} else if f, err := os.Create(filepath.Join(src, name)); err != nil {
			t.Fatal(err)
		} else if err := f.Close(); err != nil {
			t.Fatal(err)
		}
	}
	dst := folderSet(t, 3)
	before := heap()
	job := plainJob(t, src, dst...)
	p, errs := Run(t.Context(), job, nil)
	noFaults(t, p, errs)
	each := (int64(heap()) - int64(before)) / int64(files)
	t.Logf("%d bytes a file", each)
	if each > 400 {
		t.Errorf("the list takes %d bytes a file, want 400 at most", each)
	}
	runtime.KeepAlive(p)
	runtime.KeepAlive(job)
}

// heap is the live heap in bytes.
func heap() uint64 {
	runtime.GC()
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.HeapAlloc
}

// TestMemoryOfTheCopy: the whole process that copies to three destinations stays below 80 MiB resident.
func TestMemoryOfTheCopy(t *testing.T) {
	t.Parallel()
	src := t.TempDir()
	put(t, src, "CLIPS/one.mov", 200<<20)
	for i := range 200 {
		put(t, src, fmt.Sprintf("FRAMES/f%04d.dpx", i), 900<<10)
	}
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), "TWOBIN_OFFLOAD_SRC="+src, "TWOBIN_OFFLOAD_ONCE=1",
		"TWOBIN_OFFLOAD_DST="+strings.Join(folderSet(t, 3), ":"))
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	found := regexp.MustCompile(`VmHWM:\s+(\d+) kB`).FindSubmatch(out)
	if found == nil || !strings.Contains(string(out), "proven") {
		t.Fatalf("the child says %s", out)
	}
	kib, err := strconv.Atoi(string(found[1]))
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%d KiB resident at most", kib)
	if kib > 80<<10 && !raceEnabled {
		t.Errorf("%d KiB resident, want 80 MiB at most", kib)
	}
}
