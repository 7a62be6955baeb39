package screen

import (
	"strconv"
	"strings"
	"unicode"

	"github.com/charmbracelet/bubbles/key"
	tea "github.com/charmbracelet/bubbletea"

	"twobin/procedure"
)

// key routes one key, from what must always work to what needs a prompt that has been seen.
func (m *model) key(k tea.KeyMsg) tea.Cmd {
	counts := m.gate.pass(m.now())
	switch {
	case key.Matches(k, m.keys.quit):
		return m.leave()
	case m.tooSmall() || !m.seen || !counts || m.busy:
		return nil
	case m.panel != panelNone:
		return m.keyPanel(k)
	case m.command != nil:
		return m.keyCommand(k)
	case key.Matches(k, m.keys.act) && m.view.Drill != "":
		m.command = m.actCommand()
		return nil
	case m.view.Away:
		return m.keyAway(k)
	}
	m.trouble = ""
	if m.view.Step.Critical || m.erasing() {
		return m.keyCritical(k)
	}
	if cmd, ok := m.keyUsual(k); ok {
		return cmd
	}
	return m.keyPrompt(k)
}

// erasing: the erase prompt is shown, whatever the step says of itself.
func (m *model) erasing() bool {
	return m.view.Prompt != nil && m.view.Prompt.Kind == procedure.PromptErase
}

// keyAway: the first key asks, only b comes back.
func (m *model) keyAway(k tea.KeyMsg) tea.Cmd {
	if m.backAsk && one(k) == 'b' {
		return m.do(procedure.DoBack{})
	}
	m.backAsk = true
	return nil
}

// keyPanel scrolls, or closes the panel. On the board a note's number says that the note is done.
func (m *model) keyPanel(k tea.KeyMsg) tea.Cmd {
	switch k.Type {
	case tea.KeyDown:
		m.scroll++
		return nil
	case tea.KeyUp:
		m.scroll = max(0, m.scroll-1)
		return nil
	case tea.KeyPgDown, tea.KeySpace:
		m.scroll += m.h / 2
		return nil
	case tea.KeyPgUp:
		m.scroll = max(0, m.scroll-m.h/2)
		return nil
	}
	if digit := one(k); m.panel == panelBoard && digit >= '0' && digit <= '9' {
		return m.noteDigit(string(digit))
	}
	if k.Type == tea.KeyEnter && m.digits != "" {
		return m.noteDone(m.digits)
	}
	m.panel, m.digits = panelNone, ""
	return nil
}

// noteDigit takes one digit of the number of a note that is done. As soon as no other open note's number begins with what
// was pressed, it is done; until then another digit or enter is waited for.
func (m *model) noteDigit(digit string) tea.Cmd {
	m.digits += digit
	beginning := 0
	for _, note := range m.view.Notes {
		if strings.HasPrefix(strconv.Itoa(note.ID), m.digits) {
			beginning++
		}
	}
	switch beginning {
	case 0:
		m.digits = ""
		return nil
	case 1:
		return m.noteDone(m.digits)
	}
	return nil
}

// noteDone says that the open note with that number is done; when there is none yet, more digits are waited for.
func (m *model) noteDone(number string) tea.Cmd {
	for _, note := range m.view.Notes {
		if strconv.Itoa(note.ID) == number {
			m.digits = ""
			return m.do(procedure.DoNoteDone{ID: note.ID})
		}
	}
	return nil
}

func (m *model) open(p panel) { m.panel, m.scroll, m.digits = p, 0, "" }

// shut: the card is in the reader again and the lock is closed. Nothing can be erased, and what the lock says may be a
// reason to put the roll on hold.
func (m *model) shut() bool {
	p := m.view.Prompt
	return p != nil && p.ID == "reseat.look"
}

// keyCritical knows the step's own key, put back, and why.
func (m *model) keyCritical(k tea.KeyMsg) tea.Cmd {
	switch {
	case key.Matches(k, m.keys.putBack):
		return m.do(procedure.DoPutBack{})
	case key.Matches(k, m.keys.away):
		return m.do(procedure.DoAway{})
	case one(k) == '?' && m.entry.empty():
		m.open(panelWhy)
		return nil
	case key.Matches(k, m.keys.hold) && m.shut():
		m.command = m.commandFor(k)
		return nil
	}
	if !m.erasing() {
		if len(k.Runes) > 1 || k.Paste {
			return nil // a burst is no decision
		}
		return m.keyPrompt(k)
	}
	if key.Matches(k, m.keys.erase) && strings.TrimSpace(m.entry.value()) != "" {
		return m.answer(m.entry.value())
	}
	if !key.Matches(k, m.keys.erase, m.keys.enter) {
		m.entry.press(k)
	}
	return nil
}

// keyUsual are the commands of the ordinary view.
func (m *model) keyUsual(k tea.KeyMsg) (tea.Cmd, bool) {
	switch {
	case key.Matches(k, m.keys.away):
		return m.do(procedure.DoAway{}), true
	case key.Matches(k, m.keys.board):
		m.open(panelBoard)
		return m.drawBoard(), true
	case key.Matches(k, m.keys.cause):
		m.open(panelCause)
		return nil, true
	case one(k) == '?' && m.entry.empty():
		m.open(panelWhy)
		return nil, true
	case key.Matches(k, m.keys.dismiss):
		if len(m.view.Notices) == 0 {
			return nil, true
		}
		return m.do(procedure.DoDismiss{}), true
	}
	if c := m.commandFor(k); c != nil {
		m.command = c
		return nil, true
	}
	return nil, false
}

// keyPrompt answers the prompt, or types. What follows an answer in the same burst is dropped.
func (m *model) keyPrompt(k tea.KeyMsg) tea.Cmd {
	p := m.view.Prompt
	switch {
	case p == nil || k.Alt:
		return nil
	case k.Type == tea.KeyEnter && (p.Kind == procedure.PromptText || p.Default != ""):
		if m.entry.empty() && p.Hide {
			return nil // nothing was read
		}
		return m.answer(m.entry.value())
	case p.Kind == procedure.PromptText:
		m.entry.press(k)
		return nil
	case k.Paste || k.Type != tea.KeyRunes:
		return nil
	}
	for _, r := range k.Runes {
		for _, o := range p.Options {
			if string(unicode.ToLower(r)) == o.Key {
				return m.answer(o.Key)
			}
		}
	}
	return nil
}

// one is the character of a key that is one plain character, else 0.
func one(k tea.KeyMsg) rune {
	if k.Type != tea.KeyRunes || len(k.Runes) != 1 || k.Paste || k.Alt {
		return 0
	}
	return k.Runes[0]
}
