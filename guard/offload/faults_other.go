//go:build !linux && !darwin

package offload

import (
	"errors"
	"io/fs"
	"syscall"

	"twobin/guard"
)

// systemKind reads what the portable errors tell.
func systemKind(err error, kind guard.Kind) guard.Kind {
	const (
		notReady   = syscall.Errno(21)   // ERROR_NOT_READY
		writeGuard = syscall.Errno(19)   // ERROR_WRITE_PROTECT
		diskFull   = syscall.Errno(112)  // ERROR_DISK_FULL
		noDevice   = syscall.Errno(1167) // ERROR_DEVICE_NOT_CONNECTED
		badName    = syscall.Errno(123)  // ERROR_INVALID_NAME
	)
	switch {
	case errors.Is(err, diskFull):
		return guard.KindNoSpace
	case errors.Is(err, writeGuard):
		return guard.KindReadOnly
	case errors.Is(err, notReady), errors.Is(err, noDevice):
		return guard.KindGone
	case errors.Is(err, badName):
		return guard.KindNames
	case errors.Is(err, fs.ErrPermission):
		return guard.KindDenied
	case errors.Is(err, fs.ErrExist) && kind == guard.KindWrite:
		return guard.KindExists
	}
	return kind
}
