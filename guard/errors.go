package guard

import (
	"fmt"
	"strings"
)

// Kind is what went wrong, as far as a caller or the operator acts on it. Each kind has one wording for the operator,
// kept in package procedure. The zero value is not a kind.
type Kind int

const (
	kindInvalid Kind = iota
	// KindNoSpace: the destination has no room (before the first byte, or found while writing).
	KindNoSpace
	// KindReadOnly: the destination is or went read-only.
	KindReadOnly
	// KindDenied: not allowed to read or write.
	KindDenied
	// KindGone: the volume is no longer there, or the path now leads to another one.
	KindGone
	// KindStalled: the drive does not answer.
	KindStalled
	// KindNames: the destination cannot hold the card's names (case-folding, forbidden characters, length).
	KindNames
	// KindExists: a file of that name with other contents stands there.
	KindExists
	// KindSourceRead: the card cannot be read.
	KindSourceRead
	// KindSourceChanged: the card changed while it was copied.
	KindSourceChanged
	// KindSourceOdd: the card holds something that is neither file nor folder.
	KindSourceOdd
	// KindWrite: writing or flushing failed; the copy is condemned.
	KindWrite
	// KindReadBack: reading the copy back failed.
	KindReadBack
	// KindMismatch: the copy read back differs from the card.
	KindMismatch
	// KindReread: reading the card twice gave different bytes.
	KindReread
	// KindSameDevice: two destinations, or the card and a destination, share a physical device.
	KindSameDevice
	// KindRecord: the hash list or manifest could not be written or is damaged.
	KindRecord
	// KindStopped: the operator or a signal stopped the work. Not a failure.
	KindStopped
	// KindBusy: another process works on it.
	KindBusy
	// KindUnproven: an erase found something that is not proven; nothing was removed.
	KindUnproven
	// KindErase: removing failed part of the way.
	KindErase
	kindEnd
)

var kindNames = [...]string{
	kindInvalid: "invalid", KindNoSpace: "no-space", KindReadOnly: "read-only", KindDenied: "denied", KindGone: "gone",
	KindStalled: "stalled", KindNames: "names", KindExists: "exists", KindSourceRead: "source-read",
	KindSourceChanged: "source-changed", KindSourceOdd: "source-odd", KindWrite: "write", KindReadBack: "read-back",
	KindMismatch: "mismatch", KindReread: "reread", KindSameDevice: "same-device", KindRecord: "record",
	KindStopped: "stopped", KindBusy: "busy", KindUnproven: "unproven", KindErase: "erase",
}

// String is the kind's name in the journal.
func (k Kind) String() string {
	if k <= kindInvalid || k >= kindEnd {
		return "invalid"
	}
	return kindNames[k]
}

// Kinds lists every kind, for tables and tests.
func Kinds() []Kind {
	ks := make([]Kind, 0, kindEnd-1)
	for k := kindInvalid + 1; k < kindEnd; k++ {
		ks = append(ks, k)
	}
	return ks
}

// Error is one fault: operation, destination or card, path, kind and cause.
type Error struct {
	// Op is what was being done: "scan", "copy", "flush", "read back", "compare", "erase", …
	Op string
	// Item is the destination's name, or "card".
	Item string
	// Path is relative to the card or roll folder; empty when the whole volume is meant.
	Path string
	Kind Kind
	// Need is bytes that are lacking, for KindNoSpace; 0 when not known.
	Need int64
	Err  error
}

// Error gives operation, item, path, kind and cause in one line.
func (e *Error) Error() string {
	var b strings.Builder
	b.WriteString(e.Op)
	if e.Item != "" {
		b.WriteString(" on " + e.Item)
	}
	if e.Path != "" {
		fmt.Fprintf(&b, ": %q", e.Path)
	}
	b.WriteString(": " + e.Kind.String())
	if e.Err != nil {
		b.WriteString(": " + e.Err.Error())
	}
	return b.String()
}

// Unwrap gives the cause.
func (e *Error) Unwrap() error { return e.Err }
