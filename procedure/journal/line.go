package journal

import (
	"bytes"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"
	"unicode/utf8"
)

const (
	// MaxLine is the longest line, newline included: 1 MiB. The data of the longest event (the listing of a full card)
	// belongs into its own file with its hash in the journal, so more than this is a mistake of the caller.
	MaxLine = 1 << 20
	// MaxAppend is the most that one Append writes, in bytes: 4 MiB. It also bounds what an opening may set aside.
	MaxAppend = 4 << 20
	// maxEvent is the longest event name in bytes.
	maxEvent = 64
)

const (
	// EventOpened is the first line of every run of a process on a journal; the journal writes it itself.
	EventOpened = "journal.opened"
	// EventJumped says that the wall clock and the monotonic clock disagree by more than JumpLimit since the line
	// before; the journal writes it itself, right before the line that would have been written.
	EventJumped = "clock.jumped"
)

// Line is one event. The caller of Append sets Station, Lane, Operator, Event, Roll and Data; the journal fills in the
// rest. A line that was read has every field set.
type Line struct {
	// Seq counts the lines of this journal from 1, without a gap.
	Seq int64 `json:"seq"`
	// Time is the wall clock with its offset, to the nanosecond. It is for people: it may jump.
	Time time.Time `json:"time"`
	// Run counts the processes that had this journal open, from 1.
	Run int `json:"run"`
	// Mono is the monotonic time since this run began. Durations are differences of Mono within one run, never of Time.
	Mono time.Duration `json:"mono"`
	// Station is the work place. Left empty by the caller, it is Options.Station.
	Station string `json:"station"`
	// Lane is the reader that the event belongs to, from 1; 0 where no lane is meant.
	Lane int `json:"lane"`
	// Operator is who worked. May be empty before set-up.
	Operator string `json:"operator"`
	// Event is the event's name: lower-case words of letters, digits, '-' and '_', joined by dots.
	Event string `json:"event"`
	// Roll is the label of the roll that the event is about; empty where none is meant.
	Roll string `json:"roll"`
	// Data is one compact JSON object with unique names, or nil.
	Data json.RawMessage `json:"data"`
	// Prev is the Sum of the line before; for the first line the SHA-256 of Format.
	Prev Digest `json:"prev"`
	// Sum is the SHA-256 of this line's bytes up to its own "sum" field.
	Sum Digest `json:"sum"`
}

// Digest is a SHA-256.
type Digest [32]byte

// String is the digest in lower-case hexadecimal, as it stands in the file.
func (d Digest) String() string { return hex.EncodeToString(d[:]) }

// MarshalText is String as bytes.
func (d Digest) MarshalText() ([]byte, error) { return []byte(d.String()), nil }

// UnmarshalText reads what MarshalText gives.
func (d *Digest) UnmarshalText(b []byte) error {
	if len(b) != hex.EncodedLen(len(d)) {
		return fmt.Errorf("digest of %d characters, want %d", len(b), hex.EncodedLen(len(d)))
	}
	_, err := hex.Decode(d[:], b)
	return err
}

// ErrLine is in every error of Append that refuses a line for what it says. Nothing was written, and the journal goes
// on working.
var ErrLine = errors.New("line refused")

// check says what is wrong with what a caller wants to write, or nil.
func (l *Line) check() error {
	if err := checkEvent(l.Event); err != nil {
		return err
	}
	if strings.HasPrefix(l.Event, "journal.") || strings.HasPrefix(l.Event, "clock.") {
		return fmt.Errorf("%w: event %q: names in journal. and clock. belong to the journal itself", ErrLine, l.Event)
	}
	if l.Lane < 0 {
		return fmt.Errorf("%w: event %s: lane %d", ErrLine, l.Event, l.Lane)
	}
	for _, f := range [...]struct{ name, text string }{
		{"station", l.Station}, {"operator", l.Operator}, {"roll", l.Roll},
	} {
		if !utf8.ValidString(f.text) {
			return fmt.Errorf("%w: event %s: %s %q is not UTF-8", ErrLine, l.Event, f.name, f.text)
		}
	}
	if err := checkData(l.Data); err != nil {
		return fmt.Errorf("%w: event %s: data: %w", ErrLine, l.Event, err)
	}
	return nil
}

