//go:build !linux

package manifest

import (
	"os"
	"runtime"
)

// renameNoReplace renames within one folder and fails with [fs.ErrExist] if the new name is taken.
func renameNoReplace(folder *os.Root, from, to string) error { return linkNoReplace(folder, from, to) }

// syncFolder flushes a folder. Windows has no such call for folders: NTFS orders its own journal.
func syncFolder(folder *os.Root) error {
	if runtime.GOOS == "windows" {
		return nil
	}
	d, err := folder.Open(".")
	if err != nil {
		return err
	}
	defer d.Close()
	return d.Sync()
}
