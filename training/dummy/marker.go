package dummy

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"
	"time"
)

// MarkerName is the file that makes a real volume a practice card. It stands at the volume's top. Its name begins with
// letters, so that every file browser shows it.
const MarkerName = "TWOBIN-PRACTICE-CARD.txt"

// markerNew is a marker that is being written. It takes the marker's name when it is whole.
const markerNew = "TWOBIN-PRACTICE-CARD.new"

// markerLine is the marker's first line; a file without it is no marker.
const markerLine = "twobin practice card: everything on this volume is made up and may be erased."

// markerEnd begins the last line of a marker's list, with the number of files before it: a list that was cut off is none.
const markerEnd = "end of list: "

// maxMarker is how much of a marker is read, in bytes: room for the list of some ten thousand files.
const maxMarker = 1 << 20

// listed is one file that was written onto a practice card. MTime is nanoseconds since 1970 UTC as it was asked for; a
// file system may have kept less of it. 0: whatever it was.
type listed struct {
	path  string
	size  int64
	mtime int64
}

// markerText is what a marker says: for people first, then what twobin has written onto the card.
func markerText(label string, files []listed) string {
	var b strings.Builder
	b.WriteString(markerLine + "\n")
	fmt.Fprintf(&b, "Made for label %s. Format the card in a camera before it is used for work.\n", label)
	b.WriteString("What twobin wrote here: bytes, time, name. A card with anything else on it is left alone.\n")
	for _, f := range files {
		fmt.Fprintf(&b, "%d %d %s\n", f.size, f.mtime, strconv.QuoteToASCII(f.path))
	}
	fmt.Fprintf(&b, "%s%d\n", markerEnd, len(files))
	return b.String()
}

// mark writes the marker: whole under another name first, flushed, then renamed.
func mark(root *os.Root, label string, files []listed) error {
	f, err := root.OpenFile(markerNew, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o666)
	if err != nil {
		return err
	}
	_, err = io.WriteString(f, markerText(label, files))
	if err := errors.Join(err, f.Sync(), f.Close()); err != nil {
		return err
	}
	return root.Rename(markerNew, MarkerName)
}

// markerOf reads the marker of an opened volume. whole: its list can be trusted. A link in the marker's place is none.
func markerOf(root *os.Root) (files []listed, marked, whole bool, err error) {
	st, err := root.Lstat(MarkerName)
	switch {
	case errors.Is(err, os.ErrNotExist):
		return nil, false, false, nil
	case err != nil:
		return nil, false, false, fmt.Errorf("look for the marker: %w", err)
	case !st.Mode().IsRegular():
		return nil, false, false, nil
	}
	f, err := root.Open(MarkerName)
	if err != nil {
		return nil, false, false, fmt.Errorf("look for the marker: %w", err)
	}
	defer f.Close() // only read
	b, err := io.ReadAll(io.LimitReader(f, maxMarker))
	if err != nil {
		return nil, false, false, fmt.Errorf("look for the marker: %w", err)
	}
	text, ok := strings.CutPrefix(string(b), markerLine+"\n")
	if !ok {
		return nil, false, false, nil
	}
	files, whole = parseList(text)
	return files, true, whole, nil
}

// parseList reads the list of a marker, after its first line; false if it is not whole.
func parseList(text string) (files []listed, whole bool) {
	sc := bufio.NewScanner(strings.NewReader(text))
	sc.Buffer(nil, maxMarker)
	for sc.Scan() {
		line := sc.Text()
		if n, ok := strings.CutPrefix(line, markerEnd); ok {
			return files, n == strconv.Itoa(len(files))
		}
		var f listed
		var quoted string
		if n, _ := fmt.Sscanf(line, "%d %d %q", &f.size, &f.mtime, &quoted); n != 3 {
			continue // words for people
		}
		f.path = quoted
		files = append(files, f)
	}
	return nil, false
}

// Marked says whether a volume carries the marker that [Prepare] wrote. A link in its place is none.
func Marked(dir string) (bool, error) {
	root, err := os.OpenRoot(dir)
	if err != nil {
		return false, fmt.Errorf("look for the marker: %w", err)
	}
	defer root.Close() // only read
	_, ok, _, err := markerOf(root)
	return ok, err
}

// stamp is a time for a listing, 0 for none.
func stamp(t time.Time) int64 {
	if t.IsZero() {
		return 0
	}
	return t.UnixNano()
}