// checkEvent says whether name is a well-formed event name.
func checkEvent(name string) error {
	if name == "" || len(name) > maxEvent {
		return fmt.Errorf("%w: event name %q has %d bytes, want 1 to %d", ErrLine, name, len(name), maxEvent)
	}
	start := true
	for _, c := range []byte(name) {
		switch {
		case c >= 'a' && c <= 'z':
			start = false
		case !start && (c >= '0' && c <= '9' || c == '-' || c == '_'):
		case !start && c == '.':
			start = true
		default:
			return fmt.Errorf("%w: event name %q: lower-case words joined by dots are wanted", ErrLine, name)
		}
	}
	if start {
		return fmt.Errorf("%w: event name %q ends in a dot", ErrLine, name)
	}
	return nil
}

// checkData says whether data may stand in a line: nil, null, or one compact object in UTF-8 in which no name stands
// twice (two readers could take it differently).
func checkData(data json.RawMessage) error {
	if len(data) == 0 || string(data) == "null" {
		return nil
	}
	if data[0] != '{' {
		return errors.New("not an object")
	}
	if !wellFormed(data) {
		return errors.New("not valid, compact JSON in UTF-8")
	}
	if surelyUnique(data) {
		return nil
	}
	return uniqueNames(json.NewDecoder(bytes.NewReader(data)))
}

// surelyUnique is the quick way through nearly every line: it says of well-formed, compact JSON that no object in it has
// the same name twice. False is no answer: a name stands twice, or has an escape, or there are many.
func surelyUnique(data []byte) bool {
	const many = 24
	var names [][]byte // of all objects that are open
	var starts []int   // where in names each of them begins
	for i := 0; i < len(data); i++ {
		switch data[i] {
		case '{':
			starts = append(starts, len(names))
		case '}':
			names, starts = names[:starts[len(starts)-1]], starts[:len(starts)-1]
		case '"':
			text := data[i+1:]
			text = text[:bytes.IndexByte(text, '"')]
			if bytes.IndexByte(text, '\\') >= 0 {
				return false
			}
			i += len(text) + 1 // the closing quote
			if i+1 == len(data) || data[i+1] != ':' {
				continue
			}
			own := names[starts[len(starts)-1]:]
			if len(own) == many || slices.ContainsFunc(own, func(n []byte) bool { return bytes.Equal(n, text) }) {
				return false
			}
			names = append(names, text)
		}
	}
	return true
}

// wellFormed says whether data is valid JSON, in UTF-8, without white space outside of strings.
func wellFormed(data []byte) bool {
	if !json.Valid(data) || !utf8.Valid(data) {
		return false
	}
	inside := false
	for i := 0; i < len(data); i++ {
		switch data[i] {
		case '\\':
			i++ // only strings have it, and what it escapes is one byte that matters here
		case '"':
			inside = !inside
		case ' ', '\t', '\r', '\n':
			if !inside {
				return false
			}
		}
	}
	return true
}

// uniqueNames reads one valid JSON text and says whether some object in it has the same name twice.
func uniqueNames(dec *json.Decoder) error {
	dec.UseNumber()
	type level struct {
		names map[string]bool // nil in an array
		key   bool            // the next token is a name
	}
	var stack []level
	for {
		tok, err := dec.Token()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		var top *level
		if len(stack) > 0 {
			top = &stack[len(stack)-1]
		}
		if name, ok := tok.(string); ok && top != nil && top.key {
			if top.names[name] {
				return fmt.Errorf("name %q stands twice", name)
			}
			top.names[name], top.key = true, false
			continue
		}
		switch tok {
		case json.Delim('{'):
			stack = append(stack, level{names: map[string]bool{}, key: true})
			continue
		case json.Delim('['):
			stack = append(stack, level{})
			continue
		case json.Delim('}'), json.Delim(']'):
			stack = stack[:len(stack)-1]
		}
		if len(stack) > 0 && stack[len(stack)-1].names != nil {
			stack[len(stack)-1].key = true
		}
	}
}
