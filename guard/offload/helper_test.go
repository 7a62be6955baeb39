package offload

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"twobin/guard"
)

// made is the time that invented files get: long ago, with nanoseconds, so that a lost time is seen.
var made = time.Date(2021, 3, 4, 5, 6, 7, 890123456, time.UTC)

// put writes one invented file.
func put(t testing.TB, dir, name string, size int) {
	t.Helper()
	path := filepath.Join(dir, filepath.FromSlash(name))
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, contents(name, size), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.Chtimes(path, made, made); err != nil {
		t.Fatal(err)
	}
}

// contents are the bytes of an invented file.
func contents(name string, size int) []byte {
	data := make([]byte, size)
	random := rand.NewChaCha8([32]byte([]byte(fmt.Sprintf("%032.32s", name))))
	random.Read(data)
	return data
}

// cardTree makes a card with small, large, empty and odd-named files and an empty folder.
func cardTree(t testing.TB, dir string) {
	t.Helper()
	put(t, dir, "CLIPS/A003C001.mov", 9<<20+123)
	put(t, dir, "CLIPS/A003C002.mov", 4<<20)
	put(t, dir, "CLIPS/empty.idx", 0)
	put(t, dir, "FRAMES/R01/f0001.dpx", 128<<10)
	put(t, dir, "FRAMES/R01/f0002.dpx", 100_001)
	put(t, dir, "FRAMES/R01/f0003.dpx", 1)
	put(t, dir, "FRAMES/limit.bin", smallSize)
	put(t, dir, "FRAMES/limit+1.bin", smallSize+1)
	put(t, dir, "odd name\nwith line end.txt", 77)
	put(t, dir, "umlaut-\u0061\u0308.txt", 78) // decomposed
	put(t, dir, strings.Repeat("n", 255), 79)
	if err := os.MkdirAll(filepath.Join(dir, "EMPTY/DEEP"), 0o755); err != nil {
		t.Fatal(err)
	}
	for _, d := range []string{"EMPTY/DEEP", "EMPTY", "FRAMES/R01", "FRAMES", "CLIPS", "."} {
		if err := os.Chtimes(filepath.Join(dir, d), made, made); err != nil {
			t.Fatal(err)
		}
	}
}

// scanned is Scan or the end of the test.
func scanned(t testing.TB, dir string) guard.Listing {
	t.Helper()
	list, err := Scan(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	return list
}

// plainJob is a job from one folder to others. Volumes are made up: separate disks, not simulated.
func plainJob(t testing.TB, src string, dst ...string) Job {
	t.Helper()
	j := Job{Label: "A003", SourcePath: src, Source: guard.Volume{Mount: src, Disk: "disk-card"}, Listing: scanned(t, src)}
	for i, d := range dst {
		name := fmt.Sprintf("DRIVE%d", i+1)
		j.Targets = append(j.Targets, Target{
			Name: name, Path: d, Folder: "Show/day001_2026-11-25/A/A003", Volume: guard.Volume{Mount: d, Disk: "disk-" + name},
		})
	}
	return j
}

// folders makes n empty folders.
func folderSet(t testing.TB, n int) []string {
	t.Helper()
	dirs := make([]string, n)
	for i := range dirs {
		dirs[i] = t.TempDir()
	}
	return dirs
}

// rolled is the path of a file in a copy.
func rolled(t Target, name string) string {
	return filepath.Join(t.Path, filepath.FromSlash(t.Folder), filepath.FromSlash(name))
}

// tree describes everything below dir, contents and times included, one line an entry.
func tree(t testing.TB, dir string) string {
	t.Helper()
	var b strings.Builder
	err := filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err != nil {
			return err
		}
		info, err := d.Info()
		if err != nil {
			return err
		}
		rel, _ := filepath.Rel(dir, path)
		fmt.Fprintf(&b, "%q %s", rel, info.Mode().Type())
		if rel != "." {
			fmt.Fprintf(&b, " %d", info.ModTime().UnixNano())
		}
		if info.Mode().IsRegular() {
			data, err := os.ReadFile(path)
			if err != nil {
				return err
			}
			fmt.Fprintf(&b, " %d %x", len(data), sum(data))
		}
		b.WriteByte('\n')
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// noFaults fails the test if there are errors or a copy is not proven.
func noFaults(t testing.TB, p guard.Proof, errs []*guard.Error) {
	t.Helper()
	for _, err := range errs {
		t.Errorf("unexpected fault: %v", err)
	}
	for i := range p.Copies {
		if !p.Proven(&p.Copies[i]) {
			c := p.Copies[i]
			c.Back = nil
			t.Errorf("copy %d is not proven: %+v", i, c)
		}
	}
}
