//go:build unix

package doctor

import (
	"os"

	"golang.org/x/sys/unix"
)

// writable asks access(2), with the rights that opening would have; it writes nothing.
func writable(path string) error {
	fi, err := os.Stat(path)
	if err != nil {
		return err
	}
	if !fi.IsDir() {
		return &os.PathError{Op: "use", Path: path, Err: unix.ENOTDIR}
	}
	return unix.Faccessat(unix.AT_FDCWD, path, unix.W_OK|unix.X_OK, unix.AT_EACCESS)
}
