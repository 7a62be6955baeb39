package offload

import (
	"context"
	"errors"
	"io"
	"io/fs"

	"twobin/guard"
)

// card is what errors call the source.
const card = "card"

// errStalled is the cause of every KindStalled.
var errStalled = errors.New("the drive does not answer")

// errGone is the cause when a path leads elsewhere than its handle.
var errGone = errors.New("the path no longer leads to this volume")

// fault makes an Error. The kind follows from the cause where that says more than the caller knows.
func fault(op, item, path string, kind guard.Kind, err error) *guard.Error {
	var known *guard.Error
	if errors.As(err, &known) {
		return known
	}
	switch {
	case errors.Is(err, context.Canceled), errors.Is(err, context.DeadlineExceeded):
		kind = guard.KindStopped
	case errors.Is(err, errStalled):
		kind = guard.KindStalled
	case errors.Is(err, errGone):
		kind = guard.KindGone
	case item == card && (errors.Is(err, fs.ErrNotExist) || errors.Is(err, io.ErrUnexpectedEOF)):
		kind = guard.KindSourceChanged
	default:
		kind = systemKind(err, kind)
	}
	return &guard.Error{Op: op, Item: item, Path: path, Kind: kind, Err: err}
}
