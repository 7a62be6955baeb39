package manifest

import (
	"errors"
	"io/fs"
	"os"

	"golang.org/x/sys/unix"
)

// renameNoReplace renames within one folder and fails with [fs.ErrExist] if the new name is taken.
func renameNoReplace(folder *os.Root, from, to string) error {
	d, err := folder.Open(".")
	if err != nil {
		return err
	}
	defer d.Close()
	fd := int(d.Fd())
	err = unix.Renameat2(fd, from, fd, to, unix.RENAME_NOREPLACE)
	if errors.Is(err, unix.EINVAL) || errors.Is(err, unix.ENOSYS) || errors.Is(err, unix.EOPNOTSUPP) {
		return linkNoReplace(folder, from, to)
	}
	if err != nil {
		return &fs.PathError{Op: "rename", Path: to, Err: err}
	}
	return nil
}

// syncFolder flushes a folder: only then does a rename in it outlast a power cut.
func syncFolder(folder *os.Root) error {
	d, err := folder.Open(".")
	if err != nil {
		return err
	}
	defer d.Close()
	return d.Sync()
}
