package guard

import "golang.org/x/sys/unix"

const noAccessTime = 0

// openBelow opens the folder called name, not through a link. Mounts show by their device number.
func openBelow(dir int, name string, flags int) (int, error) {
	return unix.Openat(dir, name, flags|unix.O_RDONLY|unix.O_DIRECTORY|unix.O_NOFOLLOW|unix.O_CLOEXEC, 0)
}

// syncAll flushes the whole file system: there is no call for one only.
func syncAll(fd int) error {
	if err := retry(func() error { return unix.Fsync(fd) }); err != nil {
		return err
	}
	return unix.Sync()
}
