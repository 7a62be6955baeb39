package screen

import (
	"context"
	"errors"
	"slices"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"twobin/procedure"
)

// readTime is how long messages must have been on the screen before going on counts as having read them. Messages that
// something went wrong stay until they are cleared by their own key.
const readTime = 1500 * time.Millisecond

// do hands intents to the desk, one after the other, until one is refused.
func (m *model) do(is ...procedure.Intent) tea.Cmd {
	m.busy, m.need = true, 0
	ctx, desk := m.ctx, m.desk
	return func() tea.Msg {
		var d doneMsg
		for _, i := range is {
			d = doneMsg{i, desk.Do(ctx, i)}
			if _, aside := i.(procedure.DoDismiss); d.err != nil && !aside {
				break
			}
		}
		return d
	}
}

// answer sends text as the answer to the prompt that is shown.
func (m *model) answer(text string) tea.Cmd {
	p := m.view.Prompt
	m.sent = true
	a := procedure.Answer{ID: p.ID, Seq: p.Seq, Text: text}
	if m.haveRead() {
		return m.do(procedure.DoDismiss{}, a)
	}
	return m.do(a)
}

// haveRead: the messages were there long enough to be read, and none of them says that something went wrong.
func (m *model) haveRead() bool {
	n := m.view.Notices
	return len(n) > 0 && !m.view.Step.Critical && m.now().Sub(m.noticedAt) >= readTime &&
		!slices.ContainsFunc(n, func(n procedure.Notice) bool { return n.Grade == "stop" })
}

// done takes the desk's answer to an intent. A refusal explains itself in the next view.
func (m *model) done(d doneMsg) tea.Cmd {
	m.need = m.looks + 1
	var no *procedure.Refusal
	refused := errors.As(d.err, &no)
	if d.err != nil && !refused {
		m.log.Error("intent", "intent", d.intent, "err", d.err)
		m.trouble = procedure.Plain(d.err.Error())
	}
	if _, ok := d.intent.(procedure.DoQuit); ok && !refused {
		return tea.Quit
	}
	_, answered := d.intent.(procedure.Answer)
	switch {
	case m.sent && refused && m.view.Prompt != nil && m.view.Prompt.Hide:
		m.entry.clear() // the next try reads it again
	case answered && d.err == nil:
		m.entry.clear() // it was taken, even where the same question stays: a drill takes the word of an act for one
	}
	cmds := []tea.Cmd{m.look()}
	if m.leaving && !refused {
		m.leaving = false
		return tea.Batch(append(cmds, m.leave())...)
	}
	m.leaving = false
	return tea.Batch(cmds...)
}

// leave quits. A critical step is put back first; if the desk refuses that, the screen stays.
func (m *model) leave() tea.Cmd {
	if m.busy && m.need == 0 {
		m.leaving = true
		return nil
	}
	if m.view.Step.Critical {
		return m.do(procedure.DoPutBack{Reason: "quit"}, procedure.DoQuit{})
	}
	return m.do(procedure.DoQuit{})
}

// stop ends at once: the process was told to. The desk hears of it but is not waited for any longer than leaveWithin.
func (m *model) stop() tea.Cmd {
	desk, ctx := m.desk, m.ctx
	return func() tea.Msg {
		ctx, cancel := context.WithTimeout(ctx, leaveWithin)
		defer cancel()
		said := make(chan error, 1)
		go func() { said <- desk.Do(ctx, procedure.DoQuit{}) }()
		select {
		case err := <-said:
			if err != nil {
				m.log.Warn("quit", "err", err)
			}
		case <-ctx.Done():
			m.log.Warn("quit", "err", ctx.Err())
		}
		return tea.QuitMsg{}
	}
}
