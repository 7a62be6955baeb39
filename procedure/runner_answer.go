package procedure

import (
	"fmt"
	"slices"
	"strings"
)

// LateAnswer begins what a Refused says of an answer whose question had gone meanwhile; the question's ID follows.
const LateAnswer = "late answer "

// maxText is the longest text that an answer may have, in bytes: a long note, far below a line of the journal.
const maxText = 2000

// answerOnce takes an answer; what was said about the one before it goes, so that no old no stands beside a new yes.
func (r *Runner) answerOnce(a Answer) error {
	r.notices = slices.DeleteFunc(r.notices, func(n Notice) bool { return n.passing })
	before := slices.Clone(r.notices)
	err := r.answer(a)
	for i, n := range r.notices {
		if n.Grade == "look" && !n.lasting && !slices.Contains(before, n) {
			r.notices[i].passing = true
		}
	}
	return err
}

// answer takes the answer to the current prompt. The prompt is fixed for the whole call.
func (r *Runner) answer(a Answer) error {
	p := r.prompt
	if p == nil || a.ID != p.ID || (a.Seq != 0 && a.Seq != p.Seq) {
		due := "nothing is asked now"
		if p != nil {
			due = "asked now is " + p.ID
		}
		if a.Seq != 0 && (p == nil || a.Seq < p.Seq) { // it was asked, and something came between: nobody's mistake
			return r.refuse("", LateAnswer+clip(a.ID, 40), "That is not asked any more: "+due+".", "read the question, then answer.")
		}
		return r.refuse("", "answer "+clip(a.ID, 40), "That was not asked: "+due+".", "")
	}
	r.renew = true
	v := strings.TrimSpace(strings.ToValidUTF8(a.Text, "?"))
	if len(v) > maxText {
		return r.refuse("", p.ID, fmt.Sprintf("That is too long: %d bytes, %d are allowed.", len(v), maxText), "make it shorter.")
	}
	if v == "" {
		v = p.Default
	}
	if p.Kind == PromptChoice {
		known := p.Options
		if p.ID == "next" {
			known = optNext // what is not offered now is answered with the reason
		}
		o, ok := pickOption(known, v)
		if !ok {
			return r.refuse(r.rollHere(), p.ID, fmt.Sprintf("%q is none of the answers.", clip(v, 20)), "answer with one of the keys shown.")
		}
		v = o.Key
	}
	group, _, _ := strings.Cut(p.ID, ".")
	switch group {
	case "setup":
		return r.answerSetUp(p, v)
	case "receive":
		return r.answerReceive(p, v)
	case "close":
		return r.answerClose(p, v)
	case "next":
		return r.answerNext(v)
	case "look":
		return r.answerLook(p, v)
	}
	if strings.HasSuffix(p.ID, ".which") {
		return r.answerWhich(v)
	}
	return r.answerRoll(p, v)
}

// pickOption finds an option by its key or its whole text.
func pickOption(os []Option, v string) (Option, bool) {
	for _, o := range os {
		if strings.EqualFold(v, o.Key) || strings.EqualFold(v, o.Text) {
			return o, true
		}
	}
	return Option{}, false
}

// rollHere is the label of the roll under way, empty for none.
func (r *Runner) rollHere() Label {
	if roll := r.shift.InLane(r.lane); roll != nil {
		return roll.Label
	}
	return ""
}

func (r *Runner) answerReceive(p *Prompt, v string) error {
	a := r.draft.arriving
	switch p.ID {
	case "receive.label":
		r.draft.arriving = nil
		return r.arrived(v)
	case "receive.again":
		if l, err := ParseLabel(v); err == nil && l == a.label {
			a.doubt = false
			return nil
		}
		r.draft.arriving = nil // the second reading is taken for the first one
		return r.arrived(v)
	case "receive.from":
		if v == "" {
			return r.refuse(a.label, p.ID, "No name.", "ask who hands the card over.")
		}
		a.from = &v
		return nil
	case "receive.bin":
		if v == "l" {
			a.lacks = true
			return nil
		}
		return r.received("")
	case "receive.lacks":
		if v == "" {
			return r.refuse(a.label, p.ID, "Nothing was written.", "say in a word what is lacking: tape, case, …")
		}
		return r.received(v)
	case "receive.gap":
		if v == "" {
			return r.refuse("", p.ID, "No answer.", "ask the camera department; write down what they say.")
		}
		ev := GapAsked{Answered: r.answered(), Missing: r.draft.gap, Answer: v}
		r.draft.gap = nil
		return r.record("", ev)
	}
	return nil
}

