package guard

import (
	"context"
	"errors"
	"fmt"
	"time"
)

// erasePatience is how long one call to the card may take unless the job says otherwise. Own choice, as for copying.
const erasePatience = time.Minute

// EraseJob is what an erase needs besides its permit. It has no journal and no screen: an erase can neither record nor
// ask anything.
type EraseJob struct {
	// Proof is the proof that the permit was given for.
	Proof *Proof
	// Card is the card that the permit was given for, as the fresh look saw it.
	Card Volume
	// Ident is asked once more which volume carries Card.Mount. Nil: nothing is erased.
	Ident Identifier
	// Copies says whether every proven copy still stands: its own volume at its path, every file at its size (look.Stand).
	// It is asked last before the first removal. Nil: nothing is erased.
	Copies func(ctx context.Context, p *Proof) error
	// Now is the clock of the fresh look. Nil: nothing is erased.
	Now func() time.Time
	// Progress, if not nil, is called after every removed file with the number of files gone. It must not block.
	Progress func(files int)
	// Patience is how long one call to the card may take; 0 is a minute.
	Patience time.Duration

	open func(path string) (cardFolder, error) // nil: openCard
}

// Erased says exactly what an erase did. Files of the proof are removed in their order, so Proof.Files[:Files] are gone
// and Proof.Files[Files:], which are Left, are still there.
type Erased struct {
	Files int
	Bytes int64
	Left  int
	// Folders is how many folders were removed.
	Folders int
	// Doubtful is the file whose removal did not return, so that it is not known whether it is gone; it counts as
	// left. Empty: none.
	Doubtful string
	// Empty: the card was listed afterwards, and nothing is on it.
	Empty bool
}

// Causes of an erase that is refused or stops.
var (
	errOtherCard  = errors.New("the card is another one, or seen elsewhere")
	errReadOnly   = errors.New("the card is read-only")
	errNotProven  = errors.New("not as proven")
	errChanged    = errors.New("changed while erasing")
	errNotEmpty   = errors.New("not empty afterwards")
	errIncomplete = errors.New("the erase lacks proof, identifier, look at the copies or clock")
)

// Erase removes from the card exactly what the permit allows, and proves it empty.
//
// The permit is used up, whatever comes of it. In this order: the permit, the proof and the card are compared; a handle
// is opened on the card and its identity asked before and after; everything on it is listed through that handle and has
// to be exactly the proof; every proven copy is looked for once more; only then, and if the permit is still valid, files are removed one by one, each looked at
// again (a regular file on this file system, with its size and time, and where the file system keeps such a number the
// same one) right before it goes. Links are never followed and mounts never entered. Then the proof's folders go, deepest
// first, each only if empty; the file system's own ([SystemFolder]) stay. The file system is flushed and listed again.
//
// What cannot be closed: a file that another program swaps between that look and its removal, which follow each other
// at once. No system offers to remove a file only if it is still the same.
//
// The error is a [*Error] on "card". Before the first removal: KindUnproven (with ErrClosed, ErrUsed, ErrVoid, ErrExpired
// or ErrOther as its cause where it is the permit's fault), KindGone, KindBusy, KindStopped, KindStalled. Later, or if the first
// removal fails: KindErase, KindStopped, KindStalled; Erased is exact then too. ctx is heeded between files. A card that
// does not answer within Patience is left alone from then on; the one call that hangs may still take effect.
func Erase(ctx context.Context, permit *Permit, job EraseJob) (Erased, error) {
	e := &eraser{ctx: ctx, job: job}
	if job.Proof != nil {
		e.done.Left = len(job.Proof.Files)
	}
	defer func() { e.close() }()
	if err := e.check(permit); err != nil {
		return e.done, err
	}
	if err := e.enter(); err != nil {
		return e.done, err
	}
	if err := e.compare(); err != nil {
		return e.done, err
	}
	if err := e.copies(); err != nil {
		return e.done, err
	}
	if err := permit.valid(job.Now()); err != nil {
		return e.done, e.fault("", KindUnproven, err)
	}
	if err := e.removeFiles(); err != nil {
		return e.done, err
	}
	if err := e.removeFolders(); err != nil {
		return e.done, err
	}
	return e.done, e.proveEmpty()
}

// eraser is one erase under way.
type eraser struct {
	ctx  context.Context
	job  EraseJob
	done Erased
	top  cardFolder
	self cardEntry
	// found is what was listed before the first removal, in the order of the proof's files.
	found []foundFile
	// way has the open folders down to the one in use.
	way []openFolder
}

// openFolder is a folder below the top, by its path below the card.
type openFolder struct {
	path   string
	folder cardFolder
}

