package guard

import (
	"errors"
	"fmt"
	"sync/atomic"
	"time"
)

// entryKind is what an entry of a folder is. The zero value is unknown, which is never removed.
type entryKind int

const (
	entryUnknown entryKind = iota
	entryFile
	entryDir
	entryOther
)

// cardEntry is what is known of one entry, without following a link. dev and ino are 0 where the platform has none;
// mtime is nanoseconds since 1970 UTC.
type cardEntry struct {
	kind  entryKind
	size  int64
	mtime int64
	dev   uint64
	ino   uint64
}

// cardFolder is a handle on one folder of the card, and all that an erase can do there. Names are single entries, byte
// for byte; no method follows a link. The handle stays on the file system on which it was opened.
type cardFolder interface {
	// Self describes the folder, Stat one entry.
	Self() (cardEntry, error)
	Stat(name string) (cardEntry, error)
	// Names lists the entries in any order.
	Names() ([]string, error)
	// Sub opens a folder in it. The error is errMount if another file system, or another sight of one, is mounted there.
	Sub(name string) (cardFolder, error)
	// RemoveFile removes what is not a folder; RemoveFolder a folder, only if it is empty.
	RemoveFile(name string) error
	RemoveFolder(name string) error
	// Sync flushes the whole file system.
	Sync() error
	Close() error
}

var (
	// errMount: something is mounted below the card.
	errMount = errors.New("another file system is mounted there")
	// errStalled: the card did not answer.
	errStalled = errors.New("the card does not answer")
)

// aside makes calls that may block for ever in goroutines of their own. After one that did not return in time no other
// is begun.
type aside struct {
	limit time.Duration
	stuck atomic.Bool
}

func newAside(limit time.Duration) *aside { return &aside{limit: limit} }

// ask makes one call. The error is errStalled if it takes longer than the limit; its goroutine is then left behind,
// and its result goes nowhere.
func ask[T any](a *aside, call func() (T, error)) (T, error) {
	type result struct {
		value T
		err   error
	}
	var none T
	if a.stuck.Load() {
		return none, errStalled
	}
	answer := make(chan result, 1)
	go func() {
		v, err := call()
		answer <- result{v, err}
	}()
	timer := time.NewTimer(a.limit)
	defer timer.Stop()
	select {
	case r := <-answer:
		return r.value, r.err
	case <-timer.C:
		a.stuck.Store(true)
		return none, fmt.Errorf("%w within %s", errStalled, a.limit)
	}
}

// patientFolder makes every call to a folder aside.
type patientFolder struct {
	folder cardFolder
	aside  *aside
}

func (p *patientFolder) Self() (cardEntry, error) { return ask(p.aside, p.folder.Self) }

func (p *patientFolder) Stat(name string) (cardEntry, error) {
	return ask(p.aside, func() (cardEntry, error) { return p.folder.Stat(name) })
}

func (p *patientFolder) Names() ([]string, error) { return ask(p.aside, p.folder.Names) }

func (p *patientFolder) Sub(name string) (cardFolder, error) {
	sub, err := ask(p.aside, func() (cardFolder, error) { return p.folder.Sub(name) })
	if err != nil {
		return nil, err
	}
	return &patientFolder{folder: sub, aside: p.aside}, nil
}

func (p *patientFolder) RemoveFile(name string) error {
	return p.do(func() error { return p.folder.RemoveFile(name) })
}

func (p *patientFolder) RemoveFolder(name string) error {
	return p.do(func() error { return p.folder.RemoveFolder(name) })
}

func (p *patientFolder) Sync() error  { return p.do(p.folder.Sync) }
func (p *patientFolder) Close() error { return p.do(p.folder.Close) }

func (p *patientFolder) do(call func() error) error {
	_, err := ask(p.aside, func() (struct{}, error) { return struct{}{}, call() })
	return err
}
