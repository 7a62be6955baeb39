//go:build !darwin && !dragonfly && !freebsd && !linux && !netbsd && !openbsd && !windows

package journal

import (
	"errors"
	"os"
)

// lock refuses: without a lock two processes could tear the chain.
func lock(*os.File) error { return errors.ErrUnsupported }

func unlock(*os.File) error { return errors.ErrUnsupported }
