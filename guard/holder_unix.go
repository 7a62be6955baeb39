//go:build linux || darwin

package guard

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"
)

// LockFolder keeps other processes of this program out of an open folder until UnlockFolder: flock(2), which
// writes nothing, also not to a card. The error is a [*Holder] when another process has it. A file system that cannot
// lock keeps nobody out.
func LockFolder(dir *os.File) error {
	err := retry(func() error { return unix.Flock(int(dir.Fd()), unix.LOCK_EX|unix.LOCK_NB) })
	switch {
	case errors.Is(err, unix.EWOULDBLOCK):
		return &Holder{PID: lockHolder(dir)}
	case errors.Is(err, unix.ENOTSUP), errors.Is(err, unix.ENOSYS), errors.Is(err, unix.ENOLCK):
		return nil
	}
	return err
}

// UnlockFolder gives the folder free. Closing alone would not do at once: a process that is just being started holds a
// copy of the handle for a moment, and the lock with it.
func UnlockFolder(dir *os.File) { _ = unix.Flock(int(dir.Fd()), unix.LOCK_UN) }
