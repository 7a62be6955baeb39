package guard

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"twobin/guard/hashes"
)

// proofVersion is the version of the proof's file format, see [Proof.Write].
const proofVersion = 1

// text is any string, valid UTF-8 or not. In a proof's file valid UTF-8 is a JSON string; anything else is an object
// with the bytes in base64: {"base64":"…"}.
type text string

type textBytes struct {
	Base64 []byte `json:"base64"`
}

// MarshalJSON writes the string or the object.
func (t text) MarshalJSON() ([]byte, error) { return appendText(nil, string(t)), nil }

// UnmarshalJSON reads either.
func (t *text) UnmarshalJSON(b []byte) error {
	if len(b) > 0 && b[0] == '"' {
		return json.Unmarshal(b, (*string)(t))
	}
	var raw textBytes
	if err := json.Unmarshal(b, &raw); err != nil {
		return err
	}
	*t = text(raw.Base64)
	return nil
}

// appendText writes s as text does. Most names are plain ASCII and need no look-up.
func appendText(b []byte, s string) []byte {
	plain := true
	for i := 0; i < len(s); i++ {
		if c := s[i]; c < ' ' || c > '~' || c == '"' || c == '\\' {
			plain = false
			break
		}
	}
	switch {
	case plain:
		b = append(b, '"')
		b = append(b, s...)
		return append(b, '"')
	case !utf8.ValidString(s):
		b = append(b, `{"base64":"`...)
		b = base64.StdEncoding.AppendEncode(b, []byte(s))
		return append(b, `"}`...)
	}
	var w bytes.Buffer
	enc := json.NewEncoder(&w)
	enc.SetEscapeHTML(false)
	_ = enc.Encode(s) // a valid string into memory: cannot fail
	return append(b, bytes.TrimSuffix(w.Bytes(), []byte("\n"))...)
}

// volumeLine is a Volume whose texts may have any bytes.
type volumeLine struct {
	Mount     text   `json:"mount"`
	Device    text   `json:"device,omitempty"`
	FSType    text   `json:"fstype,omitempty"`
	Name      text   `json:"name,omitempty"`
	ID        text   `json:"id,omitempty"`
	Disk      text   `json:"disk,omitempty"`
	Dev       uint64 `json:"dev,omitempty"`
	Size      int64  `json:"size,omitempty"`
	Free      int64  `json:"free,omitempty"`
	ReadOnly  bool   `json:"readonly,omitempty"`
	Simulated bool   `json:"simulated,omitempty"`
}

func volumeToLine(v Volume) volumeLine {
	return volumeLine{
		Mount: text(v.Mount), Device: text(v.Device), FSType: text(v.FSType), Name: text(v.Name), ID: text(v.ID),
		Disk: text(v.Disk), Dev: v.Dev, Size: v.Size, Free: v.Free, ReadOnly: v.ReadOnly, Simulated: v.Simulated,
	}
}

func (l volumeLine) volume() Volume {
	return Volume{
		Mount: string(l.Mount), Device: string(l.Device), FSType: string(l.FSType), Name: string(l.Name), ID: string(l.ID),
		Disk: string(l.Disk), Dev: l.Dev, Size: l.Size, Free: l.Free, ReadOnly: l.ReadOnly, Simulated: l.Simulated,
	}
}

// headLine is the first line of a proof's file.
type headLine struct {
	Proof  int        `json:"proof"`
	Label  text       `json:"label"`
	Card   volumeLine `json:"card"`
	Began  string     `json:"began"`
	Ended  string     `json:"ended"`
	Files  int        `json:"files"`
	Dirs   int        `json:"dirs"`
	Copies []copyLine `json:"copies"`
	Hashes []string   `json:"hashes,omitempty"`
}

// copyLine is one destination in the first line. The two times are nanoseconds since Began, nil for a zero time: they
// decide whether a copy counts, so they must not move against each other when the wall clock does.
type copyLine struct {
	Name      text       `json:"name"`
	Path      text       `json:"path"`
	Folder    text       `json:"folder"`
	Volume    volumeLine `json:"volume"`
	Honesty   int        `json:"honesty"`
	LastWrite *int64     `json:"last_write_ns"`
	ReadFrom  *int64     `json:"read_from_ns"`
	Back      int        `json:"back"`
	Fault     text       `json:"fault,omitempty"`
}

// Write writes the proof's file: JSON Lines, always the same bytes for the same proof.
//
// The first line is the head: {"proof":1, label, card, began, ended (RFC 3339 with nanoseconds and offset), files, dirs
// (how many lines of each follow), copies, hashes (formats)}. A copy has name, path, folder, volume, honesty (0 not past
// the cache, 1 from the device, 2 simulated), last_write_ns and read_from_ns (nanoseconds since began, by the monotonic
// clock; null: never), back (how many files have a read-back) and fault. Then one line a folder, {"d":path}, then one
// line a file: {"p":path,"s":size in bytes,"m":time in nanoseconds since 1970 UTC,"h":XXH64 as 16 hexadecimal digits,
// "b":[read-back of each copy that has one for this file]}, and with further formats "x":[digest of each]. A read-back
// is 16 digits if it counts, else "!" and 16 digits. Strings that are not valid UTF-8 are {"base64":"…"}.
//
// The error is that of w, or says that p contradicts itself or has a year beyond 9999.
func (p *Proof) Write(w io.Writer) error {
	head, err := p.head()
	if err != nil {
		return err
	}
	first, err := marshalLine(head)
	if err != nil {
		return err
	}
	out := bufio.NewWriterSize(w, 1<<16)
	_, _ = out.Write(first) // errors of out stay until Flush
	var line []byte
	for _, dir := range p.Dirs {
		line = appendDir(line[:0], dir)
		_, _ = out.Write(line)
	}
	for i := range p.Files {
		line = p.appendFile(line[:0], i, head.Hashes)
		if _, err := out.Write(line); err != nil {
			break
		}
	}
	if err := out.Flush(); err != nil {
		return fmt.Errorf("write proof: %w", err)
	}
	return nil
}

