package manifest

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strconv"
	"strings"

	"twobin/guard"
	"twobin/guard/hashes"
)

// ListExt is the ending of checksum lists.
const ListExt = guard.ListExt

// ErrList says that a checksum list holds something else than lines of XXH64 checksums, or an unsafe path.
var ErrList = errors.New("not a usable checksum list")

// maxLine is the longest line taken: a path of [maxPath] bytes, all of them escaped, and the checksum.
const maxLine = 2*maxPath + 64

var escapeName = strings.NewReplacer("\\", "\\\\", "\n", "\\n", "\r", "\\r")
var unescapeName = strings.NewReplacer("\\\\", "\\", "\\n", "\n", "\\r", "\r")

// WriteList writes one line a file: sixteen lower-case hexadecimal digits of XXH64, two spaces, base, a slash and the
// path. See the package comment for names with line feeds.
func WriteList(w io.Writer, base string, files []guard.File) error {
	b := bufio.NewWriterSize(w, 64<<10)
	for i := range files {
		f := &files[i]
		name := base + "/" + f.Path
		if strings.Contains(name, "\n") {
			b.WriteByte('\\')
			name = escapeName.Replace(name)
		}
		b.WriteString(hashes.Text64(f.Hash))
		b.WriteString("  ")
		b.WriteString(name)
		b.WriteByte('\n')
	}
	return b.Flush() // a bufio.Writer keeps its first error
}

// ReadList calls f for each line of a checksum list, as xxhsum prints them: plain, with the escape mark in front, or in
// the form of "XXH64 (name) = digits". A leading "./" of a name is taken off. Errors wrap [ErrList] or [ErrPath] and
// name the line.
func ReadList(r io.Reader, f func(path string, hash uint64) error) error {
	sc := bufio.NewScanner(r)
	sc.Buffer(make([]byte, 0, 4<<10), maxLine)
	sc.Split(splitLF)
	n := 0
	for sc.Scan() {
		n++
		name, hash, err := parseListLine(sc.Text())
		if err == nil {
			err = CheckPath(name)
		}
		if err != nil {
			return fmt.Errorf("line %d: %w", n, err)
		}
		if err := f(name, hash); err != nil {
			return err
		}
	}
	if errors.Is(sc.Err(), bufio.ErrTooLong) {
		return fmt.Errorf("line %d: %w: longer than %d bytes", n+1, ErrList, maxLine)
	}
	return sc.Err()
}

// splitLF splits at line feeds only: a carriage return is part of a name.
func splitLF(data []byte, atEOF bool) (int, []byte, error) {
	if i := bytes.IndexByte(data, '\n'); i >= 0 {
		return i + 1, data[:i], nil
	}
	if atEOF && len(data) > 0 {
		return len(data), data, nil
	}
	return 0, nil, nil
}

func parseListLine(line string) (string, uint64, error) {
	escaped := strings.HasPrefix(line, "\\")
	line = strings.TrimPrefix(line, "\\")
	var name, digits string
	if rest, ok := strings.CutPrefix(line, "XXH64 ("); ok {
		i := strings.LastIndex(rest, ") = ")
		if i < 0 {
			return "", 0, fmt.Errorf("%w: %.100q", ErrList, line)
		}
		name, digits = rest[:i], rest[i+len(") = "):]
	} else {
		if len(line) < 19 || line[16] != ' ' || line[17] != ' ' && line[17] != '*' {
			return "", 0, fmt.Errorf("%w: %.100q is no line of an XXH64 list", ErrList, line)
		}
		digits, name = line[:16], line[18:]
	}
	hash, err := hashes.Parse64(digits)
	if err != nil {
		return "", 0, fmt.Errorf("%w: %w", ErrList, err)
	}
	if escaped {
		name = unescapeName.Replace(name)
	}
	return strings.TrimPrefix(name, "./"), hash, nil
}

// stagedList is a checksum list under a temporary name, or nothing if an equal one stands there.
type stagedList struct {
	parent *os.Root
	temp   *temp
	name   string
}

// maxLists is how many different lists one roll folder may gather before something is plainly wrong.
const maxLists = 999

// stageList writes the list for the roll folder base in parent. An equal list that stands there is left as it is; a
// different one is kept, and the new one takes the next free name: base_2.xxh64, and so on.
func stageList(parent *os.Root, base string, files []guard.File) (*stagedList, error) {
	t, err := newTemp(parent, base+ListExt, func(w io.Writer) error { return WriteList(w, base, files) })
	if err != nil {
		return nil, err
	}
	s := &stagedList{parent: parent, temp: t}
	for n := 1; n <= maxLists; n++ {
		s.name = ListName(base, n)
		same, err := sameContents(parent, t.name, s.name)
		switch {
		case errors.Is(err, fs.ErrNotExist):
			return s, syncFolder(parent)
		case err != nil:
			return nil, errors.Join(err, t.drop())
		case same:
			s.temp = nil
			return s, t.drop()
		}
	}
	return nil, errors.Join(fmt.Errorf("%d different lists stand there already", maxLists), t.drop())
}

// ListName is the name of the n-th list (from 1) of the roll folder base.
func ListName(base string, n int) string {
	if n <= 1 {
		return base + ListExt
	}
	return base + "_" + strconv.Itoa(n) + ListExt
}

func (s *stagedList) publish() error {
	if s.temp == nil {
		return nil
	}
	if err := s.temp.place(s.name); err != nil {
		return errors.Join(err, s.temp.drop())
	}
	return nil
}

func (s *stagedList) discard() error {
	if s.temp == nil {
		return nil
	}
	return s.temp.drop()
}

// sameContents compares two files byte by byte. It fails with [fs.ErrNotExist] if the second does not exist.
func sameContents(dir *os.Root, a, b string) (bool, error) {
	fb, err := OpenFile(dir, b)
	if err != nil {
		return false, err
	}
	defer fb.Close()
	fa, err := OpenFile(dir, a)
	if err != nil {
		return false, err
	}
	defer fa.Close()
	ra, rb := bufio.NewReaderSize(fa, 64<<10), bufio.NewReaderSize(fb, 64<<10)
	for {
		ca, errA := ra.ReadByte()
		cb, errB := rb.ReadByte()
		switch {
		case errA == io.EOF && errB == io.EOF:
			return true, nil
		case errA == io.EOF && errB == nil, errB == io.EOF && errA == nil:
			return false, nil
		case errA != nil || errB != nil:
			return false, errors.Join(errA, errB)
		case ca != cb:
			return false, nil
		}
	}
}
