package journal

import (
	"os"

	"golang.org/x/sys/unix"
)

// forget asks the system to drop f's clean pages from its cache. A request, not a promise: file systems may ignore it.
func forget(f *os.File) { _ = unix.Fadvise(int(f.Fd()), 0, 0, unix.FADV_DONTNEED) }
