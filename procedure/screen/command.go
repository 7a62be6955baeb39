package screen

import (
	"strings"

	"github.com/charmbracelet/bubbles/key"
	tea "github.com/charmbracelet/bubbletea"

	"twobin/procedure"
)

// command is a command that needs a line of text. Its line lies over the prompt; what is half typed there stays.
type command struct {
	question string
	entry    entry
	intent   func(text string) procedure.Intent
	act      bool // done in a drill's outside: possible everywhere
}

// actWord begins an act in a drill's outside, "do answer", as in plain mode. The drill takes such a note for itself.
const actWord = "do "

// maxAct is the longest act: a word and a drive's name.
const maxAct = 40

// acting: the line for an act in the drill is open.
func (m *model) acting() bool { return m.command != nil && m.command.act }

// actCommand opens the line for an act in the drill.
func (m *model) actCommand() *command {
	return &command{
		question: "What do you do? answer, ask, give, swap, free DRIVE or open DRIVE", act: true,
		entry:  newLine(m.st, minWidth/2, maxAct), // has room in every view
		intent: func(s string) procedure.Intent { return procedure.DoNote{Text: actWord + s} },
	}
}

// dropWord begins the line that takes a destination out of use.
const dropWord = "drop "

// underWay: a roll is out of its bin.
func (m *model) underWay() bool {
	s := m.view.Strip
	return s.Hand != "" || s.Reader != "" || len(s.Desk) > 0
}

// commandFor gives the command of a key, nil for none.
func (m *model) commandFor(k tea.KeyMsg) *command {
	with := func(q string, f func(string) procedure.Intent) *command {
		return &command{question: q, entry: newLine(m.st, m.textWidth(), maxEntry), intent: f}
	}
	switch {
	case key.Matches(k, m.keys.hold) && m.view.Step.Critical:
		c := with("Put this roll on hold. For what reason?", func(s string) procedure.Intent { return procedure.DoHold{Reason: s} })
		c.entry = newLine(m.st, m.textWidth()-inset, maxEntry)
		return c
	case key.Matches(k, m.keys.hold) && !m.underWay():
		return with("Which roll goes on hold, and why? Like: A003 no case", func(s string) procedure.Intent { return procedure.DoHold{Reason: s} })
	case key.Matches(k, m.keys.hold):
		return with("Put this roll on hold. For what reason?", func(s string) procedure.Intent { return procedure.DoHold{Reason: s} })
	case key.Matches(k, m.keys.note):
		return with("Note. With a label (A003) or a camera (B:) as first word it is pinned there.", func(s string) procedure.Intent { return procedure.DoNote{Text: s} })
	case key.Matches(k, m.keys.arrived):
		return with("A card arrived. Label on its tape?", func(s string) procedure.Intent { return procedure.DoArrived{Label: s} })
	case key.Matches(k, m.keys.misfit):
		return with("This step does not fit here. What is different?", func(s string) procedure.Intent { return procedure.DoMisfit{Text: s} })
	case key.Matches(k, m.keys.operator):
		return with("Somebody else takes over. Name?", func(s string) procedure.Intent { return procedure.DoOperator{Name: s} })
	case key.Matches(k, m.keys.camera):
		return with("One more camera: its letter and tape colour, like: C yellow", func(s string) procedure.Intent { return procedure.DoCamera{Text: s} })
	case key.Matches(k, m.keys.dest):
		return with("Path of one more destination; or: "+dropWord+"NAME, to take one out of use", func(s string) procedure.Intent {
			if name, ok := strings.CutPrefix(s, dropWord); ok {
				return procedure.DoDrop{Name: strings.TrimSpace(name)}
			}
			return procedure.DoDestination{Path: s}
		})
	}
	return nil
}

// keyCommand types the command's line. An empty line sends nothing.
func (m *model) keyCommand(k tea.KeyMsg) tea.Cmd {
	c := m.command
	switch {
	case key.Matches(k, m.keys.cancel):
		m.command = nil
	case key.Matches(k, m.keys.enter):
		text := strings.TrimSpace(c.entry.value())
		if text == "" {
			return nil
		}
		m.command = nil
		return m.do(c.intent(text))
	default:
		c.entry.press(k)
	}
	return nil
}
