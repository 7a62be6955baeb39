//go:build linux || darwin

package device

import (
	"errors"

	"golang.org/x/sys/unix"
)

// refusesDirect says whether err means that the file system cannot read or write past the cache.
func refusesDirect(err error) bool {
	return errors.Is(err, unix.EINVAL) || errors.Is(err, unix.ENOTSUP)
}
