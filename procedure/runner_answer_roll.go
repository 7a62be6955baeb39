package procedure

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"twobin/guard"
)

// answerRoll takes answers that belong to the roll of the lane, from pick to return.
func (r *Runner) answerRoll(p *Prompt, v string) error {
	roll := r.shift.InLane(r.lane)
	if roll == nil {
		return r.refuse("", p.ID, "No roll is under way.", "")
	}
	l := roll.Label
	a := r.answered()
	switch p.ID {
	case "pick.card", "pick.tape":
		return r.readLabel(roll, strings.TrimPrefix(p.ID, "pick."), v)
	case "seat.tape":
		return r.record(l, TapeMoved{a})
	case "start.go":
		return r.startCopy(roll)
	case "log.serial":
		r.draft.serial = &v
		r.serialTook = a.TookMS
		return nil
	case "log.notes":
		serial := *r.draft.serial
		r.draft.serial = nil
		a.TookMS += r.serialTook
		if err := r.record(l, RollLogged{Answered: a, Serial: serial, Notes: v}); err != nil {
			return err
		}
		r.askCamera(roll)
		return nil
	case "count.written":
		return r.record(l, CountShown{Answered: a, Files: roll.Scanned.Files, Bytes: roll.Scanned.Bytes})
	case "count.files", "count.size":
		return r.readCount(roll, strings.TrimPrefix(p.ID, "count."), v)
	case "pull.desk":
		err := r.record(l, CardPulled{a})
		if err != nil {
			r.notify(Notice{Grade: "look", What: sentence(whyOf(err)), Do: "put that right, then answer again."})
			return err
		}
		r.prepareLook(l)
		return nil
	case "mark.green":
		return r.record(l, RollMarked{a})
	case "bin.green":
		err := r.record(l, RollBinned{a})
		if err == nil {
			r.ring("done")
		}
		return err
	case "reseat.in":
		if err := r.record(l, RollReseated{a}); err != nil {
			return err
		}
		r.freshLook(roll)
		return nil
	case "reseat.look":
		r.freshLook(roll)
		return nil
	case "erase.label":
		return r.eraseTyped(roll, v)
	case "return.to":
		return r.giveBack(roll, v, a)
	}
	return nil
}

// readLabel compares one reading. Card and tape that differ put the roll on hold; both naming another roll mean that
// the wrong card was taken: it goes back.
func (r *Runner) readLabel(roll *Roll, where, v string) error {
	got, err := ParseLabel(v)
	if err != nil {
		return r.refuse(roll.Label, "pick."+where, sentence(err.Error()), "read it again.")
	}
	right := got == roll.Label
	wasCard := r.cardRead
	if err := r.record(roll.Label, LabelRead{Answered: r.answered(), Where: where, Read: string(got), Right: right}); err != nil {
		r.notify(Notice{Grade: "look", What: sentence(whyOf(err))})
		return err
	}
	if where == "card" {
		r.cardRead = got
		if right {
			return nil
		}
		// The tape decides what this means: asked next, although the card says something else.
		r.draft.otherCard = true
		return nil
	}
	r.draft.otherCard = false
	switch {
	case right && wasCard == roll.Label:
		return nil
	case got == wasCard: // both agree, on another roll
		if err := r.record(roll.Label, PutBack{Answered: r.answered(), Step: "pick", Reason: "another roll was taken: " + string(got)}); err != nil {
			return err
		}
		r.notify(Notice{Grade: "look", What: fmt.Sprintf("You hold %s. First in line is %s.", got, roll.Label),
			Safe: "nothing was copied.", Do: fmt.Sprintf("put %s back into the red bin, take %s.", got, roll.Label)})
		return nil
	}
	return r.holdRoll(roll.Label, "program", fmt.Sprintf("label differs: card says %s, tape says %s", wasCard, got),
		"red tape on, back into the red bin. Ask the camera department; never guess.")
}

func (r *Runner) readCount(roll *Roll, what, v string) error {
	right := false
	if what == "files" {
		n, err := strconv.Atoi(strings.TrimSpace(v))
		right = err == nil && n == roll.Scanned.Files
	} else {
		right = SameSize(v, roll.Scanned.Bytes)
	}
	if err := r.record(roll.Label, CountRead{Answered: r.answered(), What: what, Read: v, Right: right}); err != nil {
		return err
	}
	if !right {
		r.notify(Notice{Grade: "look", What: fmt.Sprintf("The book says %q; that is not what the card held.", clip(v, 20)),
			Safe: "card and copies are untouched.", Do: "the figures are shown again: correct the book."})
	}
	return nil
}

// answerLook takes one sighted check. A second wrong answer on a drive puts the roll on hold.
func (r *Runner) answerLook(p *Prompt, v string) error {
	roll := r.shift.InLane(r.lane)
	dest := strings.TrimPrefix(p.ID, "look.")
	q := r.draft.sighted[dest]
	right := q.Right(v)
	tries := roll.LookTries[dest] + 1
	step := roll.Step
	if err := r.record(roll.Label, DestLooked{Answered: r.answered(), Dest: dest, Question: q.Question, Answer: v, Right: right}); err != nil {
		return err
	}
	if right {
		return nil
	}
	if tries >= maxLookTries {
		do := "red tape on, back into the red bin. Look what the drive really holds."
		if step == StepReseat {
			do = "card out of the reader, red tape on, back into the red bin."
		}
		return r.holdRoll(roll.Label, "program", "sighted check failed on "+Plain(dest), do)
	}
	r.draft.sighted[dest] = r.makeSighted(roll.Label)
	r.notify(Notice{Grade: "look", What: fmt.Sprintf("%q is not what stands there on %s.", clip(v, 20), Plain(dest)),
		Safe: "the card still lies on the desk.", Do: "open the folder on that drive and look once more, then answer."})
	return nil
}

func (r *Runner) giveBack(roll *Roll, to string, a Answered) error {
	if to == "" {
		return r.refuse(roll.Label, "return", "No name.", "who takes the card?")
	}
	if err := r.record(roll.Label, RollReturned{Answered: a, To: to}); err != nil {
		r.notify(Notice{Grade: "look", What: sentence(whyOf(err)), Do: "put that right, then answer again."})
		return err
	}
	r.ring("done")
	r.notices = nil
	do := "remind them: format it in the camera that will record on it."
	r.notify(Notice{Grade: "info", What: string(roll.Label) + " closed.", Do: do})
	return nil
}

// holdRoll puts a roll on hold and says so.
func (r *Runner) holdRoll(l Label, by, reason, do string) error {
	step := StepNone
	if roll := r.shift.Rolls[l]; roll != nil {
		step = roll.Step
	}
	if err := r.record(l, RollHeld{Answered: r.answered(), Step: step.String(), Reason: reason, By: by}); err != nil {
		r.notify(Notice{Grade: "look", What: sentence(whyOf(err))})
		return err
	}
	r.stopJob(&guard.Error{Op: "copy", Item: "card", Kind: guard.KindStopped})
	r.draft.serial, r.draft.sighted, r.draft.otherCard = nil, nil, false
	if by == "program" {
		r.ring("fault")
	} else {
		r.notices = slices.DeleteFunc(r.notices, func(n Notice) bool { return n.lock })
	}
	r.notify(Notice{Grade: "stop", What: string(l) + " is on hold: " + reason + ".", Safe: "nothing on the card was changed.", Do: do, held: l})
	return nil
}
