package journal

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
)

// sector is the smallest unit that a disk writes as a whole, in bytes.
const sector = 512

// torn says whether raw from at on, the place of the first damage, can be what is left of one append that was never
// acknowledged: an append is one write, flushed before it counts, so only the last one can be torn. prev is the last good
// line, nil if there is none.
//
// Two forms are known. A write that stopped leaves the beginning of a line without its newline. A power cut may also
// keep the new length of the file but not all of the blocks: those then read as zeros, up to the end of a sector or of
// the file. Everything else is damage: better to stop than to cut off something that was acknowledged.
func torn(raw []byte, at int, prev *Line) bool {
	rest := raw[at:]
	if len(rest) > MaxAppend {
		return false
	}
	if !bytes.ContainsRune(rest, 0) {
		return !bytes.ContainsRune(rest, '\n') && beginsLine(rest, prev)
	}
	return blocksMissing(raw, at) && oneAppend(rest)
}

// beginsLine says whether b is a proper beginning of the line after prev.
func beginsLine(b []byte, prev *Line) bool {
	seq := int64(1)
	if prev != nil {
		seq = prev.Seq + 1
	}
	head := fmt.Sprintf(`{"seq":%d,"time":"`, seq)
	if n := min(len(b), len(head)); string(b[:n]) != head[:n] {
		return false
	}
	dec := json.NewDecoder(bytes.NewReader(b))
	var whole json.RawMessage
	err := dec.Decode(&whole)
	return errors.Is(err, io.ErrUnexpectedEOF) || err == nil && dec.InputOffset() == int64(len(b))
}

// blocksMissing says whether every run of zero bytes in raw from at on is what a missing block looks like: it begins
// where the append began or at the start of a sector, and lasts to the end of a sector or of the file.
func blocksMissing(raw []byte, at int) bool {
	for i := at; i < len(raw); i++ {
		if raw[i] != 0 {
			continue
		}
		from := i
		for i < len(raw) && raw[i] == 0 {
			i++
		}
		// The damaged line need not be the first of its append: then its beginning stands, and the zeros begin at a sector.
		if from != at && from%sector != 0 || i != len(raw) && i%sector != 0 {
			return false
		}
	}
	return true
}

// oneAppend says whether the whole lines in b, if any, were written by one append: they then have the same time, to the
// nanosecond, and no other append of that run has it.
func oneAppend(b []byte) bool {
	p := newParser()
	var first *Line
	for text := range strings.SplitSeq(string(b), "\n") {
		l, what := p.parse([]byte(text))
		if what != "" {
			continue
		}
		if first == nil {
			first = &l
		}
		if l.Run != first.Run || l.Mono != first.Mono {
			return false
		}
	}
	return true
}
