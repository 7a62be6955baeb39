package dummy

import (
	"context"
	"errors"
	"fmt"
	"os"
)

// ErrNotEmpty: the volume holds something. Nothing was written.
var ErrNotEmpty = errors.New("the volume is not empty")

// Prepare makes an empty volume a practice card: the marker, then the roll's files. A volume that holds anything, be it
// hidden, is refused with [ErrNotEmpty] before the first byte; so is one that has only a marker of its own (that one is
// a practice card already). Only the folder that an ext file system is made with may be there, empty.
func Prepare(ctx context.Context, dir string, r Roll) ([]Written, error) {
	if err := isDir(dir); err != nil {
		return nil, fmt.Errorf("prepare practice card: %w", err)
	}
	name, err := empty(dir)
	if err != nil {
		return nil, fmt.Errorf("prepare practice card: %w", err)
	}
	if name != "" {
		return nil, fmt.Errorf("prepare practice card %s: it holds %q: %w", dir, name, ErrNotEmpty)
	}
	if err := markNew(dir, r); err != nil {
		return nil, fmt.Errorf("prepare practice card: marker: %w", err)
	}
	return Fill(ctx, dir, r)
}

// markNew writes the marker with the list of what Fill is about to write, so that a card whose filling was cut off can
// be used too.
func markNew(dir string, r Roll) (err error) {
	root, err := os.OpenRoot(dir)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, root.Close()) }()
	return mark(root, r.Label, r.list())
}
