package practice

import (
	"fmt"
	"path"
	"regexp"
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
	s      *Session
	habits Habits
	wait   int // cameras given so far
	used   map[string]bool
	done   map[string]bool
	files  string
	size   string
	code   string
	made   string // the label that was made up
	top    string // what is written on the card in the hand, if it is not the first of the bin
	looks  int
}

// NewPlayer makes a player for a session.
func NewPlayer(s *Session, h Habits) *Player {
	return &Player{s: s, habits: h, used: map[string]bool{}, done: map[string]bool{}}
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
			return p.answer(v, "l", "")
		}
		return p.answer(v, "b", "")
	case "lacks":
		if card.Tape == "" {
			return p.answer(v, "no tape", "")
		}
		return p.answer(v, "no case", "")
	}
	if p.habits.MakesUpAnswers {
		return p.answer(v, "will be here soon", "")
	}
	if p.once("gap " + v.Prompt.Question) {
		return p.do(drill.ActAsk, "You ask the camera department.")
	}
	return p.answer(v, eyes.Said, "")
}

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
		_, wentOn := p.s.plan.WentOn(l, s)
		if r := s.Roll(l); slices.Contains(eyes.Erase, l) && !r.Erased && !r.Partly && !wentOn {
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

// look opens the drive and looks, then answers what stands there.
func (p *Player) look(v procedure.View, dest string) Move {
	roll := p.s.Shift().InLane(1)
	if p.habits.LetsLie && v.Step.Step == procedure.StepLook && p.once(fmt.Sprintf("lie %s %d", roll.Label, roll.Pass)) {
		return Move{Wait: 4 * time.Minute}
	}
	drives := []string{dest}
	if p.habits.SkipsLook {
		for _, d := range p.s.plan.Drives {
			drives = append(drives, d.Name)
		}
	}
	for _, d := range drives {
		if a, ok := sighted(v.Prompt.Question, roll.Label, func(below string) ([]string, bool) { return p.s.world.Names(d, roll.Label, below) }); ok {
			return p.answer(v, a, "")
		}
	}
	return p.say(procedure.DoHold{Reason: "the roll is not on " + dest}, "It is not there: on hold.")
}

// The three forms of a sighted check, see [procedure.AskSighted].
var (
	whereRE = regexp.MustCompile(`Open (\S+)\. `)
	dotsRE  = regexp.MustCompile(`dots: (\S+)$`)
)

// sighted reads the question and answers it from the names in the folder that it speaks of.
func sighted(question string, l procedure.Label, names func(below string) ([]string, bool)) (string, bool) {
	w := whereRE.FindStringSubmatch(question)
	if w == nil {
		return "", false
	}
	below := strings.TrimPrefix(strings.TrimPrefix(w[1], string(l)), "/")
	ns, ok := names(below)
	if !ok {
		return "", false
	}
	if m := dotsRE.FindStringSubmatch(question); m != nil {
		return masked(m[1], ns)
	}
	if strings.Contains(question, "How many files") {
		return fmt.Sprint(len(ns)), true
	}
	last := ""
	for _, n := range ns {
		if strings.ToUpper(n) > strings.ToUpper(last) {
			last = n
		}
	}
	stem := strings.TrimSuffix(last, path.Ext(last))
	if len(stem) < 4 {
		return "", false
	}
	return stem[len(stem)-4:], true
}

// masked finds the name that fits a pattern with dots, and gives what stands for the dots.
func masked(pattern string, names []string) (string, bool) {
	head, tail, ok := strings.Cut(pattern, "·")
	tail = strings.TrimLeft(tail, "·")
	dots := strings.Count(pattern, "·")
	for _, n := range names {
		if ok && len(n) == len(head)+dots+len(tail) && strings.HasPrefix(n, head) && strings.HasSuffix(n, tail) {
			return n[len(head) : len(head)+dots], true
		}
	}
	return "", false
}

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
