package command

import (
	"fmt"
	"io"
	"os"
	"os/exec"
	"syscall"
	"testing"
	"time"

	"twobin/procedure/command"
	"twobin/training/review/school"
)

// bigSchool is about 2,000 journals with 500,000 events: twenty-five people over sixteen weeks, with long shifts.
func bigSchool(b *testing.B) (home string, journals, events int) {
	b.Helper()
	home, err := os.MkdirTemp("/dev/shm", "review") // reading is measured, not a disk
	if err != nil {
		b.Skip("needs /dev/shm")
	}
	b.Cleanup(func() { _ = os.RemoveAll(home) })
	var ps []school.Profile
	for i, some := 0, school.Profiles(); len(ps) < 25; i++ {
		p := some[i%len(some)]
		p.Name, p.From = fmt.Sprintf("%s %d", p.Name, i/len(some)), 1
		ps = append(ps, p)
	}
	paths, events, err := school.Write(home, school.Options{Weeks: 16, ShiftRolls: 50, Profiles: ps})
	if err != nil {
		b.Fatal(err)
	}
	return home, len(paths), events
}

const bigHome = "TWOBIN_TEST_REVIEW_HOME"

// TestReviewOfBigHome is the process that the benchmark measures; by itself it does nothing.
func TestReviewOfBigHome(t *testing.T) {
	home := os.Getenv(bigHome)
	if home == "" {
		t.Skip("only as part of BenchmarkReview")
	}
	r := &Review{Home: home, Reference: []string{"Morgan 0"}}
	if err := r.Run(&command.App{Out: io.Discard, Err: os.Stderr, Env: func(string) string { return "" }, Now: time.Now}); err != nil {
		t.Fatal(err)
	}
}

// BenchmarkReview is the whole review of 2,000 journals, in a process of its own. Wanted: under 3 s and 300 MB.
func BenchmarkReview(b *testing.B) {
	home, journals, events := bigSchool(b)
	var most int64
	var cpu time.Duration
	for b.Loop() {
		cmd := exec.CommandContext(b.Context(), os.Args[0], "-test.run=^TestReviewOfBigHome$")
		cmd.Env = append(os.Environ(), bigHome+"="+home)
		if out, err := cmd.CombinedOutput(); err != nil {
			b.Fatalf("%v\n%s", err, out)
		}
		most = max(most, cmd.ProcessState.SysUsage().(*syscall.Rusage).Maxrss)
		cpu += cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()
	}
	b.ReportMetric(float64(journals), "journals")
	b.ReportMetric(float64(events), "events")
	b.ReportMetric(float64(most)/1024, "peak-MiB")
	b.ReportMetric(cpu.Seconds()/float64(b.N), "cpu-s/op")
}
