package journal

import (
	"crypto/sha256"
	"encoding/hex"
	"strconv"
	"time"
	"unicode/utf8"
)

// Format names the format and its version. It stands in every journal.opened line, and its SHA-256 is the Prev of the
// first line, so that a journal of another version cannot be taken for one of this.
const Format = "twobin.journal.1"

// timeLayout is RFC 3339 with nine decimals and a numeric offset also for UTC: always timeLen bytes.
const (
	timeLayout = "2006-01-02T15:04:05.000000000-07:00"
	timeLen    = len(timeLayout)
)

// The end of a line, of fixed length, so that the data in front of it needs no search.
const (
	beforePrev = `,"prev":"`
	beforeSum  = `","sum":"`
	lineEnd    = `"}`
	hexLen     = 2 * sha256.Size
	sumLen     = len(beforeSum) - 1 + hexLen + len(lineEnd) // ,"sum":"…"} behind the quote that closes prev
	tailLen    = len(beforePrev) + hexLen + len(beforeSum) + hexLen + len(lineEnd)
)

func genesis() Digest { return sha256.Sum256([]byte(Format)) }

// encode appends l's line, newline included, and sets l.Sum.
func encode(b []byte, l *Line) []byte {
	start := len(b)
	b = appendHead(b, l)
	b = append(b, l.data()...)
	b = append(b, beforePrev...)
	b = hex.AppendEncode(b, l.Prev[:])
	b = append(b, '"')
	l.Sum = sha256.Sum256(b[start:])
	b = append(b, beforeSum[1:]...)
	b = hex.AppendEncode(b, l.Sum[:])
	return append(b, lineEnd+"\n"...)
}

// data is what stands behind "data": in the file.
func (l *Line) data() []byte {
	if len(l.Data) == 0 {
		return []byte("null")
	}
	return l.Data
}

// appendHead appends everything in front of the data.
func appendHead(b []byte, l *Line) []byte {
	b = append(b, `{"seq":`...)
	b = strconv.AppendInt(b, l.Seq, 10)
	b = append(b, `,"time":"`...)
	b = l.Time.AppendFormat(b, timeLayout)
	b = append(b, `","run":`...)
	b = strconv.AppendInt(b, int64(l.Run), 10)
	b = append(b, `,"mono":`...)
	b = strconv.AppendInt(b, int64(l.Mono), 10)
	b = append(b, `,"station":`...)
	b = appendString(b, l.Station)
	b = append(b, `,"lane":`...)
	b = strconv.AppendInt(b, int64(l.Lane), 10)
	b = append(b, `,"operator":`...)
	b = appendString(b, l.Operator)
	b = append(b, `,"event":`...)
	b = appendString(b, l.Event)
	b = append(b, `,"roll":`...)
	b = appendString(b, l.Roll)
	return append(b, `,"data":`...)
}

// appendString appends s, which must be UTF-8, as a JSON string. Quotes, backslashes, all control characters (C0, DEL,
// C1) and the line separators U+2028 and U+2029 are escaped, so that printing a journal cannot steer a terminal through
// these fields.
func appendString(b []byte, s string) []byte {
	b = append(b, '"')
	from := 0
	for i := 0; i < len(s); {
		c := s[i]
		if c < utf8.RuneSelf {
			if c >= ' ' && c != '"' && c != '\\' && c != 0x7f {
				i++
				continue
			}
			b = append(b, s[from:i]...)
			if c == '"' || c == '\\' {
				b = append(b, '\\', c)
			} else {
				b = appendEscape(b, rune(c))
			}
			i++
			from = i
			continue
		}
		r, n := utf8.DecodeRuneInString(s[i:])
		if r < 0xa0 || r == 0x2028 || r == 0x2029 {
			b = append(b, s[from:i]...)
			b = appendEscape(b, r)
			from = i + n
		}
		i += n
	}
	b = append(b, s[from:]...)
	return append(b, '"')
}

// appendEscape appends r, which lies in the basic plane, as \uXXXX.
func appendEscape(b []byte, r rune) []byte {
	const digits = "0123456789abcdef"
	return append(b, '\\', 'u', digits[r>>12&15], digits[r>>8&15], digits[r>>4&15], digits[r&15])
}

// stamp gives t as it will be read back: no monotonic reading, an offset in whole minutes without a name.
func stamp(t time.Time) time.Time {
	_, off := t.Zone()
	return t.Round(0).In(time.FixedZone("", off/60*60))
}
