package offload

import (
	"bufio"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"twobin/guard"
)

// TestMain lets the test binary play the process that dies, and the one that is a drive's store.
func TestMain(m *testing.M) {
	if backing := os.Getenv("TWOBIN_OFFLOAD_STORE"); backing != "" {
		os.Exit(storeProcess(backing, os.Getenv("TWOBIN_OFFLOAD_STORE_AT")))
	}
	if src := os.Getenv("TWOBIN_OFFLOAD_SRC"); src != "" {
		os.Exit(child(src, os.Getenv("TWOBIN_OFFLOAD_DST")))
	}
	os.Exit(m.Run())
}

// child copies src to dst (several, separated by colons) and says when they are proven; then what memory it took, or it
// waits to be killed.
func child(src, dst string) int {
	list, err := Scan(context.Background(), src)
	if err != nil {
		fmt.Println(err)
		return 1
	}
	fmt.Println("begun")
	job := Job{SourcePath: src, Listing: list}
	for d := range strings.SplitSeq(dst, ":") {
		job.Targets = append(job.Targets, Target{Name: d, Path: d, Folder: "roll", Volume: guard.Volume{Mount: d}})
	}
	p, errs := Run(context.Background(), job, nil)
	for i := range p.Copies {
		if len(errs) != 0 || !p.Proven(&p.Copies[i]) {
			fmt.Println(errs)
			return 1
		}
	}
	fmt.Println("proven")
	if os.Getenv("TWOBIN_OFFLOAD_ONCE") != "" {
		status, err := os.ReadFile("/proc/self/status")
		fmt.Println(string(status), err)
		return 0
	}
	time.Sleep(time.Minute) // until killed; not a wait of the test
	return 0
}

// TestCrash kills the process at a random moment, cuts the power of the volume (what was not flushed is gone), and looks
// what stands there: every file with a final name is whole; if "proven" was said, every file is there. Then the next run
// must go on from it.
func TestCrash(t *testing.T) {
	t.Parallel()
	rounds := 6
	if os.Getenv("TWOBIN_TEST_HEAVY") != "" {
		rounds = 60
	}
	src := t.TempDir()
	cardTree(t, src)
	for i := range 400 {
		put(t, src, fmt.Sprintf("MORE/%d/f%04d.dpx", i%7, i), 20_000+i)
	}
	list := scanned(t, src)
	random := rand.New(rand.NewPCG(1, 2))
	proven, placedFiles, full := 0, 0, time.Minute
	for round := range rounds {
		at, dev, _ := ext4(t, 128<<20)
		delay := full // the first may end; it tells how long that takes
		if round > 0 {
			delay = time.Duration(random.Int64N(int64(full)))
		}
		began := time.Now()
		done := crashOnce(t, src, at, delay)
		if round == 0 {
			full = time.Since(began)
		}
		command(t, "umount", at)
		command(t, "mount", dev, at)
		job := Job{SourcePath: src, Listing: list, Targets: []Target{{Name: "DRIVE1", Path: at, Folder: "roll", Volume: guard.Volume{Mount: at}}}}
		there := whole(t, job, src)
		placedFiles += there
		if done {
			proven++
			if there != len(list.Files) {
				t.Errorf("round %d: said to be proven, %d of %d files stand there after the power cut", round, there, len(list.Files))
			}
		}
		p, errs := Run(t.Context(), job, nil)
		noFaults(t, p, errs)
		command(t, "umount", at)
	}
	t.Logf("%d rounds, %d ended before the cut, %d files had their names", rounds, proven, placedFiles)
	if proven == 0 || proven == rounds {
		t.Error("all rounds ended on the same side of the cut, so half of this test shows nothing")
	}
}

// crashOnce runs the child until it is proven or delay has passed, kills it, and shuts the file system down without
// flushing anything (FS_IOC_SHUTDOWN with the flag for no log flush, as in the kernel's ext4.h).
func crashOnce(t *testing.T, src, at string, delay time.Duration) (proven bool) {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), "TWOBIN_OFFLOAD_SRC="+src, "TWOBIN_OFFLOAD_DST="+at)
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	lines := make(chan string, 8)
	go func() {
		defer close(lines)
		for s := bufio.NewScanner(out); s.Scan(); {
			lines <- s.Text()
		}
	}()
	if line := <-lines; line != "begun" {
		t.Fatalf("the child says %q", line)
	}
	select {
	case line := <-lines:
		if proven = line == "proven"; !proven {
			t.Errorf("the child says %q", line)
		}
	case <-time.After(delay):
	}
	dir, err := os.Open(at)
	if err != nil {
		t.Fatal(err)
	}
	defer dir.Close()
	_ = cmd.Process.Kill()
	noLogFlush := 2
	if err := unix.IoctlSetPointerInt(int(dir.Fd()), 0x8004587d, noLogFlush); err != nil {
		t.Fatalf("shut down: %v", err)
	}
	_ = cmd.Wait() // killed, so an error is right
	return proven
}

// whole counts the files that have their final names, and compares each with the card.
func whole(t *testing.T, job Job, src string) (n int) {
	t.Helper()
	for _, e := range job.Listing.Files {
		got, err := os.ReadFile(rolled(job.Targets[0], e.Path))
		if os.IsNotExist(err) {
			continue
		}
		want, err2 := os.ReadFile(filepath.Join(src, e.Path))
		if err != nil || err2 != nil {
			t.Fatal(err, err2)
		}
		if sum(got) != sum(want) {
			t.Errorf("%q has its name and not its bytes (%d of %d)", e.Path, len(got), len(want))
		}
		n++
	}
	return n
}
