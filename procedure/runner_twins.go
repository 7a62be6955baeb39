package procedure

import (
	"context"
	"slices"

	"twobin/guard"
)

// Twin is another roll of the production on which clips of a card stand too, or seem to.
type Twin struct {
	// Of is the other roll, or the card's own if files stand twice on it.
	Of Label
	// Text is the question, one line, safe to show, without any number of files: the count is asked beside it.
	Text string
}

// TwinFinder looks for clips of the roll l, which holds list, among those that the production of s has proven already.
// While p is nil no hash of them is known, and it goes by what clips look like. It is called beside the runner, with a copy
// of the state, by several goroutines; it may take its time and gives up when ctx ends. What it cannot read is no question.
type TwinFinder func(ctx context.Context, s *Shift, l Label, list guard.Listing, p *guard.Proof) []Twin

// askTwins has clips looked for that an earlier roll has too: by their looks while the copy runs, by their hashes when it
// is proven. What is found is a question to the camera department, at the count or while the card waits to be pulled.
func (r *Runner) askTwins(roll *Roll) {
	if r.cfg.Twins == nil {
		return
	}
	l, pass, s, list := roll.Label, roll.Pass, r.shift.Clone(), r.listing
	var p *guard.Proof
	if roll.Copy == CopyIsProven {
		p = r.proofs[l]
	}
	r.wg.Add(1)
	go func() {
		defer r.wg.Done()
		if ts := r.cfg.Twins(r.ctx, s, l, list, p); len(ts) > 0 && r.ctx.Err() == nil {
			r.locked(func() { r.showTwins(l, pass, ts) })
		}
	}()
}

// showTwins asks once about each other roll, unless it came too late: from the look on other things wait until the card is
// in its bin, and the log sheet has the question anyway.
func (r *Runner) showTwins(l Label, pass int, ts []Twin) {
	roll := r.shift.InLane(r.lane)
	if roll == nil || roll.Label != l || roll.Pass != pass || roll.Step != StepCount && roll.Step != StepPull {
		return
	}
	told := r.twins[l]
	if roll.Scanned != nil {
		for _, e := range roll.Scanned.Earlier { // oldFilesNotice has told these
			told = append(told, e.Roll)
		}
	}
	ts = slices.DeleteFunc(ts, func(t Twin) bool { return slices.Contains(told, t.Of) })
	for i, t := range ts {
		text := Plain(t.Text)
		if more := len(ts) - 1; more > 0 && i == 0 {
			text += " The log sheet asks about " + plural(more, "more roll") + "."
		}
		if i == 0 {
			r.notify(Notice{Grade: "look", What: toCamera + text, lasting: true, camera: true})
		}
		told = append(told, t.Of)
	}
	r.twins[l] = told
}
