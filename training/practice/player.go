package practice

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"twobin/procedure"
	"twobin/training/drill"
	"twobin/training/world"
)

// Move is what a player does next: nothing while Intent is nil. Hands says it in a sentence, for those who watch. Wait
// is how long the player takes before it.
type Move struct {
	Intent procedure.Intent
	Hands  string
	Wait   time.Duration
}

// Player works a drill by itself, from what the view asks and what the world shows. It belongs to one goroutine.
type Player struct {
	s       *Session
	habits  Habits
	wait    int // cameras given so far
	used    map[string]bool
	done    map[string]bool
	files   string
	size    string
	code    string
	lacking string                  // what the card that arrives comes without
	erases  map[procedure.Label]int // how often a roll was taken for its erase
	made    string                  // the label that was made up
	top     string                  // what is written on the card in the hand, if it is not the first of the bin
	looks   int
}

// NewPlayer makes a player for a session.
func NewPlayer(s *Session, h Habits) *Player {
	return &Player{s: s, habits: h, used: map[string]bool{}, erases: map[procedure.Label]int{}, done: map[string]bool{}}
}

// think is how long the player takes for an answer.
const think = 3 * time.Second

// once is true the first time for a key.
func (p *Player) once(key string) bool {
	was := p.done[key]
	p.done[key] = true
	return !was
}

// Next decides the next move. A prompt is answered once; a refused one comes again with another Seq.
func (p *Player) Next(v procedure.View) Move {
	eyes := p.s.world.Look()
	if v.Away {
		return p.say(procedure.DoBack{}, "You are back.")
	}
	if p.habits.AnswersPhone && len(eyes.Calls) > 0 {
		return p.do(drill.ActAnswer, "You answer.")
	}
	if p.habits.ErasesEarly && slices.Contains(eyes.Calls, drill.Wanted) {
		return p.do(drill.ActGive, "You hand the card over.")
	}
	if v.Prompt == nil {
		return Move{}
	}
	group, rest, _ := strings.Cut(v.Prompt.ID, ".")
	switch group {
	case "setup":
		return p.setUp(v, rest)
	case "receive":
		return p.receive(v, rest, eyes)
	case "next":
		return p.next(v, eyes)
	case "pick", "seat", "start":
		return p.begin(v, eyes)
	case "log", "count":
		return p.book(v, eyes)
	case "look":
		return p.look(v, rest)
	case "held":
		for _, l := range v.Strip.Held {
			if !p.leaves(p.s.Shift().Roll(l)) {
				return p.answer(v, string(l), "")
			}
		}
	case "reseat", "erase", "return":
		return p.green(v, eyes)
	case "close":
		return p.close(v, rest, eyes)
	}
	return p.answer(v, map[string]string{"pull.desk": "d", "mark.green": "g", "bin.green": "i"}[v.Prompt.ID], "")
}

func (p *Player) say(i procedure.Intent, hands string) Move {
	return Move{Intent: i, Hands: hands, Wait: think}
}

// do is an act in the world.
func (p *Player) do(act, hands string) Move { return p.say(procedure.DoAct{Text: act}, hands) }

// answer answers the prompt; hands empty: the words of the option, or of the step.
func (p *Player) answer(v procedure.View, text, hands string) Move {
	if hands == "" {
		for _, o := range v.Prompt.Options {
			if o.Key == text {
				hands = o.Text + "."
			}
		}
	}
	if hands == "" {
		hands = v.Prompt.Question + " " + text
	}
	return p.say(procedure.Answer{ID: v.Prompt.ID, Seq: v.Prompt.Seq, Text: text}, hands)
}

func (p *Player) setUp(v procedure.View, what string) Move {
	switch what {
	case "camera":
		if p.wait < len(p.s.plan.Cameras) {
			c := p.s.plan.Cameras[p.wait]
			p.wait++
			return p.answer(v, fmt.Sprintf("%s %s", c.Camera, c.Colour), "")
		}
		return p.answer(v, "", "No more cameras.")
	case "marking":
		return p.answer(v, "red tape over the case", "")
	}
	return p.answer(v, map[string]string{"kit": "k", "bins": "b", "done": "s"}[what], "")
}

// begin is pick, seat and start.
func (p *Player) begin(v procedure.View, eyes world.Eyes) Move {
	card := p.hand(v.Prompt.ID, eyes.Bin)
	guess := string(v.Step.Roll)
	if guess == "" {
		guess = string(p.s.Shift().InLane(1).Label)
	}
	switch v.Prompt.ID {
	case "pick.card":
		if p.habits.GivesUp && p.s.o.Again != nil && p.once("gives up") {
			return p.say(procedure.DoHold{Reason: "the power was gone"}, "You put it on hold.")
		}
		if p.habits.GuessesLabels {
			return p.answer(v, guess, "")
		}
		if guess == p.made {
			return p.say(procedure.DoHold{Reason: "the card reads " + card.Card}, "They differ: on hold.")
		}
		return p.answer(v, card.Card, "")
	case "pick.tape":
		if p.habits.GuessesLabels {
			return p.answer(v, guess, "")
		}
		if card.Tape == "" && p.habits.TakesAnything {
			return p.answer(v, card.Card, "")
		}
		if card.Tape == "" && p.once("tape "+card.Card) {
			return p.do(drill.ActAsk, "There is no tape. You ask for one.")
		}
		if card.Tape != card.Card {
			return p.say(procedure.DoHold{Reason: "tape reads " + card.Tape + ", card reads " + card.Card}, "They differ: on hold.")
		}
		return p.answer(v, card.Tape, "")
	case "seat.tape":
		return p.answer(v, "t", "")
	}
	if slices.ContainsFunc(v.Clocks, func(c procedure.Clock) bool { return c.Over }) {
		return p.say(procedure.DoPutBack{Reason: "too long since seating"}, "Too long since seating: put back.")
	}
	if s := p.s.Shift(); len(s.Dests)-len(s.GoneDests) < p.s.o.Policy.Destinations {
		return p.say(procedure.DoHold{Reason: "a drive is lacking"}, "A drive is lacking: on hold.")
	}
	if !p.habits.GuessesLabels && eyes.InReader != "" && eyes.InReader != guess {
		return p.say(procedure.DoPutBack{Reason: "another card"}, "That is another card: put back.")
	}
	return p.answer(v, "s", "")
}

func (p *Player) book(v procedure.View, eyes world.Eyes) Move {
	switch v.Prompt.ID {
	case "log.serial":
		return p.answer(v, eyes.Sticker, "")
	case "log.notes":
		for _, n := range v.Notices {
			if strings.Contains(n.What, "was not formatted") && !p.habits.KeepsQuiet {
				return p.answer(v, "old clips on it, not formatted; told the camera department", "")
			}
		}
		return p.answer(v, "", "No notes.")
	case "count.written":
		if len(v.Shown) == 2 {
			p.files, _, _ = strings.Cut(v.Shown[0], " ")
			p.size = v.Shown[1]
		}
		return p.answer(v, "w", "")
	case "count.files":
		return p.answer(v, p.files, "")
	}
	return p.answer(v, p.size, "")
}
