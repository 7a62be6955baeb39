//go:build unix

package proofstore

import (
	"errors"
	"os"
	"syscall"
)

// syncFolder makes the names in dir durable. File systems without a flush for folders say so; there the names are as
// durable as they get.
func syncFolder(dir string) error {
	f, err := os.Open(dir)
	if err != nil {
		return err
	}
	err = f.Sync()
	if errors.Is(err, syscall.EINVAL) || errors.Is(err, syscall.ENOTSUP) {
		err = nil
	}
	if e := f.Close(); err == nil {
		err = e
	}
	return err
}
