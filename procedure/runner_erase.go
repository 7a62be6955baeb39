package procedure

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"twobin/guard"
)

// freshLook looks at card and copies now, and asks the lock.
func (r *Runner) freshLook(roll *Roll) {
	if r.job != nil || roll.Seated == nil {
		return
	}
	l, card := roll.Label, *roll.Seated
	p := r.proofs[l]
	r.voidPermit()
	var look guard.Look
	var whole bool
	var fault string
	began := r.cfg.Now()
	voidBefore := r.shift.voids
	r.work("looking afresh at card and copies", func(ctx context.Context) {
		rep, err := r.book.Check()
		switch {
		case err != nil:
			fault = Plain(err.Error())
		case !rep.Whole:
			fault = rep.String()
		default:
			whole = true
		}
		if p != nil {
			look = r.cfg.Media.Look(ctx, p, card)
		}
	}, func() {
		roll := r.shift.Rolls[l]
		if roll.Step != StepReseat && roll.Step != StepErase || !roll.Reseated || roll.Seated == nil {
			return
		}
		f := r.shift.Facts(l, whole, fault)
		f.Disturbed = r.shift.voids != voidBefore
		now := r.cfg.Now()
		v := guard.Lock(p, f, &look, r.cfg.Policy, now)
		ev := LockLooked{Open: v.Open(), Conditions: v.Conditions, LookMS: now.Sub(began).Milliseconds()}
		if err := r.record(l, ev); err != nil {
			return
		}
		if !v.Open() {
			r.lockClosed(v)
			if bad := badCopy(p, &look); bad != "" {
				_ = r.holdRoll(l, "program", bad, "card out, red tape on, back into the red bin. The copy has to be made again.")
			}
			return
		}
		permit, err := v.Permit(p, f, &look, r.cfg.Policy, now)
		if err != nil {
			r.notify(Notice{Grade: "look", What: "The lock did not give its permit.", Safe: "nothing was removed.", Do: "look again: l.", Cause: Plain(err.Error())})
			return
		}
		r.permit, r.lookCard = permit, look.Card
	})
}

// badCopy says which copy the fresh look found to be damaged: a failed check, which puts the roll on hold. A drive that
// is not there, or another card, is no damage.
func badCopy(p *guard.Proof, l *guard.Look) string {
	if p == nil {
		return ""
	}
	for _, c := range l.Copies {
		if !c.Mounted {
			continue
		}
		for i := range p.Copies {
			if p.Copies[i].Name == c.Name && p.Copies[i].Volume.ID != c.Volume.ID {
				return "" // another volume stands there
			}
		}
		if c.Missing > 0 || c.WrongSize > 0 {
			return Plain(c.Name) + " lacks files of the proof"
		}
		for _, h := range c.Rehashed {
			if h.File >= 0 && h.File < len(p.Files) && h.Hash != p.Files[h.File].Hash {
				return "a file on " + Plain(c.Name) + " differs from the proof"
			}
		}
	}
	return ""
}

func (r *Runner) lockClosed(v guard.Verdict) {
	for _, c := range v.Conditions {
		if !c.Holds {
			r.notify(Notice{Grade: "stop", What: "The lock is closed. " + c.ID + ": " + c.Says, Safe: "nothing was removed.", Do: c.Do, lock: true})
			return
		}
	}
}

// eraseTyped takes the typed label. It must be exact, after trim and letter case; anything else is refused.
func (r *Runner) eraseTyped(roll *Roll, v string) error {
	l := roll.Label
	if strings.TrimSpace(v) == "" {
		return r.refuse(l, "erase", "That erases nothing: no label was typed.", "type it as asked; not sure: put back.")
	}
	if strings.ToUpper(strings.TrimSpace(v)) != string(l) {
		return r.refuse(l, "erase", fmt.Sprintf("%q is not the label of this roll.", clip(v, 20)), "nothing was removed. Read it from the tape you kept; not sure: put back.")
	}
	permit := r.permit
	if permit == nil {
		return r.refuse(l, "erase", "There is no permit: something changed since the look.", "look again.")
	}
	if err := r.record(l, EraseBegan{r.answered()}); err != nil {
		r.voidPermit()
		if roll := r.shift.Rolls[l]; roll.Lock != nil {
			roll.Lock.Void = true
		}
		r.notify(Notice{Grade: "stop", What: sentence(whyOf(err)), Safe: "nothing was removed.", Do: "look again, or put back."})
		return err
	}
	r.permit = nil // handed to the erase
	card, p := r.lookCard, r.proofs[l]
	var done guard.Erased
	var err error
	began := r.cfg.Now()
	r.work("removing what is proven", func(ctx context.Context) {
		done, err = r.cfg.Media.Erase(ctx, permit, p, card)
	}, func() { r.eraseEnded(l, done, err, r.cfg.Now().Sub(began)) })
	return nil
}

