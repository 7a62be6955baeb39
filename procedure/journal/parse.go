package journal

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"time"
	"unicode/utf8"
)

// parser turns lines back into events. It only accepts what encode writes: after taking a line apart it puts it together
// again and compares every byte. One parser serves one journal, one goroutine.
type parser struct {
	texts map[string]string // station, operator, event and roll repeat: one string for each
	zones map[int]*time.Location
	buf   []byte
}

func newParser() *parser {
	return &parser{texts: map[string]string{}, zones: map[int]*time.Location{}}
}

// parse reads one line without its newline. The string says what is wrong; empty means that the line is good in itself.
// Data is a part of line, not a copy.
func (p *parser) parse(line []byte) (Line, string) {
	var l Line
	if len(line) >= MaxLine {
		return l, "longer than a line may be"
	}
	body, ok := bytes.CutSuffix(line, []byte(lineEnd))
	if len(line) < tailLen || !ok {
		return l, "not a whole line"
	}
	tail := cursor{b: line[len(line)-tailLen:]}
	var prev, sum []byte
	ok = tail.lit(beforePrev) && tail.take(hexLen, &prev) && tail.lit(beforeSum) && tail.take(hexLen, &sum)
	if !ok || !digest(&l.Prev, prev) || !digest(&l.Sum, sum) {
		return l, "not a whole line"
	}
	if sha256.Sum256(body[:len(line)-sumLen]) != l.Sum {
		return l, "its bytes do not match its own SHA-256"
	}
	head := cursor{b: line[:len(line)-tailLen]}
	if !p.head(&head, &l) {
		return l, "not in the form of a journal line"
	}
	data := head.b[head.i:]
	p.buf = appendHead(p.buf[:0], &l)
	if !bytes.Equal(p.buf, line[:head.i]) {
		return l, "not in the form of a journal line"
	}
	if string(data) == "null" {
		return l, ""
	}
	if len(data) == 0 || data[0] != '{' || !wellFormed(data) {
		return l, "its data are not a compact JSON object"
	}
	l.Data = data[:len(data):len(data)]
	return l, ""
}

// head reads the fields in front of the data.
func (p *parser) head(c *cursor, l *Line) bool {
	var run, mono, lane int64
	ok := c.lit(`{"seq":`) && c.num(&l.Seq) &&
		c.lit(`,"time":"`) && p.time(c, &l.Time) &&
		c.lit(`","run":`) && c.num(&run) &&
		c.lit(`,"mono":`) && c.num(&mono) &&
		c.lit(`,"station":`) && p.text(c, &l.Station) &&
		c.lit(`,"lane":`) && c.num(&lane) &&
		c.lit(`,"operator":`) && p.text(c, &l.Operator) &&
		c.lit(`,"event":`) && p.text(c, &l.Event) &&
		c.lit(`,"roll":`) && p.text(c, &l.Roll) &&
		c.lit(`,"data":`)
	l.Run, l.Mono, l.Lane = int(run), time.Duration(mono), int(lane)
	return ok && checkEvent(l.Event) == nil
}

// text reads one JSON string.
func (p *parser) text(c *cursor, s *string) bool {
	if !c.lit(`"`) {
		return false
	}
	from, escaped := c.i, false
	for ; c.i < len(c.b); c.i++ {
		switch c.b[c.i] {
		case '\\':
			escaped = true
			c.i++
		case '"':
			raw := c.b[from:c.i]
			c.i++
			if !utf8.Valid(raw) {
				return false
			}
			if !escaped {
				*s = p.intern(raw)
				return true
			}
			var t string
			if json.Unmarshal(c.b[from-1:c.i], &t) != nil {
				return false
			}
			*s = p.intern([]byte(t))
			return true
		}
	}
	return false
}

func (p *parser) intern(b []byte) string {
	if s, ok := p.texts[string(b)]; ok {
		return s
	}
	s := string(b)
	if len(s) <= 256 {
		p.texts[s] = s
	}
	return s
}

// time reads a time in timeLayout. Values out of range come out as another time and fail the comparison in parse.
func (p *parser) time(c *cursor, t *time.Time) bool {
	var b []byte
	if !c.take(timeLen, &b) {
		return false
	}
	var n [9]int
	for i, f := range [...][2]int{{0, 4}, {5, 7}, {8, 10}, {11, 13}, {14, 16}, {17, 19}, {20, 29}, {30, 32}, {33, 35}} {
		for _, d := range b[f[0]:f[1]] {
			if d < '0' || d > '9' {
				return false
			}
			n[i] = 10*n[i] + int(d-'0')
		}
	}
	off := 60 * (60*n[7] + n[8])
	if b[29] == '-' {
		off = -off
	}
	zone := p.zones[off]
	if zone == nil {
		zone = time.FixedZone("", off)
		p.zones[off] = zone
	}
	*t = time.Date(n[0], time.Month(n[1]), n[2], n[3], n[4], n[5], n[6], zone)
	return true
}

func digest(d *Digest, b []byte) bool {
	if _, err := hex.Decode(d[:], b); err != nil {
		return false
	}
	for _, c := range b {
		if c >= 'A' && c <= 'F' {
			return false
		}
	}
	return true
}

// cursor walks through one line.
type cursor struct {
	b []byte
	i int
}

func (c *cursor) lit(s string) bool {
	if len(c.b)-c.i < len(s) || string(c.b[c.i:c.i+len(s)]) != s {
		return false
	}
	c.i += len(s)
	return true
}

func (c *cursor) take(n int, b *[]byte) bool {
	if len(c.b)-c.i < n {
		return false
	}
	*b = c.b[c.i : c.i+n]
	c.i += n
	return true
}

// num reads a whole number of up to 18 digits; all numbers of a line are zero or more.
func (c *cursor) num(v *int64) bool {
	from := c.i
	for c.i < len(c.b) && c.i-from < 18 && c.b[c.i] >= '0' && c.b[c.i] <= '9' {
		*v = 10**v + int64(c.b[c.i]-'0')
		c.i++
	}
	return c.i > from
}
