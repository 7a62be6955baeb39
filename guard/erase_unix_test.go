//go:build linux || darwin

package guard

import (
	"os"
	"testing"

	"golang.org/x/sys/unix"
)

func mkfifo(path string) error { return unix.Mkfifo(path, 0o600) }

// setTime sets a file's time to the nanosecond.
func setTime(t *testing.T, path string, mtime int64) {
	t.Helper()
	ts := unix.NsecToTimespec(mtime)
	if err := unix.UtimesNanoAt(unix.AT_FDCWD, path, []unix.Timespec{ts, ts}, 0); err != nil {
		t.Fatal(err)
	}
}

// needRoot skips unless we are root; with TWOBIN_TEST_ALL=1 that is a failure.
func needRoot(t *testing.T) {
	t.Helper()
	if os.Geteuid() == 0 {
		return
	}
	if os.Getenv("TWOBIN_TEST_ALL") == "1" {
		t.Fatal("lacks root")
	}
	t.Skip("lacks root")
}
