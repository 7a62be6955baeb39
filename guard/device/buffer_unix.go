//go:build linux || darwin

package device

import (
	"fmt"

	"golang.org/x/sys/unix"
)

// newBuffer maps fresh pages: always aligned, and gone from the process's memory when freed.
func newBuffer(n int) ([]byte, error) {
	b, err := unix.Mmap(-1, 0, n, unix.PROT_READ|unix.PROT_WRITE, unix.MAP_ANON|unix.MAP_PRIVATE)
	if err != nil {
		return nil, fmt.Errorf("map a buffer of %d bytes: %w", n, err)
	}
	askHuge(b)
	return b, nil
}

// freeBuffer unmaps. The error would only say that b was never mapped, which is a bug that shows elsewhere.
func freeBuffer(b []byte) { _ = unix.Munmap(b) }
