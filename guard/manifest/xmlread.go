package manifest

import (
	"bufio"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"
)

// Limits on what is read, so that a hostile file costs neither memory nor time without end. A real manifest has one
// element of a few hundred bytes a file: a card of 1,000,000 files makes about 400 MB.
const (
	// maxManifest is the largest manifest read, 2 GiB.
	maxManifest = 2 << 30
	// maxChain is the largest chain file read, 16 MiB: over 80,000 generations.
	maxChain = 16 << 20
	// maxToken is the longest single tag or text, 1 MiB.
	maxToken = 1 << 20
	// maxDepth is how deep elements may nest; the schema needs 6, free metadata gets the rest.
	maxDepth = 64
	// maxWarnings is how many oddities of one file are kept.
	maxWarnings = 100
)

// ErrXML says that a manifest or chain file is not one this package reads: not well formed, not UTF-8, with a document
// type or entities, over a limit, or not of the schema. Nothing of it is used.
var ErrXML = errors.New("not a usable ASC MHL file")

// boundedReader hands bytes to the XML decoder one by one and stops it within a single token. The decoder uses a
// ByteReader as it is, without a buffer of its own, so the count is exact.
type boundedReader struct {
	r           *bufio.Reader
	token, left int64
}

func (b *boundedReader) ReadByte() (byte, error) {
	if b.left <= 0 {
		return 0, errors.New("file too large")
	}
	if b.token <= 0 {
		return 0, errors.New("a tag or text is too long")
	}
	b.left--
	b.token--
	return b.r.ReadByte()
}

// Read is only there because the decoder asks for an io.Reader.
func (b *boundedReader) Read(p []byte) (int, error) {
	if len(p) == 0 {
		return 0, nil
	}
	c, err := b.ReadByte()
	if err != nil {
		return 0, err
	}
	p[0] = c
	return 1, nil
}

// element walks one XML document of a known namespace, element by element.
type element struct {
	dec   *xml.Decoder
	in    *boundedReader
	space string
	depth int
	warn  []string
}

func newElements(r io.Reader, limit int64, space string) *element {
	br := bufio.NewReaderSize(r, 64<<10)
	if bom, err := br.Peek(3); err == nil && string(bom) == "\xef\xbb\xbf" {
		_, _ = br.Discard(3) // just peeked: cannot fail
	}
	in := &boundedReader{r: br, left: limit}
	d := xml.NewDecoder(in)
	d.Strict = true
	// No CharsetReader: any declared encoding but UTF-8 is an error. No Entity map: only the five built-in ones.
	return &element{dec: d, in: in, space: space}
}

// token is the next start, end or text; comments and the XML declaration are passed over, a document type is refused.
func (e *element) token() (xml.Token, error) {
	for {
		e.in.token = maxToken
		t, err := e.dec.Token()
		if err == io.EOF {
			return nil, io.EOF
		}
		if err != nil {
			return nil, fmt.Errorf("%w: %w", ErrXML, err)
		}
		switch t := t.(type) {
		case xml.StartElement:
			if e.depth++; e.depth > maxDepth {
				return nil, e.fail("nested too deep")
			}
			return t, nil
		case xml.EndElement:
			e.depth--
			return t, nil
		case xml.CharData:
			return t, nil
		case xml.Directive:
			return nil, e.fail("document type and entities are refused")
		case xml.ProcInst:
			if t.Target != "xml" {
				return nil, e.fail("processing instruction %.40s", t.Target)
			}
		case xml.Comment:
		}
	}
}

func (e *element) fail(format string, args ...any) error {
	line, col := e.dec.InputPos()
	return fmt.Errorf("%w: line %d, column %d: %s", ErrXML, line, col, fmt.Sprintf(format, args...))
}

func (e *element) warnf(format string, args ...any) {
	if len(e.warn) < maxWarnings {
		line, _ := e.dec.InputPos()
		e.warn = append(e.warn, fmt.Sprintf("line %d: ", line)+fmt.Sprintf(format, args...))
	}
}

