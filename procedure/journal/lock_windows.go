package journal

import (
	"errors"
	"os"

	"golang.org/x/sys/windows"
)

// lock takes the file for this process, without waiting. It ends when f is closed, also by a crash. The locked byte lies
// far behind any line, since a lock here would keep others from reading.
func lock(f *os.File) error {
	far := &windows.Overlapped{OffsetHigh: 1 << 30}
	err := windows.LockFileEx(windows.Handle(f.Fd()), windows.LOCKFILE_EXCLUSIVE_LOCK|windows.LOCKFILE_FAIL_IMMEDIATELY, 0, 1, 0, far)
	if errors.Is(err, windows.ERROR_LOCK_VIOLATION) {
		return errLocked
	}
	return err
}
