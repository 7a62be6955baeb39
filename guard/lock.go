package guard

import (
	"errors"
	"fmt"
	"sync/atomic"
	"time"
)

// Facts is what the journal knows of a roll when the lock is asked. The zero value keeps the lock closed.
type Facts struct {
	Label string
	// Drill: the journal is a drill's. A drill's lock opens for simulated volumes only, a shift's for real ones only.
	Drill bool
	// Looked: every proven destination of the roll passed its sighted check. LookedBy is who did it; Operator is who
	// works now. A new operator repeats the look.
	Looked   bool
	LookedBy string
	Operator string
	// Marked: the label is off, green tape is on. Binned: the card went into the green bin.
	Marked bool
	Binned bool
	// Holds are the reasons why the roll is on hold; any of them keeps the lock closed.
	Holds []string
	// ProofSHA is what the journal acknowledged as this roll's proof: [Proof.Digest], lower-case hexadecimal.
	ProofSHA string
	// JournalWhole: the whole chain was checked just now. JournalFault says what was found otherwise.
	JournalWhole bool
	JournalFault string
	// Disturbed: a volume came or went since the fresh look began, which voids it.
	Disturbed bool
}

// Look is what was found when card and copies were looked at just now (package look). It is raw: whether that is good
// enough is decided by [Lock] alone. The zero value keeps the lock closed.
type Look struct {
	// At is when the look was complete, with its monotonic reading.
	At time.Time
	// Proof is the digest of the proof that was looked for ([Proof.Digest]).
	Proof string
	// Card is what is seated now, Listing what it holds. Err says why it could not be read; empty if it could.
	Card    Volume
	Listing Listing
	Err     string
	// Copies has one value a proven copy.
	Copies []CopyLook
}

// CopyLook is what was found at one destination.
type CopyLook struct {
	Name string
	// Mounted: there is a volume at the copy's path, and it answers. Volume is that volume.
	Mounted bool
	Volume  Volume
	// Held counts the files that stand there with their size; Missing and WrongSize count the others. First is the
	// first of those others, for the record.
	Held      int
	Missing   int
	WrongSize int
	First     string
	// Rehashed has every file that was hashed again.
	Rehashed []Rehash
	// Err is the first fault that ended the look at this destination; empty if there was none.
	Err string
}

// Rehash is one file of a copy hashed again: its number in Proof.Files, XXH64 of what the device gave, and how honest
// that reading was.
type Rehash struct {
	File    int
	Hash    uint64
	Honesty Honesty
}

// Condition is one condition of the lock.
type Condition struct {
	// ID is L1 to L8.
	ID    string `json:"id"`
	Holds bool   `json:"holds"`
	// Says is what is the case, Do what to do next (empty when the condition holds). Both fit 76 columns, need no
	// colour and never contain the roll's label, which the operator has to read from the card.
	Says string `json:"says"`
	Do   string `json:"do,omitempty"`
	// Detail has more for the record (a file, a cause); it may contain anything and be empty.
	Detail string `json:"detail,omitempty"`
}

// Verdict is the lock's answer: all eight conditions, in order. It is for showing and for the journal. Nothing is opened
// by a Verdict as such: [Verdict.Permit] asks the lock again.
type Verdict struct {
	Label      string      `json:"label"`
	Conditions []Condition `json:"conditions"`
	At         time.Time   `json:"at"`
}

// conditionIDs are all conditions there are, in order.
var conditionIDs = [...]string{"L1", "L2", "L3", "L4", "L5", "L6", "L7", "L8"}

// Open says whether every condition is there and holds. The zero value is closed.
func (v Verdict) Open() bool {
	if len(v.Conditions) != len(conditionIDs) {
		return false
	}
	for i, c := range v.Conditions {
		if c.ID != conditionIDs[i] || !c.Holds {
			return false
		}
	}
	return true
}

