package screen

import (
	"context"
	"log/slog"
	"slices"
	"strings"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"twobin/procedure"
)

// Smallest window in which every view fits.
const (
	minWidth  = 80
	minHeight = 24
)

// every is how often a running copy or clock is drawn.
const every = 100 * time.Millisecond

// panel is a text over the whole screen; the zero value is none.
type panel int

const (
	panelNone panel = iota
	panelWhy
	panelBoard
	panelCause
)

// The messages of the model's own commands.
type (
	// viewMsg is a view, and the number of the look at the desk that gave it.
	viewMsg struct {
		view procedure.View
		look int
	}
	// newsMsg: the desk's state is newer than the last version seen.
	newsMsg struct {
		version uint64
		err     error
	}
	// doneMsg: the desk has taken or refused intents. intent is the last one tried.
	doneMsg struct {
		intent procedure.Intent
		err    error
	}
	tickMsg struct{}
	// boardMsg is the board as drawn for a size.
	boardMsg []string
	// stopMsg: the process is told to end.
	stopMsg struct{}
)

// model is the root: size, what the desk last said, what is being typed, and what is on its way.
type model struct {
	ctx  context.Context
	desk procedure.Desk
	log  *slog.Logger
	now  func() time.Time
	ring func()
	tick tea.Cmd                        // gives tickMsg after every
	draw func(width, height int) string // draws the board; nil: from the strip
	st   styles
	keys keyMap

	w, h int
	view procedure.View
	seen bool           // a view has come
	left procedure.View // as it was when the operator was called away
	rang int

	looks     int  // looks at the desk begun
	looking   bool // one is under way
	lookAgain bool
	ticking   bool

	busy    bool // an intent is on its way, or the view that answers it
	need    int  // the look that answers it; 0 while the desk has not answered yet
	sent    bool // the intent is an answer to the prompt
	leaving bool // quit as soon as what is on its way has come back
	trouble string

	gate      gate
	entry     entry
	command   *command
	panel     panel
	scroll    int
	digits    string // of a note's number, on the board
	backAsk   bool
	board     []string
	noticedAt time.Time
}

func newModel(ctx context.Context, desk procedure.Desk, st styles, o Options) *model {
	m := &model{ctx: ctx, desk: desk, log: o.Log, now: o.Now, st: st, keys: newKeys(), ring: func() {}}
	// tea.Tick's timer runs once, from its making: a new one for every tick.
	m.tick = func() tea.Msg { return tea.Tick(every, func(time.Time) tea.Msg { return tickMsg{} })() }
	m.draw = o.Board
	if m.now == nil {
		m.now = time.Now
	}
	if m.log == nil {
		m.log = slog.New(slog.DiscardHandler)
	}
	return m
}

// Init looks at the desk and waits for news of it.
func (m *model) Init() tea.Cmd { return tea.Batch(m.look(), m.wait(0)) }

// Update routes one message.
func (m *model) Update(msg tea.Msg) (tea.Model, tea.Cmd) {
	switch msg := msg.(type) {
	case tea.WindowSizeMsg:
		m.w, m.h = msg.Width, msg.Height
		m.entry.width(m.textWidth())
		if m.command != nil {
			m.command.entry.width(m.textWidth())
		}
	case tea.KeyMsg:
		return m, m.key(msg)
	case viewMsg:
		return m, m.take(msg)
	case newsMsg:
		if msg.err != nil {
			m.log.Debug("desk: no more news", "err", msg.err)
			return m, nil
		}
		return m, tea.Batch(m.look(), m.wait(msg.version))
	case tickMsg:
		m.ticking = false
		return m, m.look()
	case doneMsg:
		return m, m.done(msg)
	case boardMsg:
		m.board = msg
	case stopMsg:
		return m, m.stop()
	}
	return m, nil
}

// look asks the desk for its view. One look at a time, so that views arrive in order; a look that is wanted meanwhile
// follows it.
func (m *model) look() tea.Cmd {
	if m.looking {
		m.lookAgain = true
		return nil
	}
	m.looking, m.lookAgain = true, false
	m.looks++
	desk, n := m.desk, m.looks
	return func() tea.Msg { return viewMsg{desk.View(), n} }
}

