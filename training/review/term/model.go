package term

import (
	tea "github.com/charmbracelet/bubbletea"

	"twobin/training/review/read"
	"twobin/training/review/report"
)

// tab is a page about one person.
type tab int

const (
	tabOverview tab = iota
	tabOrder
	tabTimes
	tabCurve
	tabStep
	tabOutliers
	tabDrills
	tabRuns
	tabs
)

var tabNames = [tabs]string{"overview", "order", "times", "curve", "step", "outliers", "drills", "runs"}

// where is how deep the view is.
type where int

const (
	atPeople where = iota
	atWhole        // a page about everybody
	atPerson
	atDrill // the runs of one drill
	atRun   // a timeline
)

// reader reads a run's timeline.
type reader func(path, roll string, first, last int64) ([]read.Moment, error)

// model is the whole program's state.
type model struct {
	r          *report.Report
	st         styles
	wide, high int
	at         where
	back       []where // from where it was gone deeper
	people     list
	person     int
	tab        tab
	step       int
	text       scroll
	list       list
	refs       []report.RunRef // behind the lines of list, if they are runs
	drill      string
	title      string
	read       reader
}

// timelineMsg is a timeline that was read.
type timelineMsg struct {
	ref     report.RunRef
	moments []read.Moment
	err     error
}

// stopMsg ends the program from outside.
type stopMsg struct{}

func newModel(r *report.Report, st styles, rd reader) *model {
	m := &model{r: r, st: st, read: rd, wide: 80, high: 24}
	m.people = m.peopleList()
	return m
}

// Init implements tea.Model.
func (m *model) Init() tea.Cmd { return nil }

// Update implements tea.Model: it routes.
func (m *model) Update(msg tea.Msg) (tea.Model, tea.Cmd) {
	switch msg := msg.(type) {
	case tea.WindowSizeMsg:
		m.wide, m.high = msg.Width, msg.Height
		m.people.fit(m.room())
		m.list.fit(m.room())
		m.text.move(0, m.room())
	case stopMsg:
		return m, tea.Quit
	case timelineMsg:
		m.showTimeline(msg)
	case tea.KeyMsg:
		return m.key(msg.String())
	}
	return m, nil
}

// key takes one key.
func (m *model) key(k string) (tea.Model, tea.Cmd) {
	switch k {
	case "q", "ctrl+c":
		return m, tea.Quit
	case "esc", "backspace":
		m.up()
	case "up", "k":
		m.move(-1)
	case "down", "j":
		m.move(1)
	case "pgup", "b":
		m.move(-m.room())
	case "pgdown", " ":
		m.move(m.room())
	case "home", "g":
		m.move(-1 << 20)
	case "end", "G":
		m.move(1 << 20)
	case "enter":
		return m, m.enter()
	case "tab", "right", "l":
		m.turn(1)
	case "shift+tab", "left", "h":
		m.turn(-1)
	case "[", "-":
		m.turnStep(-1)
	case "]", "+":
		m.turnStep(1)
	default:
		if m.at == atPerson && len(k) == 1 && k[0] >= '1' && k[0] < '1'+byte(tabs) {
			m.tab = tab(k[0] - '1')
			m.open()
		}
	}
	return m, nil
}

func (m *model) move(by int) {
	switch {
	case m.at == atPeople:
		m.people.move(by, m.room())
	case m.listed():
		m.list.move(by, m.room())
	default:
		m.text.move(by, m.room())
	}
}

// listed: the page is a list to choose from.
func (m *model) listed() bool {
	return m.at == atDrill || m.at == atPerson && (m.tab == tabOutliers || m.tab == tabDrills || m.tab == tabRuns)
}

// turn goes to the next page about a person.
func (m *model) turn(by int) {
	if m.at != atPerson {
		return
	}
	m.tab = (m.tab + tab(by) + tabs) % tabs
	m.open()
}

// turnStep chooses another step.
func (m *model) turnStep(by int) {
	if n := len(m.r.Scope.Steps); m.at == atPerson && m.tab == tabStep && n > 0 {
		m.step = (m.step + by + n) % n
		m.open()
	}
}

// up goes back to where it came from.
func (m *model) up() {
	if len(m.back) == 0 {
		return
	}
	m.at, m.back = m.back[len(m.back)-1], m.back[:len(m.back)-1]
	switch m.at {
	case atPerson:
		m.reopen()
	case atDrill:
		at := m.list.at
		m.openDrill(m.drill)
		m.list.move(at, m.room())
	case atPeople, atWhole, atRun:
	}
}

func (m *model) deeper(to where) {
	m.back = append(m.back, m.at)
	m.at = to
}
