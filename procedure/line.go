package procedure

import (
	"strconv"
	"strings"
)

// Command is a word that a person may say at any time instead of an answer.
type Command struct {
	Word string // as typed in plain mode
	Args string // what follows, in words
	Text string // what it does
}

// Commands lists the words of plain mode, in the order of the help. "why", "board", "cause" and "help" show something
// and are no intents.
func Commands() []Command {
	return []Command{
		{"put back", "", "leave a critical step: card out, tape on, back into its bin"},
		{"hold", "REASON", "put the roll under way on hold (or: hold LABEL REASON)"},
		{"arrived", "LABEL", "a card arrives"},
		{"note", "TEXT", "pin a note to the roll; or begin with a label, or a camera as B:"},
		{"done", "NUMBER", "a note is dealt with"},
		{"away", "", "you are called away; say back when you return"},
		{"back", "", "you are back"},
		{"misfit", "TEXT", "the step as written cannot be done here"},
		{"operator", "NAME", "somebody takes over"},
		{"to", "PATH", "one more destination"},
		{"drop", "NAME", "take a destination out of use"},
		{"camera", "LETTER COLOUR", "one more camera"},
		{"board", "", "where every roll is"},
		{"why", "", "the reason for this step"},
		{"cause", "", "the technical cause of the last messages"},
		{"close", "", "close the shift"},
		{"quit", "", "leave; the shift goes on where it was left"},
	}
}

// freeText are prompts that take a person's own words. There only the commands that are needed at any time count as such.
var freeText = map[string]bool{
	"log.notes": true, "log.serial": true, "receive.from": true, "receive.gap": true, "receive.lacks": true, "return.to": true,
	"setup.production": true, "setup.operator": true, "setup.station": true, "setup.marking": true,
}

// ParseLine makes an intent of a line of plain mode. A line that is no command answers the prompt. Where own words are
// asked (notes, names), only put back, hold, note, arrived, away, back and quit are commands. A line that begins with a
// colon is always an answer: the text behind it.
func ParseLine(v View, t string) Intent {
	word, rest, _ := strings.Cut(t, " ")
	rest = strings.TrimSpace(rest)
	free := v.Prompt != nil && freeText[v.Prompt.ID]
	answer := func(s string) Intent {
		if v.Prompt == nil {
			return Answer{ID: "none", Text: s}
		}
		return Answer{ID: v.Prompt.ID, Seq: v.Prompt.Seq, Text: s}
	}
	if said, ok := strings.CutPrefix(t, ":"); ok && v.Prompt != nil && v.Prompt.Kind == PromptText {
		return answer(strings.TrimSpace(said))
	}
	if free {
		switch strings.ToLower(word) {
		case "done", "misfit", "operator", "to", "drop", "camera", "close", "erase":
			return answer(t)
		}
	}
	switch strings.ToLower(word) {
	case "put":
		if strings.HasPrefix(strings.ToLower(rest), "back") {
			return DoPutBack{Reason: strings.TrimSpace(rest[len("back"):])}
		}
	case "hold":
		first, more, _ := strings.Cut(rest, " ")
		if l, err := ParseLabel(first); err == nil && more != "" {
			return DoHold{Roll: l, Reason: strings.TrimSpace(more)}
		}
		return DoHold{Reason: rest}
	case "arrived":
		return DoArrived{Label: rest}
	case "note":
		return DoNote{Text: rest}
	case "done":
		if n, err := strconv.Atoi(rest); err == nil {
			return DoNoteDone{ID: n}
		}
	case "misfit":
		return DoMisfit{Text: rest}
	case "operator":
		return DoOperator{Name: rest}
	case "to":
		if rest != "" {
			return DoDestination{Path: rest}
		}
	case "do":
		if v.Drill != "" && rest != "" {
			return DoAct{Text: rest}
		}
	case "drop":
		return DoDrop{Name: rest}
	case "camera":
		return DoCamera{Text: rest}
	case "erase":
		if v.Prompt != nil && v.Prompt.Kind == PromptErase {
			return answer(rest)
		}
		return Answer{ID: "erase.label", Text: rest}
	}
	if rest == "" {
		switch strings.ToLower(word) {
		case "away":
			return DoAway{}
		case "back":
			return DoBack{}
		case "close":
			return DoClose{}
		case "quit":
			return DoQuit{}
		}
	}
	if v.Prompt != nil && v.Prompt.Kind == PromptErase {
		return answer("") // whatever it is, it does not begin with the word
	}
	return answer(t)
}