func (m *model) wait(after uint64) tea.Cmd {
	ctx, desk := m.ctx, m.desk
	return func() tea.Msg {
		v, err := desk.Wait(ctx, after)
		return newsMsg{v, err}
	}
}

// take shows a view.
func (m *model) take(msg viewMsg) tea.Cmd {
	m.looking = false
	old, v, now := m.view, msg.view, m.now()
	m.view = v
	m.came(old, now)
	m.seen = true
	if m.busy && m.need > 0 && msg.look >= m.need {
		m.busy, m.need, m.sent = false, 0, false
	}
	if v.Ended {
		return tea.Quit
	}
	var cmds []tea.Cmd
	if m.lookAgain {
		cmds = append(cmds, m.look())
	}
	if v.BellSeq != m.rang {
		if m.rang = v.BellSeq; v.Bell != "" && (!v.Step.Critical || v.Bell == "fault") {
			cmds = append(cmds, func() tea.Msg { m.ring(); return nil })
		}
	}
	if m.panel == panelBoard {
		cmds = append(cmds, m.drawBoard())
	}
	if runs(v) && !m.ticking {
		m.ticking = true
		cmds = append(cmds, m.tick)
	}
	return tea.Batch(cmds...)
}

// drawBoard has the board drawn for the room that its panel has.
func (m *model) drawBoard() tea.Cmd {
	if m.draw == nil {
		return nil
	}
	draw, w, h := m.draw, m.w, m.h-panelFrame
	return func() tea.Msg { return boardMsg(strings.Split(strings.TrimRight(draw(w, h), "\n"), "\n")) }
}

// runs says whether a view changes by itself.
func runs(v procedure.View) bool { return !v.Away && (v.Copy != nil || len(v.Clocks) > 0) }

// came puts away what belonged to the view before.
func (m *model) came(old procedure.View, now time.Time) {
	v := m.view
	if !m.seen {
		m.rang = v.BellSeq
	}
	if v.Away && !old.Away {
		if m.left, m.backAsk = old, false; !m.seen {
			m.left = v
		}
		m.panel, m.command = panelNone, nil
	}
	if !slices.Equal(v.Notices, old.Notices) {
		m.noticedAt = now
	}
	if v.Step.Critical {
		if !m.acting() {
			m.command = nil
		}
		if m.panel != panelWhy {
			m.panel = panelNone
		}
	}
	if samePrompt(old.Prompt, v.Prompt) && old.Step.Critical == v.Step.Critical && m.seen {
		return
	}
	if m.keepsText(old) {
		return
	}
	m.panel = panelNone
	m.entry = newEntry(v.Prompt, m.st, m.textWidth())
	pause := pauseUsual
	if v.Step.Critical || v.Prompt != nil && v.Prompt.Kind == procedure.PromptErase {
		pause = pauseCritical
	}
	m.gate.shut(now, pause)
}

// keepsText: the same question was asked anew for a reason that is not this screen's answer (a note, a drive that
// went). What is half typed then stays; never where attention is undivided.
func (m *model) keepsText(old procedure.View) bool {
	a, b := old.Prompt, m.view.Prompt
	return m.seen && !m.sent && a != nil && b != nil && !m.view.Step.Critical && !old.Step.Critical &&
		a.ID == b.ID && a.Kind == b.Kind && a.Question == b.Question && b.Kind != procedure.PromptErase
}

func samePrompt(a, b *procedure.Prompt) bool {
	if a == nil || b == nil {
		return a == b
	}
	return a.ID == b.ID && a.Seq == b.Seq
}

// tooSmall: nothing is asked in a window that cannot show it.
func (m *model) tooSmall() bool { return m.w < minWidth || m.h < minHeight }

// textWidth is the room for one line of text.
func (m *model) textWidth() int { return max(20, min(m.w, maxText)-2*margin) }
