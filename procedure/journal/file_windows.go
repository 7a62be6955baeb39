package journal

import (
	"errors"

	"golang.org/x/sys/windows"
)

func isNoSpace(err error) bool {
	return errors.Is(err, windows.ERROR_DISK_FULL) || errors.Is(err, windows.ERROR_HANDLE_DISK_FULL) ||
		errors.Is(err, windows.ERROR_DISK_QUOTA_EXCEEDED)
}

func isReadOnly(err error) bool { return errors.Is(err, windows.ERROR_WRITE_PROTECT) }

// syncFolder has no counterpart here: folders cannot be flushed, and NTFS writes names through its own log.
func syncFolder(string) error { return nil }
