package command

import (
	"fmt"
	"os"
	"os/signal"
	"strings"
	"syscall"
	"time"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/charmbracelet/x/ansi"
	"golang.org/x/term"

	"twobin/guard"
	"twobin/guard/watch"
	"twobin/procedure"
	"twobin/procedure/board"
)

// followEvery is how often the board looks whether the journal has grown, and moves its times on.
const followEvery = time.Second

// freeEvery is how often the drives are asked for their room.
const freeEvery = 5 * time.Second

// boardModel is the live board: a picture of a journal that another process writes. It reads, and decides nothing.
type boardModel struct {
	// home is where the shift that comes after an ended one is looked for; empty: the journal was named, and stays.
	home string
	// path is the journal that is shown; empty before the first shift.
	path string
	now  func() time.Time
	w, h int
	size int64
	seen *found
	at   time.Time
	// lost is since when the journal cannot be read; zero while it can.
	lost time.Time
	// ident asks the drives; nil: they are not asked.
	ident guard.Identifier
	free  map[string]int64
}

type boardTick time.Time

// boardFree is what the drives have free now.
type boardFree map[string]int64

// freeTick says that it is time to ask the drives again.
type freeTick time.Time

// boardRead is a journal read anew; f is nil when it has not grown, or, with err, when it cannot be read.
type boardRead struct {
	f    *found
	size int64
	err  error
}

// follow shows the board until it is left.
func follow(a *App, home, path string, live bool) error {
	in, ok1 := a.In.(*os.File)
	out, ok2 := a.Out.(*os.File)
	if !ok1 || !ok2 || !term.IsTerminal(int(in.Fd())) || !term.IsTerminal(int(out.Fd())) {
		return usage("--follow needs a terminal; without it the board is printed once")
	}
	m := boardModel{home: home, path: path, now: a.Now, at: a.Now(), size: -1}
	if live {
		m.ident = &watch.Identifier{}
	}
	p := tea.NewProgram(m, tea.WithInput(in), tea.WithOutput(out), tea.WithAltScreen(), tea.WithoutSignalHandler())
	sig := make(chan os.Signal, 1)
	signal.Notify(sig, os.Interrupt, syscall.SIGTERM, syscall.SIGHUP)
	defer signal.Stop(sig)
	done := make(chan struct{})
	defer close(done)
	go func() {
		select {
		case <-sig:
			p.Quit()
		case <-done:
		}
	}()
	_, err := p.Run()
	return err
}

// read looks whether the journal has grown, and after the end of its shift for the next one.
func (m boardModel) read() tea.Msg {
	path := m.path
	if m.home != "" && (path == "" || m.seen != nil && m.seen.ended()) {
		if f, err := current(m.home, ""); err == nil {
			path = f.path
		}
	}
	if path == "" {
		return boardRead{}
	}
	st, err := os.Stat(path)
	if err != nil {
		return boardRead{err: err}
	}
	if path == m.path && st.Size() == m.size {
		return boardRead{}
	}
	f := readJournal(path)
	if f.shift == nil {
		return boardRead{err: f.err}
	}
	return boardRead{f: f, size: st.Size()}
}

func (m boardModel) tick() tea.Cmd {
	return tea.Tick(followEvery, func(t time.Time) tea.Msg { return boardTick(t) })
}

// ask asks the drives aside; one that does not answer holds up only the next asking.
func (m boardModel) ask() tea.Msg { return boardFree(freeNow(m.ident, m.seen.shift)) }

// Init reads the journal and begins the clock.
func (m boardModel) Init() tea.Cmd { return tea.Batch(m.read, m.tick()) }

// Update takes keys, size, time and what was read.
func (m boardModel) Update(msg tea.Msg) (tea.Model, tea.Cmd) {
	switch msg := msg.(type) {
	case tea.WindowSizeMsg:
		m.w, m.h = msg.Width, msg.Height
	case tea.KeyMsg:
		switch msg.String() {
		case "q", "esc", "ctrl+c", "ctrl+q":
			return m, tea.Quit
		}
	case boardTick:
		m.at = m.now()
		return m, tea.Batch(m.read, m.tick())
	case boardRead:
		return m.take(msg)
	case boardFree:
		m.free = msg
		return m, tea.Tick(freeEvery, func(t time.Time) tea.Msg { return freeTick(t) })
	case freeTick:
		return m, m.ask
	}
	return m, nil
}

// take shows what was read. What cannot be read leaves the picture as it was, and since when is said.
func (m boardModel) take(msg boardRead) (tea.Model, tea.Cmd) {
	if msg.err != nil {
		if m.lost.IsZero() {
			m.lost = m.now()
		}
		return m, nil
	}
	m.lost = time.Time{}
	if msg.f == nil {
		return m, nil
	}
	first := m.seen == nil
	if msg.f.path != m.path {
		m.path, m.free = msg.f.path, nil
	}
	m.seen, m.size = msg.f, msg.size
	if first && m.ident != nil {
		return m, m.ask
	}
	return m, nil
}

// View draws one frame, and below it how to leave.
func (m boardModel) View() string {
	switch {
	case m.w < 70 || m.h < 11:
		return fmt.Sprintf("The board needs 70x11, has %dx%d. q leaves.", m.w, m.h)
	case m.path == "":
		return "No shift was begun yet. The board comes with the first one. q leaves."
	case m.seen == nil && !m.lost.IsZero():
		return "The journal cannot be read. q leaves."
	case m.seen == nil || m.seen.shift == nil || m.seen.shift.Opened == nil:
		return "Reading the journal. q leaves."
	}
	text := strings.TrimRight(board.Of(m.seen.shift, m.at).WithFree(m.free).Text(m.w, m.h-1), "\n")
	foot := "q leaves"
	if bad := m.seen.unusable(); bad != nil {
		foot = "the journal is damaged; this is what stands before the damage: " + procedure.Plain(bad.Error())
	}
	if !m.lost.IsZero() {
		foot = "journal not readable since " + m.lost.Format("15:04") + "; this is what it said before. q leaves"
	}
	foot = ansi.Truncate(foot, m.w, "")
	lines := strings.Count(text, "\n") + 1
	return text + strings.Repeat("\n", max(1, m.h-lines)) + foot
}
