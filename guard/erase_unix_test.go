//go:build linux || darwin

package guard

import (
	"errors"
	"os"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"
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

// A card that another process works on is not erased, and the fault says who has it.
func TestEraseOfABusyCard(t *testing.T) {
	t.Parallel()
	r := newRig(t, filepath.Join(t.TempDir(), "card"), cardTree)
	other, err := os.Open(r.root)
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	if err := LockFolder(other); err != nil {
		t.Fatal(err)
	}
	before := contents(t, r.root)
	done, err := Erase(t.Context(), r.permit(t), r.job)
	var fault *Error
	var holder *Holder
	if !errors.As(err, &fault) || fault.Kind != KindBusy || !errors.As(err, &holder) || done.Files != 0 {
		t.Errorf("Erase = %+v, %v; want nothing removed, busy, and who has it", done, err)
	}
	if diff := cmp.Diff(before, contents(t, r.root)); diff != "" {
		t.Errorf("the card changed:\n%s", diff)
	}
	UnlockFolder(other)
	if _, err := Erase(t.Context(), r.permit(t), r.job); err != nil {
		t.Errorf("Erase of the free card: %v", err)
	}
}
