//go:build darwin || dragonfly || freebsd || linux || netbsd || openbsd

package journal

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"
)

// lock takes the file for this process, without waiting. It ends with unlock, or when the process ends.
func lock(f *os.File) error {
	err := unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB)
	if errors.Is(err, unix.EWOULDBLOCK) {
		return errLocked
	}
	return err
}

// unlock gives the file free. Closing alone would not do at once: a process that is just being started holds a copy of
// the handle for a moment, and the lock with it.
func unlock(f *os.File) error { return unix.Flock(int(f.Fd()), unix.LOCK_UN) }
