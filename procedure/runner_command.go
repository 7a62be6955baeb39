package procedure

import (
	"context"
	"strings"
	"time"
)

// Do takes one intent: it is journaled, then shown, or refused. See [Desk].
func (r *Runner) Do(_ context.Context, i Intent) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	defer r.refresh()
	if r.ended {
		return nil
	}
	if _, quit := i.(DoQuit); quit {
		r.ended = true
		return nil
	}
	if r.broken != nil {
		return errJournal // its cause stands in the notice, and where the program ends
	}
	if !r.away.IsZero() {
		return r.whileAway(i)
	}
	switch c := i.(type) {
	case Answer:
		return r.answerOnce(c)
	case DoDismiss:
		r.notices = nil
		return nil
	case DoBack:
		return nil
	}
	if r.shift.Opened == nil {
		return r.refuse("", commandName(i), "The shift is not open yet.", "answer the question first.")
	}
	return r.command(i)
}

func (r *Runner) command(i Intent) error {
	switch c := i.(type) {
	case DoPutBack:
		return r.putBack(c.Reason)
	case DoHold:
		return r.hold(c)
	case DoArrived:
		return r.arrivedNow(c.Label)
	case DoNote:
		return r.note(c.Text)
	case DoNoteDone:
		return r.told(r.record("", NoteDone(c)))
	case DoAway:
		return r.goAway()
	case DoMisfit:
		return r.misfit(c.Text)
	case DoOperator:
		return r.operatorChange(c.Name)
	case DoDestination:
		return r.addDestination(c.Path)
	case DoDrop:
		name := strings.ToUpper(strings.TrimSpace(c.Name))
		if err := r.told(r.record("", DestinationDropped{Dest: name, Reason: "dropped by the operator"})); err != nil {
			return err
		}
		r.notify(Notice{Grade: "info", What: Plain(name) + " is out of use. What it holds stays on it."})
		return nil
	case DoCamera:
		return r.addCamera(c.Text)
	case DoAct:
		return r.refuse("", "do", "There is nothing to act on here.", "")
	case DoClose:
		return r.close()
	}
	return nil
}

// told shows a refusal as a notice.
func (r *Runner) told(err error) error {
	if err != nil {
		r.notify(Notice{Grade: "look", What: sentence(whyOf(err))})
	}
	return err
}

// commandName is the command's plain-mode word, for the journal.
func commandName(i Intent) string {
	switch i.(type) {
	case DoPutBack:
		return "put back"
	case DoHold:
		return "hold"
	case DoNote, DoNoteDone:
		return "note"
	case DoArrived:
		return "arrived"
	case DoAway, DoBack:
		return "away"
	case DoMisfit:
		return "misfit"
	case DoOperator:
		return "operator"
	case DoDestination, DoDrop:
		return "destination"
	case DoCamera:
		return "camera"
	case DoAct:
		return "do"
	case DoClose:
		return "close"
	}
	return "answer"
}

// inCritical is the roll in a critical step here, nil for none.
func (r *Runner) inCritical() *Roll {
	if roll := r.shift.InLane(r.lane); roll != nil && roll.Step.Critical() {
		return roll
	}
	return nil
}

func (r *Runner) putBack(reason string) error {
	roll := r.shift.InLane(r.lane)
	if roll == nil {
		return r.refuse("", "put back", "No roll is under way.", "")
	}
	green := roll.Binned
	if err := r.told(r.record(roll.Label, PutBack{Answered: r.answered(), Step: roll.Step.String(), Reason: reason})); err != nil {
		return err
	}
	r.stopJob(nil)
	r.voidPermit()
	r.draft.sighted, r.draft.otherCard = nil, false
	do := "card out, tape back on the card, red bin, first in line."
	if green {
		do = "card out, back into the green bin."
	}
	r.notices = nil
	r.notify(Notice{Grade: "info", What: string(roll.Label) + " is put back.", Do: do})
	return nil
}

func (r *Runner) hold(c DoHold) error {
	l, reason := c.Roll, strings.TrimSpace(c.Reason)
	if l == "" {
		l, reason = r.whichHold(reason)
	}
	switch {
	case l == "" || r.shift.Rolls[l] == nil:
		return r.refuse("", "hold", "No roll is under way to put on hold.", "put its label before the reason, like: A003 no case.")
	case reason == "":
		return r.refuse(l, "hold", "A hold needs a reason.", "in a few words: what is wrong?")
	}
	do := "red tape on, back into the red bin. It leaves hold only by a fresh pass."
	if roll := r.shift.Rolls[l]; roll.Place == PlaceReader && !roll.Out {
		do = "card out of the reader, " + do
	}
	return r.holdRoll(l, "operator", clip(reason, maxText), do)
}

