package dummy

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
)

// MarkerName is the file that makes a real volume a practice card. It stands at the volume's top. Its name begins with
// letters, so that every file browser shows it.
const MarkerName = "TWOBIN-PRACTICE-CARD.txt"

// markerLine is the marker's first line; a file without it is no marker.
const markerLine = "twobin practice card: everything on this volume is made up and may be erased."

// maxMarker is how much of a marker is read, in bytes.
const maxMarker = 4 << 10

// ErrNotEmpty: the volume holds something. Nothing was written.
var ErrNotEmpty = errors.New("the volume is not empty")

// Prepare makes an empty volume a practice card: the marker, then the roll's files. A volume that holds anything, be it
// hidden, is refused with [ErrNotEmpty] before the first byte; so is one that has only a marker of its own (that one is
// a practice card already).
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
	f, err := os.OpenFile(filepath.Join(dir, MarkerName), os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
	if err != nil {
		return nil, fmt.Errorf("prepare practice card: %w", err)
	}
	_, err = io.WriteString(f, markerLine+"\n"+"Made for label "+r.Label+". Format the card in a camera before it is used for work.\n")
	if err := errors.Join(err, f.Sync(), f.Close()); err != nil {
		return nil, fmt.Errorf("prepare practice card: marker: %w", err)
	}
	return Fill(ctx, dir, r)
}

// Marked says whether a volume carries the marker that [Prepare] wrote. A link in its place is none.
func Marked(dir string) (bool, error) {
	name := filepath.Join(dir, MarkerName)
	st, err := os.Lstat(name)
	switch {
	case errors.Is(err, os.ErrNotExist):
		return false, nil
	case err != nil:
		return false, fmt.Errorf("look for the marker: %w", err)
	case !st.Mode().IsRegular():
		return false, nil
	}
	f, err := os.Open(name)
	if err != nil {
		return false, fmt.Errorf("look for the marker: %w", err)
	}
	defer f.Close() // only read
	b, err := io.ReadAll(io.LimitReader(f, maxMarker))
	if err != nil {
		return false, fmt.Errorf("look for the marker: %w", err)
	}
	return strings.HasPrefix(string(b), markerLine+"\n"), nil
}
