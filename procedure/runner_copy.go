package procedure

import (
	"context"
	"fmt"
	"slices"
	"time"

	"twobin/guard"
)

// startCopy is the one key of step start.
func (r *Runner) startCopy(roll *Roll) error {
	l := roll.Label
	if r.job != nil {
		return r.refuse(l, "start", "The last work on this reader is still stopping.", "wait a moment, then start again.")
	}
	p := Plan{Roll: l, Card: r.card, Listing: r.listing, Hashes: r.cfg.Policy.Hashes, Reread: r.cfg.Policy.Reread, Operator: r.shift.Operator}
	var to []string
	for _, d := range r.shift.Dests {
		if !r.shift.GoneDests[d.Name] {
			p.Targets = append(p.Targets, Target{Destination: d, Folder: r.shift.Folder(l)})
			to = append(to, d.Name)
		}
	}
	if err := r.record(l, CopyBegan{Answered: r.answered(), To: to}); err != nil {
		r.notify(Notice{Grade: "stop", What: sentence(whyOf(err)), Safe: "nothing was copied.", Do: "card out, tape back on, red bin: put back."})
		return err
	}
	r.oldFilesNotice(roll)
	var proof guard.Proof
	var faults []*guard.Error
	var sha string
	began := r.cfg.Now()
	r.work("", func(ctx context.Context) {
		faults = r.cfg.Media.Check(ctx, p)
		if p.Targets = good(p.Targets, faults); len(faults) > 0 && len(p.Targets) < r.cfg.Policy.Destinations {
			return
		}
		var more []*guard.Error
		proof, more = r.cfg.Media.Copy(ctx, p, func(s func(time.Time) Progress) { r.sample.Store(&s) })
		faults = append(faults, more...)
		if countProven(&proof) >= r.cfg.Policy.Destinations {
			var err error
			if sha, err = r.cfg.Media.Save(&proof); err != nil {
				faults = append(faults, &guard.Error{Op: "save proof", Item: "data folder", Kind: guard.KindRecord, Err: err})
			}
		}
	}, func() {
		r.sample.Store(nil)
		if roll := r.shift.Rolls[l]; roll.Copy == CopyRunning {
			proof.Label = string(l)
			r.sha = sha
			r.copyEnded(roll, proof, faults, r.cfg.Now().Sub(began))
		}
	})
	return nil
}

// good are the targets that no fault speaks against; a fault of the card speaks against all. To the others nothing is copied:
// what the check found, an unfit name or a shared device, the copy itself need not notice.
func good(ts []Target, faults []*guard.Error) []Target {
	bad := map[string]bool{}
	for _, f := range faults {
		if f.Item == "card" {
			return nil
		}
		bad[f.Item] = true
	}
	return slices.DeleteFunc(slices.Clone(ts), func(t Target) bool { return bad[t.Name] })
}

func countProven(p *guard.Proof) int {
	n := 0
	for i := range p.Copies {
		if p.Proven(&p.Copies[i]) {
			n++
		}
	}
	return n
}

// copyEnded records what a copy came to: proven on enough destinations, or failed and on hold.
func (r *Runner) copyEnded(roll *Roll, proof guard.Proof, faults []*guard.Error, took time.Duration) {
	l := roll.Label
	notes := make([]CopyNote, len(proof.Copies))
	for i := range proof.Copies {
		c := &proof.Copies[i]
		notes[i] = CopyNote{Name: c.Name, Path: c.Path, Folder: c.Folder, Proven: proof.Proven(c), Honesty: c.Honesty.String(), Fault: clip(c.Fault, 200)}
	}
	sha := r.sha
	r.sha = ""
	if sha != "" && countProven(&proof) >= r.cfg.Policy.Destinations {
		err := r.record(l, CopyProven{Proof: sha, Files: len(proof.Files), Bytes: proof.Bytes(), Copies: notes, CopyMS: took.Milliseconds()})
		if err != nil {
			return
		}
		r.remember(l, sha)
		if roll.Step != StepLog { // else the count begins with it
			r.askTwins(roll)
		}
		for _, f := range faults {
			n := r.faultNotice(l, f)
			n.Safe, n.Do = "enough other copies are proven; the roll goes on.", "finish the roll. Then look after that drive, or take it out of use."
			r.notify(n)
		}
		return
	}
	ev := CopyFailed{Copies: notes, CopyMS: took.Milliseconds()}
	for _, f := range faults {
		ev.Faults = append(ev.Faults, Fault{Op: f.Op, Item: Plain(f.Item), Path: Plain(f.Path), Kind: f.Kind.String(), Need: f.Need, Text: clip(f.Error(), 300)})
	}
	if err := r.record(l, ev); err != nil {
		return
	}
	if len(faults) == 0 {
		faults = []*guard.Error{r.unproven(&proof)}
	}
	r.holdFault(l, faults[0])
	for _, f := range faults[1:] {
		r.notify(r.faultNotice(l, f))
	}
	for _, f := range faults {
		if f.Kind == guard.KindMismatch || f.Kind == guard.KindReadBack {
			r.bad[spoilt{l, f.Item}] = true
		}
	}
}

// spoilt is a copy of a roll on a destination that differed from the card, or could not be read back. Its files still
// stand there.
type spoilt struct {
	roll Label
	dest string
}

// faultNotice is FaultNotice; that a file stands where a bad copy was left is no riddle.
func (r *Runner) faultNotice(l Label, f *guard.Error) Notice {
	n := FaultNotice(l, f)
	if f.Kind == guard.KindExists && r.bad[spoilt{l, f.Item}] {
		n.Do = "that is the bad copy of before. Take another drive, then pick " + string(l) + " again."
	}
	return n
}

// unproven explains a copy that ended without a fault and without enough proof: a drive that cannot be read past the
// cache.
func (r *Runner) unproven(p *guard.Proof) *guard.Error {
	for i := range p.Copies {
		if c := &p.Copies[i]; !p.Proven(c) {
			return &guard.Error{Op: "read back", Item: c.Name, Kind: guard.KindReadBack, Err: fmt.Errorf("%s", c.Honesty)}
		}
	}
	return &guard.Error{Op: "copy", Item: "card", Kind: guard.KindStopped}
}

// prepareLook makes the sighted checks of a roll, one a destination.
func (r *Runner) prepareLook(l Label) {
	r.draft.sighted = map[string]Sighted{}
	roll := r.shift.Rolls[l]
	for _, c := range roll.Copies {
		if c.Proven {
			r.draft.sighted[c.Name] = r.makeSighted(l)
		}
	}
}

// ensureSighted makes the checks that are asked next and were lost with the last run of the program.
func (r *Runner) ensureSighted() {
	roll := r.shift.InLane(r.lane)
	if roll == nil || roll.Step != StepLook && roll.Step != StepReseat {
		return
	}
	for _, c := range roll.Copies {
		if _, made := r.draft.sighted[c.Name]; c.Proven && !made {
			if r.draft.sighted == nil {
				r.draft.sighted = map[string]Sighted{}
			}
			r.draft.sighted[c.Name] = r.makeSighted(roll.Label)
		}
	}
}

func (r *Runner) makeSighted(l Label) Sighted {
	var files []guard.File
	if p := r.proofs[l]; p != nil {
		files = p.Files
	}
	return AskSighted(files, l, r.cfg.Rand)
}