// Lock says whether the card may be erased: the proof, the journal's facts, a fresh look, the policy and the time now.
// All of them are taken as they are; nothing is read, asked or remembered. A nil proof or look closes it. There is no
// other way to an open verdict: no override, no flag, and no policy laxer than the default ([Policy.Strict]).
func Lock(p *Proof, f Facts, l *Look, pol Policy, now time.Time) Verdict {
	q := newQuestion(p, f, l, pol.Strict(), now)
	return Verdict{Label: f.Label, At: now, Conditions: []Condition{
		q.handled(), q.sameCard(), q.proven(), q.separate(), q.held(), q.notOnHold(), q.journalWhole(), q.fresh(),
	}}
}

// Errors of a permit that cannot be had or used. ErrClosed is the error of [Verdict.Permit].
var (
	ErrClosed = errors.New("the lock is closed")
	// ErrUsed: the permit was used before.
	ErrUsed = errors.New("the permit was used before")
	// ErrVoid: the permit was voided, because a volume came or went.
	ErrVoid = errors.New("the permit is void")
	// ErrExpired: the fresh look has become too old, or the clock went back.
	ErrExpired = errors.New("the fresh look is too old")
	// ErrCopies: a proven copy is no longer there as it was at the fresh look.
	ErrCopies = errors.New("a proven copy is no longer there as it was")
	// ErrOther: the permit is for another proof or card.
	ErrOther = errors.New("the permit is for another proof or card")
)

// Permit allows one erase: of one card, as one proof has it, until the fresh look is too old. Only [Verdict.Permit]
// makes one that allows anything; the zero value allows nothing.
type Permit struct {
	digest   string
	card     Volume
	lookedAt time.Time
	within   time.Duration
	made     bool
	used     atomic.Bool
	void     atomic.Bool
}

// Permit asks the lock once more, with the same arguments, and gives the permit if v and the new verdict are both open.
// The error is ErrClosed, with the first condition that does not hold.
func (v Verdict) Permit(p *Proof, f Facts, l *Look, pol Policy, now time.Time) (*Permit, error) {
	again := Lock(p, f, l, pol, now)
	for _, verdict := range []Verdict{v, again} {
		if verdict.Open() {
			continue
		}
		for _, c := range verdict.Conditions {
			if !c.Holds {
				return nil, fmt.Errorf("%w: %s: %s", ErrClosed, c.ID, c.Says)
			}
		}
		return nil, ErrClosed
	}
	if v.Label != again.Label {
		return nil, fmt.Errorf("%w: the verdict is another roll's", ErrClosed)
	}
	return &Permit{
		digest: f.ProofSHA, card: l.Card, lookedAt: l.At, within: pol.Strict().EraseWithin, made: true,
	}, nil
}

// Deadline is when the erase has to have begun.
func (p *Permit) Deadline() time.Time { return p.lookedAt.Add(p.within) }

// Void takes the permit back, for example because a volume came or went. It may be called at any time, from any
// goroutine, more than once; an erase that has begun to remove is not stopped by it (cancel its context for that).
func (p *Permit) Void() { p.void.Store(true) }

// take uses the permit up.
func (p *Permit) take() error {
	if p == nil || !p.made {
		return ErrClosed
	}
	if !p.used.CompareAndSwap(false, true) {
		return ErrUsed
	}
	return nil
}

// valid says whether a permit that was taken still allows to begin.
func (p *Permit) valid(now time.Time) error {
	if p.void.Load() {
		return ErrVoid
	}
	if !young(p.lookedAt, now, p.within) {
		return ErrExpired
	}
	return nil
}

// young says whether at lies less than limit before now, and not after it, by the monotonic clock; the wall clock must not
// say longer, because the monotonic one stands still on some systems while they sleep.
func young(at, now time.Time, limit time.Duration) bool {
	return youngBy(now.Sub(at), now.Round(0).Sub(at.Round(0)), limit)
}

// youngBy is young for an age by the monotonic clock and one by the wall clock.
func youngBy(age, wall, limit time.Duration) bool {
	return age >= 0 && age < limit && wall < limit
}
