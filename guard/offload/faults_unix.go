//go:build linux || darwin

package offload

import (
	"errors"

	"golang.org/x/sys/unix"

	"twobin/guard"
)

// systemKind reads the system's error number.
func systemKind(err error, kind guard.Kind) guard.Kind {
	var no unix.Errno
	if !errors.As(err, &no) {
		return kind
	}
	switch no {
	case unix.ENOSPC, unix.EDQUOT:
		return guard.KindNoSpace
	case unix.EROFS:
		return guard.KindReadOnly
	case unix.EACCES, unix.EPERM:
		return guard.KindDenied
	case unix.ENODEV, unix.ENXIO, unix.ENOTCONN, unix.ECONNABORTED, unix.ESHUTDOWN, unix.ESTALE:
		return guard.KindGone
	case unix.ENAMETOOLONG, unix.EILSEQ:
		return guard.KindNames
	case unix.EEXIST, unix.ENOTDIR, unix.EISDIR, unix.ELOOP:
		if kind == guard.KindWrite {
			return guard.KindExists
		}
	}
	return kind
}
