package practice

import (
	"fmt"
	"slices"
	"strings"

	"twobin/procedure"
	"twobin/training/drill"
	"twobin/training/world"
)

func (p *Player) receive(v procedure.View, what string, eyes world.Eyes) Move {
	card := world.Seen{Card: "Z001"}
	if n := len(eyes.Brought); n > 0 {
		card = eyes.Brought[0]
		if p.habits.LastFirst {
			card = eyes.Brought[n-1]
		}
	}
	switch what {
	case "label":
		switch l, err := procedure.ParseLabel(card.Tape); {
		case card.Tape == "":
			return p.answer(v, card.Card, "")
		case err == nil && p.habits.MakesUpAnswers && p.s.Shift().Roll(l) != nil:
			p.made = string(procedure.MakeLabel(l.Camera(), l.Number()+madeUp))
			return p.answer(v, p.made, "")
		}
		return p.answer(v, card.Tape, "")
	case "again":
		return p.answer(v, p.made, "")
	case "from":
		return p.answer(v, card.From, "")
	case "bin":
		if (card.Tape == "" || card.NoCase) && !p.habits.TakesAnything {
			p.lacking = map[bool]string{true: "no tape", false: "no case"}[card.Tape == ""]
			if p.once("lacking " + card.Card) {
				return p.do(drill.ActAsk, "It comes with "+p.lacking+". You ask.")
			}
		}
		if p.lacking != "" {
			return p.answer(v, "l", "")
		}
		return p.answer(v, "b", "")
	case "lacks":
		text := p.lacking
		p.lacking = ""
		return p.answer(v, text, "")
	}
	if p.habits.MakesUpAnswers {
		return p.answer(v, "will be here soon", "")
	}
	if p.once("gap " + v.Prompt.Question) {
		return p.do(drill.ActAsk, "You ask the camera department.")
	}
	return p.answer(v, eyes.Said, "")
}

// mostErases is how often a roll is taken for its erase: a lock that stays closed will not open for the next try.
const mostErases = 6

// next decides at the question that has no roll under way.
func (p *Player) next(v procedure.View, eyes world.Eyes) Move {
	s := p.s.Shift()
	if p.habits.LetsLie && len(v.Strip.Red) > 0 && len(v.Strip.Held) == 0 {
		return p.answer(v, "p", "")
	}
	if len(eyes.Brought) > 0 {
		l, err := procedure.ParseLabel(eyes.Brought[0].Tape)
		if err == nil && s.Roll(l) != nil && !p.habits.MakesUpAnswers && p.once("used "+string(l)) {
			return p.do(drill.ActAsk, "This label was used before. You ask.")
		}
		return p.answer(v, "a", "")
	}
	for _, l := range v.Strip.Held {
		if r := s.Roll(l); !p.leaves(r) {
			return p.takeUp(v, eyes, r)
		}
	}
	if len(v.Strip.Red) > 0 {
		return p.answer(v, "p", "")
	}
	if len(v.Strip.Green) > 0 {
		l := v.Strip.Green[0]
		if len(s.GoneDests) > 0 && len(eyes.Erase) > 0 && p.once(fmt.Sprint("back ", s.GoneDests)) {
			return p.do(drill.ActSwap, "A drive is not there, and the erase asks for it. You take another cable.")
		}
		_, wentOn := p.s.plan.WentOn(l, s)
		if r := s.Roll(l); slices.Contains(eyes.Erase, l) && !r.Erased && !r.Partly && !wentOn && p.erases[l] < mostErases {
			p.erases[l]++
			return p.answer(v, "e", "")
		}
		return p.answer(v, "r", "")
	}
	return p.answer(v, "c", "")
}

// leaves says whether a roll stays on hold: nobody at the cart can put it right, or nothing that was tried has helped.
func (p *Player) leaves(r *procedure.Roll) bool {
	const tries, most = 3, 6
	_, wentOn := p.s.plan.WentOn(r.Label, p.s.Shift())
	switch {
	case wentOn, p.habits.GivesUp, string(r.Label) == p.made, len(r.Holds) > most:
		return true
	case len(r.Holds) > tries:
		return p.habits.RetriesAtOnce || strings.Contains(r.Held.Reason, "another file of that name")
	}
	return false
}

// takeUp puts right what a hold was for, as far as the cart can, then takes the roll up.
func (p *Player) takeUp(v procedure.View, eyes world.Eyes, r *procedure.Roll) Move {
	key := fmt.Sprintf("%s %d ", r.Label, len(r.Holds))
	if !p.habits.KeepsQuiet && p.once(key+"ask") {
		return p.do(drill.ActAsk, "You ask the camera department about "+string(r.Label)+".")
	}
	copyFailed := r.Held != nil && r.Held.By == "program" && r.Held.Step >= procedure.StepLog && r.Held.Step <= procedure.StepPull
	if copyFailed && !p.habits.RetriesAtOnce && p.once(key+"fix") {
		if eyes.Spare != "" && !p.used[eyes.Spare] && !strings.Contains(r.Held.Reason, "card cannot be read") {
			p.used[eyes.Spare] = true
			return p.say(procedure.DoDestination{Path: eyes.Spare}, "You take the spare drive into use.")
		}
		return p.do(drill.ActSwap, "You take another reader and other cables.")
	}
	return p.answer(v, "h", "")
}

// hand is the card in the hand: the first of the bin, or the last for those who take what lies on top. It is chosen
// when the card's label is asked, and stays in the hand for the tape.
func (p *Player) hand(prompt string, bin []world.Seen) world.Seen {
	if len(bin) == 0 {
		return world.Seen{}
	}
	if prompt != "pick.tape" {
		p.top = ""
		if last := bin[len(bin)-1]; p.habits.LastFirst && len(bin) > 1 && p.once("top "+last.Card) {
			p.top = last.Card
		}
	}
	for _, c := range bin {
		if c.Card == p.top {
			return c
		}
	}
	return bin[0]
}
