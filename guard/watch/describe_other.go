//go:build !linux && !darwin && !windows

package watch

import (
	"errors"
	"os"

	"twobin/guard"
)

func instance(Mount) string { return "" }

// Describe tells what the mount table tells: on this platform nothing here knows how to ask for more, so no volume has
// an identity and nothing can be erased.
func (t machine) Describe(m Mount) (guard.Volume, error) {
	return t.facts(m), errors.ErrUnsupported
}

func physical(Mount) string { return "" }

func folderNumbers(*os.File, os.FileInfo) (dev, inode uint64, born int64) { return 0, 0, 0 }

func devNumber(major, minor uint32) uint64 { return 0 }

func mountPoint(string) (string, error) { return "", errors.ErrUnsupported }