// arrived begins the receiving of a roll. A label that cannot be received is refused at once.
func (r *Runner) arrived(label string) error {
	l, err := ParseLabel(label)
	if err != nil {
		return r.refuse("", "receive", sentence(err.Error()), "read it again from the tape.")
	}
	err = r.trial(l, RollReceived{})
	if err == nil && r.cfg.Elsewhere != nil && slices.Contains(r.cfg.Elsewhere(*r.shift.Opened, r.shift.OpenedAt.Wall), l) {
		err = &Refusal{Asked: (RollReceived{}).Name(), Roll: l, Due: r.shift.Due(r.lane), Why: string(l) + " was taken in at another station"}
	}
	if err != nil {
		ref := err.(*Refusal)
		r.refused(l, ref)
		do := "keep this card apart in the red bin's lid. Ask who labelled it."
		if r.shift.Colour(l.Camera()) == "" {
			do = "a camera of this shoot? Add it (ctrl+k; line by line: camera " + string(l.Camera()) + " COLOUR). If not: keep the card apart, ask who labelled it."
		}
		r.notify(Notice{Grade: "stop", What: notTaken(l, ref.Why), Safe: "nothing was logged or changed.", Do: do})
		return ref
	}
	r.draft.arriving = &arrival{label: l, doubt: len(r.shift.skipped(l)) > farJump}
	return nil
}

// notTaken says that a card was not taken in, and why.
func notTaken(l Label, why string) string {
	if strings.HasPrefix(why, string(l)) {
		return why + "."
	}
	return string(l) + ": " + why + "."
}

func (r *Runner) received(lacks string) error {
	a := r.draft.arriving
	before := len(r.shift.Missing()[a.label.Camera()])
	ev := RollReceived{Answered: r.answered(), From: *a.from, Lacks: lacks, Colour: r.shift.Colour(a.label.Camera())}
	r.draft.arriving = nil
	if err := r.record(a.label, ev); err != nil {
		return err
	}
	if miss := r.shift.Missing()[a.label.Camera()]; len(miss) > before {
		r.draft.gap = miss
	}
	return nil
}

func (r *Runner) answerNext(v string) error {
	s := r.shift
	switch v {
	case "a":
		r.draft.arriving = &arrival{}
		return nil
	case "p":
		if len(s.Red) == 0 {
			return r.refuse("", "next", "The red bin holds no roll that is ready to pick.", "a card that arrives is logged first: a.")
		}
		return r.pick(s.Red[0])
	case "h":
		held := s.OnHold()
		if len(held) == 0 {
			return r.refuse("", "next", "No roll is on hold.", "")
		}
		if len(held) > 1 { // one may wait for an answer from set while another can go on
			r.draft.which = whichHeld
			return nil
		}
		return r.pick(held[0].Label)
	case "e", "r":
		return r.takeGreen(map[string]string{"e": "erase", "r": "return"}[v])
	case "c":
		return r.close()
	}
	return nil
}

func (r *Runner) pick(l Label) error {
	roll := r.shift.Rolls[l]
	r.draft.serial, r.draft.sighted = nil, nil
	if roll != nil && roll.Serial != "" {
		r.draft.serial = nil
	}
	pass := 1
	if roll != nil {
		pass = roll.Pass + 1
	}
	if err := r.record(l, RollPicked{Answered: r.answered(), Pass: pass}); err != nil {
		return err
	}
	r.turnTo(l)
	return nil
}

// turnTo takes away what was said of the roll before: that it was put back or closed, and that this one went on hold.
func (r *Runner) turnTo(l Label) {
	r.notices = slices.DeleteFunc(r.notices, func(n Notice) bool { return n.held == l || n.Grade == "info" && !n.lasting })
}

// takeGreen takes a roll out of the green bin; with more than one there, the label is asked.
func (r *Runner) takeGreen(what string) error {
	var can []*Roll
	for _, g := range r.shift.At(PlaceGreenBin) {
		if what == "return" || g.Step == StepReseat {
			can = append(can, g)
		}
	}
	switch len(can) {
	case 0:
		return r.refuse("", "next", "The green bin holds no roll for that.", "")
	case 1:
		return r.takeRoll(can[0].Label, what)
	}
	r.draft.which = what
	return nil
}

func (r *Runner) takeRoll(l Label, what string) error {
	err := r.record(l, RollTaken{Answered: r.answered(), For: what})
	if err == nil {
		r.turnTo(l)
	}
	if err == nil && what == "erase" {
		r.prepareLook(l)
	}
	return err
}

// whichHeld is draft.which while it is asked which roll on hold is taken up.
const whichHeld = "held"

func (r *Runner) answerWhich(v string) error {
	what := r.draft.which
	r.draft.which = ""
	l, err := ParseLabel(v)
	if err != nil {
		return r.refuse("", what, sentence(err.Error()), "read it from its tape.")
	}
	if what == whichHeld {
		if roll := r.shift.Rolls[l]; roll == nil || roll.Held == nil {
			return r.refuse("", what, fmt.Sprintf("%s is not on hold.", l), "read the label of a roll with red tape.")
		}
		return r.pick(l)
	}
	if err := r.takeRoll(l, what); err != nil {
		r.notify(Notice{Grade: "look", What: string(l) + ": " + whyOf(err) + "."})
		return err
	}
	return nil
}

// whyOf is the operator's line of a refusal, or the error's text.
func whyOf(err error) string {
	if ref, ok := err.(*Refusal); ok {
		return ref.Why
	}
	return err.Error()
}

// sentence makes an error text a sentence.
func sentence(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:] + "."
}
