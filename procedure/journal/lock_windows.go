package journal

import (
	"errors"
	"os"

	"golang.org/x/sys/windows"
)

// lock takes the file for this process, without waiting. It ends with unlock, or when the process ends. The locked byte lies
// far behind any line, since a lock here would keep others from reading.
func lock(f *os.File) error {
	const how = windows.LOCKFILE_EXCLUSIVE_LOCK | windows.LOCKFILE_FAIL_IMMEDIATELY
	err := windows.LockFileEx(windows.Handle(f.Fd()), how, 0, 1, 0, farByte())
	if errors.Is(err, windows.ERROR_LOCK_VIOLATION) {
		return errLocked
	}
	return err
}

// unlock gives the file free.
func unlock(f *os.File) error {
	return windows.UnlockFileEx(windows.Handle(f.Fd()), 0, 1, 0, farByte())
}

func farByte() *windows.Overlapped { return &windows.Overlapped{OffsetHigh: 1 << 30} }