// root reads up to the document's first element and checks its name and namespace.
func (e *element) root(name string) (xml.StartElement, error) {
	for {
		t, err := e.token()
		if err == io.EOF {
			return xml.StartElement{}, e.fail("empty")
		}
		if err != nil {
			return xml.StartElement{}, err
		}
		switch t := t.(type) {
		case xml.StartElement:
			if e.space == nsChain && isDraft(t.Name) {
				return t, ErrDraft
			}
			if t.Name.Local != name || t.Name.Space != e.space {
				return t, e.fail("the document is {%.100s}%.100s, want {%s}%s", t.Name.Space, t.Name.Local, e.space, name)
			}
			return t, nil
		case xml.CharData:
			if len(strings.TrimSpace(string(t))) > 0 {
				return xml.StartElement{}, e.fail("text before the first element")
			}
		}
	}
}

// end reads what follows the document's last element: nothing but space and comments.
func (e *element) end() error {
	for {
		t, err := e.token()
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return err
		}
		if c, ok := t.(xml.CharData); !ok || len(strings.TrimSpace(string(c))) > 0 {
			return e.fail("more after the document's end")
		}
	}
}

// children calls f for each child element of the one just begun, until its end. f must read its element to the end.
// Text between children is an error.
func (e *element) children(f func(xml.StartElement) error) error {
	for {
		t, err := e.token()
		if err != nil {
			return e.early(err)
		}
		switch t := t.(type) {
		case xml.EndElement:
			return nil
		case xml.CharData:
			if len(strings.TrimSpace(string(t))) > 0 {
				return e.fail("text where elements belong")
			}
		case xml.StartElement:
			if t.Name.Space != e.space {
				e.warnf("passed over foreign element {%.100s}%.100s", t.Name.Space, t.Name.Local)
				if err := e.skip(); err != nil {
					return err
				}
				continue
			}
			if err := f(t); err != nil {
				return err
			}
		}
	}
}

// text reads the element just begun as plain text, byte for byte, to its end.
func (e *element) text() (string, error) {
	var s strings.Builder
	for {
		t, err := e.token()
		if err != nil {
			return "", e.early(err)
		}
		switch t := t.(type) {
		case xml.EndElement:
			return s.String(), nil
		case xml.CharData:
			if s.Len()+len(t) > maxToken {
				return "", e.fail("text too long")
			}
			s.Write(t)
		case xml.StartElement:
			return "", e.fail("element %.100s where text belongs", t.Name.Local)
		}
	}
}

// skip reads the element just begun to its end and forgets it.
func (e *element) skip() error {
	for level := 1; level > 0; {
		t, err := e.token()
		if err != nil {
			return e.early(err)
		}
		switch t.(type) {
		case xml.StartElement:
			level++
		case xml.EndElement:
			level--
		}
	}
	return nil
}

// unknown passes over an element of our namespace that the schema does not have here.
func (e *element) unknown(s xml.StartElement, in string) error {
	e.warnf("passed over unknown element %.100s in %s", s.Name.Local, in)
	return e.skip()
}

func (e *element) early(err error) error {
	if err == io.EOF {
		return e.fail("ends too early")
	}
	return err
}

// attr is the value of an attribute without a namespace.
func attr(s xml.StartElement, name string) (string, bool) {
	for _, a := range s.Attr {
		if a.Name.Space == "" && a.Name.Local == name {
			return a.Value, true
		}
	}
	return "", false
}

// readTime takes an xs:dateTime. zone is false if it has none: the instant is then unknown and read as if UTC.
func readTime(s string) (t time.Time, zone bool, err error) {
	s = strings.TrimSpace(s)
	if t, err = time.Parse(time.RFC3339, s); err == nil {
		return t, true, nil
	}
	if t, err = time.Parse("2006-01-02T15:04:05", s); err == nil {
		return t, false, nil
	}
	return time.Time{}, false, fmt.Errorf("%.100q is no date and time", s)
}

// timeAttr is an optional time attribute: a bad one is a warning, not damage.
func (e *element) timeAttr(s xml.StartElement, name string) time.Time {
	v, ok := attr(s, name)
	if !ok {
		return time.Time{}
	}
	t, zone, err := readTime(v)
	if err != nil {
		e.warnf("%s: %v", name, err)
		return time.Time{}
	}
	if !zone {
		return time.Time{} // unknown, not UTC
	}
	return t
}
