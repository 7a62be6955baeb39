//go:build darwin || dragonfly || freebsd || linux || netbsd || openbsd

package world

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"
)

// lockFile takes the file for this process, without waiting, until unlockFile or until the process ends. errInUse: another
// has it; errors.ErrUnsupported: this file system cannot lock.
func lockFile(f *os.File) error {
	err := unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB)
	switch {
	case errors.Is(err, unix.EWOULDBLOCK):
		return errInUse
	case errors.Is(err, unix.ENOTSUP), errors.Is(err, unix.ENOSYS), errors.Is(err, unix.ENOLCK):
		return errors.ErrUnsupported
	}
	return err
}

// unlockFile gives the file free.
func unlockFile(f *os.File) error { return unix.Flock(int(f.Fd()), unix.LOCK_UN) }
