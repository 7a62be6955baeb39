package world

import (
	"errors"
	"os"

	"golang.org/x/sys/windows"
)

// lockFile takes the file for this process, without waiting, until unlockFile or until the process ends. The locked byte
// lies far behind the text, since a lock here would keep others from reading. errInUse: another has it.
func lockFile(f *os.File) error {
	const how = windows.LOCKFILE_EXCLUSIVE_LOCK | windows.LOCKFILE_FAIL_IMMEDIATELY
	err := windows.LockFileEx(windows.Handle(f.Fd()), how, 0, 1, 0, behind())
	if errors.Is(err, windows.ERROR_LOCK_VIOLATION) {
		return errInUse
	}
	return err
}

// unlockFile gives the file free.
func unlockFile(f *os.File) error {
	return windows.UnlockFileEx(windows.Handle(f.Fd()), 0, 1, 0, behind())
}

func behind() *windows.Overlapped { return &windows.Overlapped{OffsetHigh: 1} }