// Digest is the SHA-256 of what Write writes, in lower-case hexadecimal: it names the proof in the journal. It is the
// same for a proof that was saved and loaded. The error says that p contradicts itself.
func (p *Proof) Digest() (string, error) {
	sum := sha256.New()
	if err := p.Write(sum); err != nil {
		return "", err
	}
	return hex.EncodeToString(sum.Sum(nil)), nil
}

// head checks that the parts of the proof fit together and describes them.
func (p *Proof) head() (headLine, error) {
	h := headLine{
		Proof: proofVersion, Label: text(p.Label), Card: volumeToLine(p.Card), Files: len(p.Files), Dirs: len(p.Dirs),
		Copies: []copyLine{}, Hashes: slices.Sorted(maps.Keys(p.Hashes)),
	}
	var err error
	if h.Began, err = timeText(p.Began); err != nil {
		return h, err
	}
	if h.Ended, err = timeText(p.Ended); err != nil {
		return h, err
	}
	for _, format := range h.Hashes {
		if n := len(p.Hashes[format]); n != len(p.Files) {
			return h, fmt.Errorf("write proof: %d digests %q for %d files", n, clip(format), len(p.Files))
		}
	}
	if err := checkPaths(p); err != nil {
		return h, fmt.Errorf("write proof: %w", err)
	}
	for i := range p.Copies {
		c := &p.Copies[i]
		if len(c.Back) > len(p.Files) {
			return h, fmt.Errorf("write proof: %d read-backs of %d files", len(c.Back), len(p.Files))
		}
		h.Copies = append(h.Copies, copyLine{
			Name: text(c.Name), Path: text(c.Path), Folder: text(c.Folder), Volume: volumeToLine(c.Volume),
			Honesty: int(c.Honesty), LastWrite: since(p.Began, c.LastWrite), ReadFrom: since(p.Began, c.ReadFrom),
			Back: len(c.Back), Fault: text(c.Fault),
		})
	}
	return h, nil
}

// errPath: a proof names files and folders of the card, in byte order and once each.
var errPath = errors.New("not a path below the card")

// checkPaths makes sure that every path stays below the card and that files stand in byte order, each once.
func checkPaths(p *Proof) error {
	for i := range p.Files {
		f := &p.Files[i]
		if !below(f.Path) || f.Size < 0 {
			return fmt.Errorf("file %q: %w", clip(f.Path), errPath)
		}
		if i > 0 && p.Files[i-1].Path >= f.Path {
			return fmt.Errorf("file %q: not in order", clip(f.Path))
		}
	}
	for i, d := range p.Dirs {
		if !below(d) {
			return fmt.Errorf("folder %q: %w", clip(d), errPath)
		}
		if i > 0 && p.Dirs[i-1] >= d {
			return fmt.Errorf("folder %q: not in order", clip(d))
		}
	}
	return nil
}

// below says whether path, separated by '/', is made of proper names only.
func below(path string) bool {
	if strings.IndexByte(path, 0) >= 0 {
		return false
	}
	for name := range strings.SplitSeq(path, "/") {
		if name == "" || name == "." || name == ".." {
			return false
		}
	}
	return true
}

// timeText is a wall-clock time with its offset.
func timeText(t time.Time) (string, error) {
	b, err := t.MarshalText()
	if err != nil {
		return "", fmt.Errorf("write proof: %w", err)
	}
	return string(b), nil
}

// since is the nanoseconds from began to t, by the monotonic clock if both have it.
func since(began, t time.Time) *int64 {
	if t.IsZero() {
		return nil
	}
	d := int64(t.Sub(began))
	return &d
}

// marshalLine writes one JSON value and a line feed.
func marshalLine(v any) ([]byte, error) {
	var w bytes.Buffer
	enc := json.NewEncoder(&w)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(v); err != nil {
		return nil, fmt.Errorf("write proof: %w", err)
	}
	return w.Bytes(), nil
}

func appendDir(b []byte, dir string) []byte {
	b = append(b, `{"d":`...)
	b = appendText(b, dir)
	return append(b, '}', '\n')
}

// appendFile writes line i.
func (p *Proof) appendFile(b []byte, i int, formats []string) []byte {
	f := &p.Files[i]
	b = append(b, `{"p":`...)
	b = appendText(b, f.Path)
	b = append(b, `,"s":`...)
	b = strconv.AppendInt(b, f.Size, 10)
	b = append(b, `,"m":`...)
	b = strconv.AppendInt(b, f.MTime, 10)
	b = append(b, `,"h":"`...)
	b = append(b, hashes.Text64(f.Hash)...)
	b = append(b, `","b":[`...)
	comma := false
	for c := range p.Copies {
		if i >= len(p.Copies[c].Back) {
			continue
		}
		if comma {
			b = append(b, ',')
		}
		comma = true
		b = append(b, '"')
		if !p.Copies[c].Back[i].OK {
			b = append(b, '!')
		}
		b = append(b, hashes.Text64(p.Copies[c].Back[i].Hash)...)
		b = append(b, '"')
	}
	b = append(b, ']')
	if len(formats) > 0 {
		b = append(b, `,"x":[`...)
		for n, format := range formats {
			if n > 0 {
				b = append(b, ',')
			}
			b = appendText(b, p.Hashes[format][i])
		}
		b = append(b, ']')
	}
	return append(b, '}', '\n')
}