func (r *Runner) eraseEnded(l Label, done guard.Erased, err error, took time.Duration) {
	if err == nil {
		if r.record(l, EraseDone{Files: done.Files, Bytes: done.Bytes, TookMS: took.Milliseconds()}) == nil {
			r.notices = nil // that nothing was removed, before, is not so any more
			r.notify(Notice{Grade: "info", What: fmt.Sprintf("The card is empty: %s removed.", plural(done.Files, "file")), Do: "eject, pull it, hand it back."})
			return
		}
		r.unrecorded(l, done)
		return
	}
	ge := asGuard(err)
	if ge == nil {
		ge = &guard.Error{Op: "erase", Item: "card", Kind: guard.KindErase, Err: err}
	}
	stopped := EraseStopped{Removed: done.Files, Left: done.Left, Reason: clip(ge.Error(), 300), Doubtful: Plain(done.Doubtful)}
	if r.record(l, stopped) != nil {
		r.unrecorded(l, done)
		return
	}
	r.ring("fault")
	r.notify(eraseNotice(l, ge, done))
}

// unrecorded says what an erase did that the journal could not take any more.
func (r *Runner) unrecorded(l Label, done guard.Erased) {
	r.notify(Notice{Grade: "stop", What: fmt.Sprintf("%s: the erase has ended, and the journal does not say so: %s removed, %d left%s.", l,
		plural(done.Files, "file"), done.Left, doubt(done)), Safe: "the proven copies on the drives are untouched.",
		Do: "write that into the book. Do not erase here again; have the card formatted in the camera."})
}

// doubt says that one of the files that count as left may be gone.
func doubt(done guard.Erased) string {
	if done.Doubtful == "" {
		return ""
	}
	return " (of one of these it is not known)"
}

// eraseNotice is what the operator reads about an erase that was refused or stopped. A permit that no longer counts is
// no fault of the card, and a stop is no stop of a copy: both have words of their own.
func eraseNotice(l Label, ge *guard.Error, done guard.Erased) Notice {
	n := FaultNotice(l, ge)
	n.Safe = fmt.Sprintf("%s removed, %d left on the card%s; the proven copies are untouched.", plural(done.Files, "file"), done.Left, doubt(done))
	switch {
	case done.Doubtful != "":
		n.What, n.Do = string(l)+": the card stopped answering while a file was removed.", "do not erase here again; have the card formatted in the camera."
	case errors.Is(ge, guard.ErrExpired):
		n.What, n.Do = string(l)+": the fresh look had become too old.", "look again, or put back."
	case errors.Is(ge, guard.ErrCopies):
		n.What, n.Do = string(l)+": a proven copy is no longer there as it was.", "put back. Look what became of the drives; offload again if a copy is lost."
	case errors.Is(ge, guard.ErrVoid), errors.Is(ge, guard.ErrUsed), errors.Is(ge, guard.ErrClosed), errors.Is(ge, guard.ErrOther):
		n.What, n.Do = string(l)+": something changed since the fresh look.", "look again, or put back."
	case ge.Kind == guard.KindStopped && done.Files == 0:
		n.What, n.Do = string(l)+": the erase was stopped before the first removal.", "look again, or put back."
	case ge.Kind == guard.KindStopped:
		n.What, n.Do = string(l)+": the erase was stopped part of the way.", "do not erase here again; have the card formatted in the camera."
	}
	return n
}

// eraseText is what the erase prompt says: what will be gone, where the copies are, what is left after it. The label
// is not in it.
func (r *Runner) eraseText(roll *Roll) []string {
	var names []string
	var on []guard.Volume
	p := r.proofs[roll.Label]
	if p == nil {
		return nil
	}
	for i := range p.Copies {
		if c := &p.Copies[i]; p.Proven(c) {
			names = append(names, Plain(c.Name))
			on = append(on, c.Volume)
		}
	}
	return []string{
		fmt.Sprintf("%s, %s, will be removed from this card. This cannot be undone.", plural(len(p.Files), "file"), SizeText(p.Bytes())),
		"Proven copies: " + strings.Join(names, ", ") + ".",
		fmt.Sprintf("After it: %s on %s. Kinds of media, off site: not known here.", copies(len(names)), plural(guard.Devices(on...), "device")),
		"The production's, insurer's or studio's own rules come first. In doubt: put back, ask.",
	}
}

func copies(n int) string {
	if n == 1 {
		return "1 copy"
	}
	return fmt.Sprintf("%d copies", n)
}

// voidPermit takes back what a fresh look allowed.
func (r *Runner) voidPermit() {
	if r.permit != nil {
		r.permit.Void()
		r.permit = nil
	}
}