// check compares permit, proof and card, without touching the card.
func (e *eraser) check(permit *Permit) error {
	if err := permit.take(); err != nil {
		return e.fault("", KindUnproven, err)
	}
	job := e.job
	if job.Proof == nil || job.Ident == nil || job.Now == nil || job.Copies == nil {
		return e.fault("", KindUnproven, errIncomplete)
	}
	if err := permit.valid(job.Now()); err != nil {
		return e.fault("", KindUnproven, err)
	}
	sum, err := job.Proof.Digest()
	if err != nil {
		return e.fault("", KindUnproven, err)
	}
	if sum != permit.digest || !sameSeat(permit.card, job.Card) {
		return e.fault("", KindUnproven, ErrOther)
	}
	return nil
}

// sameSeat says whether two sights are of one volume, mounted once, and both of a drill or both of a shift. A volume
// without identity is none.
func sameSeat(a, b Volume) bool {
	return a.ID != "" && a.ID == b.ID && a.Mount == b.Mount && a.Dev == b.Dev && a.Simulated == b.Simulated
}

// enter opens the card and makes sure that it is the one.
func (e *eraser) enter() error {
	card, patience := e.job.Card, e.job.Patience
	if patience <= 0 {
		patience = erasePatience
	}
	open := e.job.open
	if open == nil {
		open = openCard
	}
	aside := newAside(patience)
	if err := e.identify(aside); err != nil {
		return err
	}
	top, err := ask(aside, func() (cardFolder, error) { return open(card.Mount) })
	if err != nil {
		return e.fault("", kindOfCall(err, KindGone), err)
	}
	e.top = &patientFolder{folder: top, aside: aside}
	if e.self, err = e.top.Self(); err != nil {
		return e.fault("", kindOfCall(err, KindGone), err)
	}
	if e.self.dev != 0 && card.Dev != 0 && e.self.dev != card.Dev {
		return e.fault("", KindUnproven, errOtherCard)
	}
	return e.identify(aside)
}

// identify asks which volume is at the card's path now.
func (e *eraser) identify(a *aside) error {
	card := e.job.Card
	now, err := ask(a, func() (Volume, error) { return e.job.Ident.Identify(card.Mount) })
	if err != nil {
		return e.fault("", kindOfCall(err, KindGone), err)
	}
	if !sameSeat(now, card) {
		return e.fault("", KindUnproven, errOtherCard)
	}
	if now.ReadOnly {
		return e.fault("", KindErase, errReadOnly)
	}
	return nil
}

// compare lists the card and stops at anything that is not exactly as proven.
func (e *eraser) compare() error {
	list, found, err := listCard(e.ctx, e.top, e.self.dev, e.job.Card.FSType)
	if err != nil {
		return e.stopped("", KindUnproven, err)
	}
	d := compare(e.job.Proof.Listing(), list, e.job.Card.FSType)
	if !d.same() {
		return e.fault(d.first, KindUnproven, fmt.Errorf("%w: %s", errNotProven, d))
	}
	e.found = found
	return nil
}

// copies asks whether the proven copies still stand: what was true at the fresh look may have ended since.
func (e *eraser) copies() error {
	err := e.job.Copies(e.ctx, e.job.Proof)
	switch {
	case err == nil:
		return nil
	case e.ctx.Err() != nil:
		return e.stopped("", KindUnproven, e.ctx.Err())
	}
	return e.fault("", KindUnproven, fmt.Errorf("%w: %w", ErrCopies, err))
}

// proveEmpty flushes the file system and lists it once more.
func (e *eraser) proveEmpty() error {
	e.leave("")
	if err := e.top.Sync(); err != nil {
		return e.stopped("", KindErase, fmt.Errorf("flush: %w", err))
	}
	list, _, err := listCard(e.ctx, e.top, e.self.dev, e.job.Card.FSType)
	if err != nil {
		return e.stopped("", KindErase, err)
	}
	if d := compare(Listing{}, list, e.job.Card.FSType); !d.same() {
		return e.fault(d.first, KindErase, errNotEmpty)
	}
	e.done.Empty = true
	return nil
}

// close closes what is open. Faults say nothing any more: everything was flushed through the same handle.
func (e *eraser) close() {
	e.leave("")
	if e.top != nil {
		_ = e.top.Close()
	}
}

// fault makes the error of an erase.
func (e *eraser) fault(path string, kind Kind, err error) error {
	return &Error{Op: "erase", Item: "card", Path: path, Kind: kind, Err: err}
}

// stopped makes the error for a call that failed: stopped and stalled are kinds of their own.
func (e *eraser) stopped(path string, kind Kind, err error) error {
	if errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return e.fault(path, KindStopped, err)
	}
	return e.fault(path, kindOfCall(err, kind), err)
}

// kindOfCall sorts the error of a call to the card: its own kind if it has one, else the given one.
func kindOfCall(err error, kind Kind) Kind {
	var own *Error
	switch {
	case errors.Is(err, errStalled):
		return KindStalled
	case errors.As(err, &own):
		return own.Kind
	}
	return kind
}
