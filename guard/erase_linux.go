package guard

import (
	"errors"

	"golang.org/x/sys/unix"
)

const noAccessTime = unix.O_NOATIME

// openBelow opens the folder called name, not through a link and not across any mount: openat2 also sees a second mount
// of the same file system, which has the same device number. Kernels before 5.6, and some sandboxes, do not have it.
func openBelow(dir int, name string, flags int) (int, error) {
	flags |= unix.O_RDONLY | unix.O_DIRECTORY | unix.O_NOFOLLOW | unix.O_CLOEXEC
	fd, err := unix.Openat2(dir, name, &unix.OpenHow{
		Flags:   uint64(flags),
		Resolve: unix.RESOLVE_BENEATH | unix.RESOLVE_NO_XDEV | unix.RESOLVE_NO_SYMLINKS,
	})
	if errors.Is(err, unix.ENOSYS) || errors.Is(err, unix.EPERM) {
		return unix.Openat(dir, name, flags, 0)
	}
	return fd, err
}

// syncAll flushes the whole file system.
func syncAll(fd int) error { return retry(func() error { return unix.Syncfs(fd) }) }
