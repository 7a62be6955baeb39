//go:build !unix

package doctor

import (
	"os"
	"syscall"
)

// writable asks what can be asked without writing: that it is a folder. Rights show at the first write.
func writable(path string) error {
	fi, err := os.Stat(path)
	if err != nil {
		return err
	}
	if !fi.IsDir() {
		return &os.PathError{Op: "use", Path: path, Err: syscall.ENOTDIR}
	}
	return nil
}