// whichHold is the roll that a hold's text is about: the one that its first word names, else the one under way.
func (r *Runner) whichHold(text string) (Label, string) {
	first, rest, more := strings.Cut(text, " ")
	if strings.EqualFold(first, "hold") && more {
		return r.whichHold(strings.TrimSpace(rest))
	}
	if l, err := ParseLabel(first); err == nil && more && r.shift.Rolls[l] != nil {
		return l, strings.TrimSpace(rest)
	}
	return r.rollHere(), text
}

// arrivedNow logs an arrival beside the work; not in a critical step, and not where the last small step is due.
func (r *Runner) arrivedNow(label string) error {
	if roll := r.shift.InLane(r.lane); roll != nil {
		if roll.Step.Critical() || waits(roll) {
			return r.refuse(roll.Label, "receive", "Not now: "+string(roll.Label)+" is at "+roll.Step.String()+".",
				"let the new card wait in its case; finish this step first.")
		}
	}
	switch {
	case !r.shift.Ready:
		return r.refuse("", "receive", "Not now: the set-up is not complete.", "card in its case into the red bin. Complete the set-up, then receive it.")
	case r.shift.Closing:
		return r.refuse("", "receive", "Not now: the shift is being closed.", "card in its case into the red bin. Go back to work, then receive it.")
	}
	if r.draft.arriving != nil || len(r.draft.gap) > 0 {
		return r.refuse("", "receive", "Another card is being received.", "finish that one first.")
	}
	return r.arrived(label)
}

// waits: between pull and bin and between erase and return other prompts wait; there the last small step is the one
// that gets forgotten.
func waits(roll *Roll) bool {
	switch roll.Step {
	case StepLook, StepMark, StepBin, StepReturn:
		return true
	}
	return false
}

// note pins a note: to the roll or camera that its first word names, else to the roll under way, else to the shift.
func (r *Runner) note(t string) error {
	t = strings.TrimSpace(strings.ToValidUTF8(t, "?"))
	if t == "" || len(t) > maxText {
		return r.refuse("", "note.text", "The note is empty or too long.", "in a few words: what should not be forgotten?")
	}
	if roll := r.inCritical(); roll != nil {
		return r.refuse(roll.Label, "note", "Not in a critical step.", "finish it or put back first.")
	}
	ev := NoteMade{ID: len(r.shift.Notes) + 1, Text: t}
	roll := r.rollHere()
	first, rest, more := strings.Cut(t, " ")
	letter, colon := strings.CutSuffix(first, ":") // "A card without a case" is not about camera A
	if l, err := ParseLabel(letter); more && err == nil && r.shift.Rolls[l] != nil {
		roll, ev.Text = l, rest
	} else if c, err := ParseCamera(letter); more && colon && err == nil && r.shift.Colour(c) != "" && letter == string(c) {
		roll, ev.Camera, ev.Text = "", c, rest
	}
	return r.told(r.record(roll, ev))
}

// goAway freezes the screen; in a critical step it is put back instead.
func (r *Runner) goAway() error {
	if r.inCritical() != nil && !r.erasing() {
		return r.putBack("called away")
	}
	if err := r.record(r.rollHere(), AwayBegan{Step: r.shift.Due(r.lane).String()}); err != nil {
		return err
	}
	r.away = r.cfg.Now()
	return nil
}

func (r *Runner) erasing() bool {
	roll := r.shift.InLane(r.lane)
	return roll != nil && roll.Erasing
}

func (r *Runner) whileAway(i Intent) error {
	if _, ok := i.(DoBack); !ok {
		r.notify(Notice{Grade: "look", What: "You were called away.", Do: "say that you are back first."})
		return &Refusal{Asked: commandName(i), Due: r.shift.Due(r.lane), Why: "called away; say that you are back first"}
	}
	gone := r.cfg.Now().Sub(r.away)
	if err := r.record(r.rollHere(), AwayEnded{Step: r.shift.Due(r.lane).String(), AwayMS: gone.Milliseconds()}); err != nil {
		return err
	}
	r.quiet += gone
	r.away = time.Time{}
	r.notices = nil
	return nil
}

func (r *Runner) misfit(t string) error {
	t = strings.TrimSpace(strings.ToValidUTF8(t, "?"))
	if t == "" {
		return r.refuse(r.rollHere(), "misfit", "Nothing was written.", "in a line: what does not fit here?")
	}
	if err := r.record(r.rollHere(), Misfit{Step: r.shift.Due(r.lane).String(), Text: clip(t, maxText)}); err != nil {
		return err
	}
	r.notify(Notice{Grade: "info", What: "Noted for the trainer. The step stays due.", Do: "if it cannot be done, put the roll on hold and ask."})
	return nil
}

func (r *Runner) operatorChange(name string) error {
	name = strings.TrimSpace(strings.ToValidUTF8(name, "?"))
	if roll := r.inCritical(); roll != nil && name != "" {
		return r.refuse(roll.Label, "operator", "Not in a critical step.", "finish it or put back first.")
	}
	err := r.told(r.record("", OperatorChanged{From: r.shift.Operator, To: name}))
	r.voidPermit()
	return err
}
