package watch

import (
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"golang.org/x/sys/unix"
)

// linuxSystem is the real machine. The mount table is /proc/self/mountinfo, which poll(2) reports as changed with
// POLLPRI; reader folders are followed with inotify.
//
// The table is opened with unix.Open and not with os.Open: Go's own poller watches what os.Open opens, and an event is
// given only once, so it would be lost in about every second case.
type linuxSystem struct {
	machine
	log    *slog.Logger
	table  int       // waited on, never read by others
	wake   int       // eventfd
	follow *follower // nil without reader folders, or without inotify
	byTime bool      // reader folders cannot be followed
	close  sync.Once
}

// NewSystem gives the real machine, following the reader folders given. Log may be nil. The caller closes it, or hands
// it to a Watcher, which does.
func NewSystem(log *slog.Logger, readers ...string) (System, error) {
	if log == nil {
		log = slog.New(slog.DiscardHandler)
	}
	table, err := openTable()
	if err != nil {
		return nil, err
	}
	wake, err := unix.Eventfd(0, unix.EFD_CLOEXEC|unix.EFD_NONBLOCK)
	if err != nil {
		return nil, errors.Join(fmt.Errorf("open eventfd: %w", err), unix.Close(table))
	}
	s := &linuxSystem{log: log, table: table, wake: wake}
	if len(readers) > 0 {
		if s.follow, err = newFollower(); err != nil {
			log.Warn("reader folders cannot be followed by the kernel, looking by time", "err", err)
			s.follow, s.byTime = nil, true
		}
	}
	return s, nil
}

func openTable() (int, error) {
	fd, err := unix.Open("/proc/self/mountinfo", unix.O_RDONLY|unix.O_CLOEXEC, 0)
	if err != nil {
		return -1, fmt.Errorf("open the mount table: %w", err)
	}
	return fd, nil
}

// Wait sleeps in poll(2) and holds one thread meanwhile.
func (s *linuxSystem) Wait(d time.Duration) error {
	p := []unix.PollFd{
		{Fd: int32(s.wake), Events: unix.POLLIN},
		{Fd: int32(s.table), Events: unix.POLLPRI},
	}
	if s.follow != nil {
		p = append(p, unix.PollFd{Fd: int32(s.follow.fd), Events: unix.POLLIN})
	} else if s.byTime {
		d = min(d, 200*time.Millisecond)
	}
	end := time.Now().Add(d)
	for {
		n, err := unix.Poll(p, int(max(time.Until(end), 0)/time.Millisecond)+1)
		if errors.Is(err, unix.EINTR) {
			continue
		}
		if err != nil {
			return fmt.Errorf("poll: %w", err)
		}
		if n == 0 {
			return nil
		}
		if p[0].Revents != 0 {
			var b [8]byte
			_, _ = unix.Read(s.wake, b[:]) // resets the counter
			return nil
		}
		if p[1].Revents != 0 || s.follow == nil || s.follow.drain() {
			return nil
		}
	}
}

// Wake adds to the eventfd's counter; it cannot fail but for a counter at its end, which wakes too.
func (s *linuxSystem) Wake() {
	_, _ = unix.Write(s.wake, []byte{1, 0, 0, 0, 0, 0, 0, 0})
}

// Woken is true: the kernel reports mounts.
func (s *linuxSystem) Woken() bool { return true }

// Close closes all handles.
func (s *linuxSystem) Close() error {
	var err error
	s.close.Do(func() {
		err = errors.Join(unix.Close(s.table), unix.Close(s.wake))
		if s.follow != nil {
			err = errors.Join(err, s.follow.Close())
		}
	})
	return err
}
