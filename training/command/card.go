package command

import (
	"fmt"
	"os"
	"path/filepath"

	"twobin/guard"
	"twobin/procedure"
)

// wholeVolume refuses a folder on some volume, such as an empty folder on a card that holds footage beside it: a practice
// card is a whole volume, named by its mount point. A folder on the computer's own disk will do, for trying it out.
func wholeVolume(ident guard.Identifier, path string) error {
	abs, err := filepath.Abs(path)
	if err == nil {
		abs, err = filepath.EvalSymlinks(abs)
	}
	if err != nil {
		return err
	}
	v, err := ident.Identify(abs)
	if err != nil {
		return err
	}
	if filepath.Clean(v.Mount) == abs {
		return nil
	}
	own, err := ident.Identify(os.TempDir())
	if err == nil && own.Mount == v.Mount {
		return nil
	}
	return fmt.Errorf("a folder on the volume at %s, not a card: nothing was written. Name the card's mount point", procedure.Plain(v.Mount))
}
