package guard

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"twobin/guard/hashes"
)

// proofLine is the greatest length of one line of a proof's file: a path of 4,096 bytes, escaped, and a few hundred
// digests need a tenth of it.
const proofLine = 1 << 20

// errProof is the cause when a proof's file is not what Write writes.
var errProof = errors.New("not a proof in its written form")

// dirLine and fileLine are the lines after the head.
type dirLine struct {
	D text `json:"d"`
}

type fileLine struct {
	P text     `json:"p"`
	S int64    `json:"s"`
	M int64    `json:"m"`
	H string   `json:"h"`
	B []string `json:"b"`
	X []text   `json:"x"`
}

// ReadProof reads what [Proof.Write] wrote, and nothing else: input that Write would not write byte for byte is an
// error, which names the line. The monotonic readings are gone; the distances between LastWrite, ReadFrom and Began are
// kept, whatever the wall clock did between them. Memory grows with what was read, never with what the head claims.
func ReadProof(r io.Reader) (*Proof, error) {
	d := &proofReader{in: bufio.NewReaderSize(r, 1<<13)} // most proofs are a few kB, and a long sheet reads thousands
	p, err := d.read()
	if err != nil {
		return nil, fmt.Errorf("read proof: line %d: %w", d.line, err)
	}
	return p, nil
}

type proofReader struct {
	in   *bufio.Reader
	line int
	head headLine
	buf  []byte
	made []byte
	// digits is used again for every line.
	digits []string
}

func (d *proofReader) read() (*Proof, error) {
	b, err := d.next()
	if err != nil {
		return nil, err
	}
	if err := json.Unmarshal(b, &d.head); err != nil {
		return nil, err
	}
	p, err := d.start()
	if err != nil {
		return nil, err
	}
	for range d.head.Dirs {
		if err := d.dir(p); err != nil {
			return nil, err
		}
	}
	for i := range d.head.Files {
		if err := d.file(p, i); err != nil {
			return nil, err
		}
	}
	d.line++
	if _, err := d.in.ReadByte(); !errors.Is(err, io.EOF) {
		return nil, errors.Join(errProof, err)
	}
	// The head is checked last: only now it can be written from the proof.
	head, err := p.head()
	if err != nil {
		return nil, err
	}
	again, err := marshalLine(head)
	if err != nil {
		return nil, err
	}
	d.line = 1
	if !bytes.Equal(again, b) {
		return nil, errProof
	}
	return p, nil
}

// next gives the next line with its line feed. The first line stays valid, later ones until the next call.
func (d *proofReader) next() ([]byte, error) {
	d.line++
	buf := d.buf[:0]
	if d.line <= 2 {
		buf = nil
	}
	for {
		part, err := d.in.ReadSlice('\n')
		if len(buf)+len(part) > proofLine {
			return nil, fmt.Errorf("longer than %d bytes", proofLine)
		}
		buf = append(buf, part...)
		switch {
		case err == nil:
			d.buf = buf
			return buf, nil
		case errors.Is(err, bufio.ErrBufferFull):
		case errors.Is(err, io.EOF):
			return nil, io.ErrUnexpectedEOF
		default:
			return nil, err
		}
	}
}

// start makes the proof that the head describes, still without folders and files.
func (d *proofReader) start() (*Proof, error) {
	h := &d.head
	if h.Proof != proofVersion {
		return nil, fmt.Errorf("version %d, this program knows %d", h.Proof, proofVersion)
	}
	p := &Proof{Label: string(h.Label), Card: h.Card.volume()}
	if err := p.Began.UnmarshalText([]byte(h.Began)); err != nil {
		return nil, err
	}
	if err := p.Ended.UnmarshalText([]byte(h.Ended)); err != nil {
		return nil, err
	}
	for _, c := range h.Copies {
		if c.Back < 0 || c.Back > h.Files {
			return nil, errProof
		}
		p.Copies = append(p.Copies, Copy{
			Name: string(c.Name), Path: string(c.Path), Folder: string(c.Folder), Volume: c.Volume.volume(),
			Honesty: Honesty(c.Honesty), LastWrite: after(p.Began, c.LastWrite), ReadFrom: after(p.Began, c.ReadFrom),
			Fault: string(c.Fault),
		})
	}
	if len(h.Hashes) > 0 {
		p.Hashes = make(map[string][]string, len(h.Hashes))
		for _, format := range h.Hashes {
			p.Hashes[format] = []string{}
		}
		if len(p.Hashes) != len(h.Hashes) {
			return nil, errProof
		}
	}
	return p, nil
}

