package watch

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"

	"golang.org/x/sys/unix"

	"twobin/guard"
)

// machine answers questions about the real machine. It holds nothing.
type machine struct{}

var _ Tables = machine{}

// Mounts reads the table through a handle of its own. A table longer than the kernel's buffer comes in several pieces,
// and the numbers of [instances] are asked for after it: if the table changed meanwhile all of it is read again, so that
// no volume seems gone, or new, that is only between two answers. Lines not understood are an error beside the mounts that are.
func (machine) Mounts() ([]Mount, error) {
	fd, err := openTable()
	if err != nil {
		return nil, err
	}
	defer unix.Close(fd)
	var ms []Mount
	var bad error
	for range 8 {
		raw, pieces, err := readAll(fd)
		if err != nil {
			return nil, fmt.Errorf("read the mount table: %w", err)
		}
		ms, bad = parseMountinfo(raw)
		ms = visible(ms)
		if whole := instances(ms); whole && pieces <= 1 || !pending(fd) {
			break
		}
	}
	return ms, bad
}

// readAll reads a file from its start, and says in how many pieces it came.
func readAll(fd int) ([]byte, int, error) {
	if _, err := unix.Seek(fd, 0, io.SeekStart); err != nil {
		return nil, 0, err
	}
	var b bytes.Buffer
	buf := make([]byte, 64<<10)
	for pieces := 0; ; pieces++ {
		n, err := unix.Read(fd, buf)
		if errors.Is(err, unix.EINTR) {
			continue
		}
		if err != nil {
			return nil, pieces, err
		}
		if n == 0 {
			return b.Bytes(), pieces, nil
		}
		b.Write(buf[:n])
	}
}

// pending says whether the table has changed since the last call or since fd was opened.
func pending(fd int) bool {
	p := []unix.PollFd{{Fd: int32(fd), Events: unix.POLLPRI}}
	n, err := unix.Poll(p, 0)
	return err == nil && n > 0 && p[0].Revents&(unix.POLLPRI|unix.POLLERR) != 0
}

// Describe opens the mount point, makes sure that it is still m's, and asks.
func (t machine) Describe(m Mount) (guard.Volume, error) {
	v := guard.Volume{
		Mount: m.Point, Device: m.Source, FSType: m.FSType, ReadOnly: m.ReadOnly, Disk: t.Disk(m),
		Dev: devNumber(m.Major, m.Minor),
	}
	fd, err := unix.Open(m.Point, unix.O_RDONLY|unix.O_CLOEXEC|unix.O_NONBLOCK|unix.O_DIRECTORY, 0)
	if err != nil {
		if errors.Is(err, unix.EACCES) {
			return t.closed(v, m), nil
		}
		return v, fmt.Errorf("open %s: %w", m.Point, err)
	}
	defer unix.Close(fd)
	id, err := mountOf(fd)
	if err == nil && id != m.ID {
		return v, fmt.Errorf("describe %s: another volume stands there: %w", m.Point, errReplaced)
	}
	return t.describe(fd, m, v)
}

// Carrier finds the mount by the number that the kernel gives for an open file, so that links, stacked mounts and
// mounts that moved cannot mislead it.
func (t machine) Carrier(path string) (guard.Volume, error) {
	fd, err := unix.Open(path, unix.O_RDONLY|unix.O_CLOEXEC|unix.O_NONBLOCK, 0)
	if err != nil {
		return guard.Volume{}, fmt.Errorf("open %s: %w", path, err)
	}
	defer unix.Close(fd)
	ms, err := t.Mounts()
	if err != nil && len(ms) == 0 {
		return guard.Volume{}, err
	}
	m, err := mountIn(ms, fd)
	if err != nil {
		return guard.Volume{}, fmt.Errorf("find the volume of %s: %w", path, err)
	}
	v := guard.Volume{Mount: m.Point, Device: m.Source, FSType: m.FSType, ReadOnly: m.ReadOnly, Disk: t.Disk(m)}
	return t.describe(fd, m, v)
}

// mountIn finds the mount of an open file in the table: by number, or by path on kernels that do not tell it.
func mountIn(ms []Mount, fd int) (Mount, error) {
	id, err := mountOf(fd)
	if err == nil {
		for _, m := range ms {
			if m.ID == id {
				return m, nil
			}
		}
		return Mount{}, errReplaced
	}
	real, err := os.Readlink(fmt.Sprintf("/proc/self/fd/%d", fd))
	if err != nil {
		return Mount{}, err
	}
	if i := carrier(ms, real); i >= 0 {
		return ms[i], nil
	}
	return Mount{}, errReplaced
}

// errReplaced: the place was taken by another volume, or its volume was taken away, between reading the table and asking the drive.
var errReplaced = errors.New("volume replaced")
