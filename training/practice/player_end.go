package practice

import (
	"fmt"
	"slices"
	"strings"

	"twobin/procedure"
	"twobin/training/drill"
	"twobin/training/world"
)

// green is everything after the green bin.
func (p *Player) green(v procedure.View, eyes world.Eyes) Move {
	switch v.Prompt.ID {
	case "erase.which", "return.which":
		for _, l := range v.Strip.Green {
			if v.Prompt.ID == "return.which" || slices.Contains(eyes.Erase, l) {
				return p.answer(v, string(l), "")
			}
		}
	case "reseat.in":
		p.looks = 0
		if !p.habits.ErasesEarly && eyes.Edge != eyes.Sticker {
			return p.say(procedure.DoPutBack{Reason: "another card"}, "That is another card: put back.")
		}
		return p.answer(v, "i", "")
	case "reseat.look":
		p.looks++
		if p.habits.ErasesEarly && p.looks < 4 {
			return p.answer(v, "l", "")
		}
		for _, c := range v.Lock {
			if c.ID == "L2" && !c.Holds && strings.Contains(c.Says, "does not hold what was proven") {
				if p.once("take " + string(v.Step.Roll)) {
					return p.do(drill.ActAsk, "There is something new on it. You ask.")
				}
				if len(eyes.Brought) > 0 {
					return p.say(procedure.DoPutBack{Reason: "a roll of its own"}, "It is a roll of its own: put back, then take it in.")
				}
				return p.say(procedure.DoHold{Reason: "the card holds something that is not copied"}, "There is something new on it: on hold.")
			}
		}
		return p.say(procedure.DoPutBack{Reason: "the lock is closed"}, "The lock is closed: put back.")
	case "erase.label":
		if len(eyes.Calls) > 0 && !p.habits.ErasesEarly && !p.habits.AnswersPhone {
			return p.say(procedure.DoPutBack{Reason: "disturbed"}, "Somebody wants something: put back.")
		}
		return p.answer(v, eyes.Kept, "")
	}
	if v.Prompt.Default != "" {
		return p.answer(v, "", "")
	}
	return p.answer(v, "Robin", "")
}

func (p *Player) close(v procedure.View, what string, eyes world.Eyes) Move {
	switch what {
	case "tapes":
		return p.answer(v, fmt.Sprint(eyes.Tapes), "")
	case "book":
		return p.answer(v, fmt.Sprint(eyes.Lines), "")
	case "written":
		p.code = strings.TrimPrefix(strings.Join(v.Shown, " "), "Closing code: ")
		return p.answer(v, "w", "")
	case "code":
		return p.answer(v, p.code, "")
	}
	for _, o := range v.Prompt.Options {
		if o.Key == "c" || o.Key == "o" {
			return p.answer(v, o.Key, "")
		}
	}
	return p.answer(v, "w", "")
}