// after undoes since.
func after(began time.Time, d *int64) time.Time {
	if d == nil {
		return time.Time{}
	}
	return began.Add(time.Duration(*d))
}

func (d *proofReader) dir(p *Proof) error {
	b, err := d.next()
	if err != nil {
		return err
	}
	var l dirLine
	if err := json.Unmarshal(b, &l); err != nil {
		return err
	}
	p.Dirs = append(p.Dirs, string(l.D))
	if d.made = appendDir(d.made[:0], string(l.D)); !bytes.Equal(d.made, b) {
		return errProof
	}
	return nil
}

// plainLine takes apart a file's line whose path needs no escapes and that has no further digests, which is nearly every
// line, ten times as fast as JSON in general. False: it is not such a line. Whatever it makes of one is checked, as
// always, by writing the line again.
func plainLine(b []byte, l *fileLine) bool {
	rest := string(b)
	next := func(begin, until string) (s string, ok bool) {
		if rest, ok = strings.CutPrefix(rest, begin); !ok {
			return "", false
		}
		s, rest, ok = strings.Cut(rest, until)
		return s, ok
	}
	path, ok1 := next(`{"p":"`, `","s":`)
	size, ok2 := next("", `,"m":`)
	mtime, ok3 := next("", `,"h":"`)
	hash, ok4 := next("", `","b":[`)
	back, ok5 := next("", "]}\n")
	if !ok1 || !ok2 || !ok3 || !ok4 || !ok5 || rest != "" || strings.ContainsAny(path, `"\`) || strings.Contains(back, "]") {
		return false
	}
	var err1, err2 error
	l.P, l.H = text(strings.Clone(path)), hash // a copy, so that the line can go
	l.S, err1 = strconv.ParseInt(size, 10, 64)
	l.M, err2 = strconv.ParseInt(mtime, 10, 64)
	for back != "" {
		var one string
		one, back, _ = strings.Cut(back, ",")
		l.B = append(l.B, strings.Trim(one, `"`))
	}
	return err1 == nil && err2 == nil
}

// file reads line i and checks that it would be written the same.
func (d *proofReader) file(p *Proof, i int) error {
	b, err := d.next()
	if err != nil {
		return err
	}
	l := fileLine{B: d.digits[:0]}
	if !plainLine(b, &l) {
		l = fileLine{}
		if err := json.Unmarshal(b, &l); err != nil {
			return err
		}
	}
	d.digits = l.B
	f := File{Entry: Entry{Path: string(l.P), Size: l.S, MTime: l.M}}
	if f.Hash, err = hashes.Parse64(l.H); err != nil {
		return err
	}
	p.Files = append(p.Files, f)
	n := 0
	for c := range p.Copies {
		if i >= d.head.Copies[c].Back {
			continue
		}
		if n >= len(l.B) {
			return errProof
		}
		digits, bad := strings.CutPrefix(l.B[n], "!")
		n++
		sum, err := hashes.Parse64(digits)
		if err != nil {
			return err
		}
		p.Copies[c].Back = append(p.Copies[c].Back, Back{Hash: sum, OK: !bad})
	}
	if len(l.X) != len(d.head.Hashes) {
		return errProof
	}
	for n, format := range d.head.Hashes {
		p.Hashes[format] = append(p.Hashes[format], string(l.X[n]))
	}
	if d.made = p.appendFile(d.made[:0], i, d.head.Hashes); !bytes.Equal(d.made, b) {
		return errProof
	}
	return nil
}
