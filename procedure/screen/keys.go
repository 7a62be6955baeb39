package screen

import (
	"slices"
	"strings"

	"github.com/charmbracelet/bubbles/key"
)

// keyMap is every key that is a command; the help line is drawn from it.
type keyMap struct {
	act, why, away, hold, note, arrived, board, misfit, operator, dest, camera, cause, dismiss, quit key.Binding
	putBack, erase, enter, cancel                                                                    key.Binding
}

func bind(word string, keys ...string) key.Binding {
	return key.NewBinding(key.WithKeys(keys...), key.WithHelp(keys[0], word))
}

func newKeys() keyMap {
	return keyMap{
		act:      bind("do something in the drill", "ctrl+w"),
		why:      bind("why", "?"),
		away:     bind("called away", "ctrl+a"),
		hold:     bind("on hold", "ctrl+o"),
		note:     bind("note", "ctrl+n"),
		arrived:  bind("card arrived", "ctrl+r"),
		board:    bind("board", "ctrl+b"),
		misfit:   bind("does not fit", "ctrl+f"),
		operator: bind("other operator", "ctrl+t"),
		dest:     bind("destination", "ctrl+d"),
		camera:   bind("camera", "ctrl+k"),
		cause:    bind("cause", "ctrl+g"),
		dismiss:  bind("clear messages", "ctrl+x"),
		quit:     bind("quit", "ctrl+q", "ctrl+c"),
		putBack:  bind("put back", "esc"),
		erase:    bind("erase", "ctrl+e"),
		enter:    bind("send", "enter"),
		cancel:   bind("never mind", "esc"),
	}
}

// offered says whether the desk names a command among those that make sense now. Its words are those of plain mode;
// only the first word counts ("hold REASON"). No list offers everything.
func offered(commands []string, words ...string) bool {
	if commands == nil {
		return true
	}
	return slices.ContainsFunc(commands, func(c string) bool {
		first, _, _ := strings.Cut(c, " ")
		return slices.Contains(words, first) || slices.Contains(words, c)
	})
}

// helpKeys are the keys of the ordinary view, in the order of the help line.
func (k keyMap) helpKeys(commands []string, drill, notices, causes bool) []key.Binding {
	var out []key.Binding
	if drill {
		out = append(out, k.act)
	}
	add := func(b key.Binding, words ...string) {
		if offered(commands, words...) {
			out = append(out, b)
		}
	}
	if notices {
		out = append(out, k.dismiss)
	}
	if causes {
		out = append(out, k.cause)
	}
	add(k.why, "why")
	add(k.away, "away", "called")
	add(k.hold, "hold")
	add(k.note, "note")
	add(k.arrived, "arrived")
	add(k.board, "board")
	// Where a note can be made these make sense too; plain mode has no words of its own for some of them.
	add(k.misfit, "misfit", "note")
	add(k.operator, "operator", "note")
	add(k.dest, "destination", "note")
	add(k.camera, "camera", "note")
	add(k.quit, "quit")
	return out
}
