package term

import (
	"fmt"
	"strings"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"twobin/procedure"
	"twobin/training/review/report"
	"twobin/training/review/text"
)

// Lines of the first page besides the people.
const (
	pageIncidents  = "Incidents of everybody"
	pageComparison = "Comparison"
	pageBasis      = "What this rests on, what is left out, how it was reckoned"
)

func (m *model) peopleList() list {
	l := list{head: []string{fmt.Sprintf("%d drills, %d shifts, %d runs. People stand by name; this is no ranking.", m.r.Scope.Drills, m.r.Scope.Shifts, m.r.Scope.Runs), ""}}
	for i := range m.r.People {
		p := &m.r.People[i]
		state := "not ready yet"
		if p.Ready.Ready {
			state = "ready, by the record"
		}
		if p.Runs == 0 {
			state = "no run"
		}
		l.items = append(l.items, fmt.Sprintf("%-20s %-22s %3d drills %3d shifts %4d runs", short(p.Name, 20), state, p.Drills, p.Shifts, p.Runs))
	}
	l.items = append(l.items, pageIncidents)
	if m.r.Comparison != nil {
		l.items = append(l.items, pageComparison)
	}
	l.items = append(l.items, pageBasis)
	return l
}

// short makes a text from outside fit a column.
func short(s string, n int) string {
	r := []rune(procedure.Plain(s))
	if len(r) > n {
		return string(r[:n-1]) + "~"
	}
	return string(r)
}

// enter opens what is chosen.
func (m *model) enter() tea.Cmd {
	switch {
	case m.at == atPeople:
		m.enterPeople()
	case m.at == atPerson && m.tab == tabDrills && len(m.list.items) > 0:
		name := m.r.People[m.person].Standing[m.list.at].Drill
		m.deeper(atDrill)
		m.openDrill(name)
	case m.listed() && m.list.at < len(m.refs):
		ref := m.refs[m.list.at]
		return func() tea.Msg {
			ms, err := m.read(ref.Path, ref.Roll, ref.Line, ref.End)
			return timelineMsg{ref, ms, err}
		}
	}
	return nil
}

func (m *model) enterPeople() {
	i := m.people.at
	if i < len(m.r.People) {
		m.person, m.tab = i, tabOverview
		m.deeper(atPerson)
		m.open()
		return
	}
	m.title = m.people.items[i]
	switch m.title {
	case pageIncidents:
		m.text.set(text.Incidents(m.r))
	case pageComparison:
		m.text.set(text.Comparison(m.r))
	case pageBasis:
		m.text.set(text.Basis(m.r))
	}
	m.deeper(atWhole)
}

// reopen opens the person's page again, at the line that was chosen.
func (m *model) reopen() {
	at := m.list.at
	if m.drill != "" {
		for i, s := range m.r.People[m.person].Standing {
			if s.Drill == m.drill && m.tab == tabDrills {
				at = i
			}
		}
		m.drill = ""
	}
	m.open()
	m.list.move(at, m.room())
}

// open builds the page about a person.
func (m *model) open() {
	r, i := m.r, m.person
	p := &r.People[i]
	m.list, m.refs = list{}, nil
	switch m.tab {
	case tabOverview:
		m.text.set(text.Overview(r, i))
	case tabOrder:
		m.text.set(text.Compliance(r, i))
	case tabTimes:
		m.text.set(text.Times(r, i))
	case tabCurve:
		m.text.set(text.Curve(r, i))
	case tabStep:
		m.text.set(text.Step(r, i, m.step))
	case tabOutliers:
		m.list.head = []string{"Single times that deserve a look. Enter: the run.", ""}
		for _, o := range p.Outliers {
			m.list.items = append(m.list.items, fmt.Sprintf("%-8s %7s, usually %7s  %-6s %s  %s", o.Step, report.Seconds(o.Time), report.Seconds(o.Usual),
				short(o.Roll, 6), o.Began.Format(time.DateOnly), procedure.Plain(strings.Join(o.What, "; "))))
			m.refs = append(m.refs, o.RunRef)
		}
	case tabDrills:
		m.list.head = []string{"Enter: the runs of a drill.", ""}
		for _, s := range p.Standing {
			line := fmt.Sprintf("%-11s stage %d  not yet", s.Drill, s.Stage)
			if s.Done > 0 {
				line = fmt.Sprintf("%-11s stage %d  done %2d, passed %2d, last time %s, %s", s.Drill, s.Stage, s.Done, s.Passed, short(s.Last, 12), s.When.Format(time.DateOnly))
			}
			m.list.items = append(m.list.items, line)
		}
	case tabRuns:
		m.runs("Every run, the newest first. Enter: its timeline.", func(report.RunRow) bool { return true })
	case tabs:
	}
}

// openDrill lists the runs of one drill.
func (m *model) openDrill(name string) {
	m.drill = name
	m.runs("Runs in drill "+name+", the newest first. Enter: the timeline.", func(r report.RunRow) bool { return r.Drill == name })
}

func (m *model) runs(head string, keep func(report.RunRow) bool) {
	m.list, m.refs = list{head: []string{head, ""}}, nil
	all := m.r.People[m.person].AllRuns
	for i := len(all) - 1; i >= 0; i-- {
		r := all[i]
		if !keep(r) {
			continue
		}
		state := "not completed"
		if r.Number > 0 {
			state = fmt.Sprintf("run %d, %s", r.Number, report.Seconds(float64(r.Total)))
		}
		kind := "shift"
		if r.Drill != "" {
			kind = short(r.Drill, 11)
		}
		m.list.items = append(m.list.items, fmt.Sprintf("%s  %-11s %-6s pass %d  %-18s %s", r.Began.Format("2006-01-02 15:04"), kind, short(r.Roll, 6), r.Pass, state, noted(r)))
		m.refs = append(m.refs, r.RunRef)
	}
}

func noted(r report.RunRow) string {
	var out []string
	for _, k := range r.Marks {
		out = append(out, k.Kind)
	}
	return strings.Join(out, ", ")
}

func (m *model) showTimeline(msg timelineMsg) {
	if msg.err != nil {
		m.text.set("The journal cannot be read now: " + procedure.Plain(msg.err.Error()))
	} else {
		m.text.set(text.Timeline(msg.moments))
	}
	m.title = fmt.Sprintf("%s pass %d, %s", short(msg.ref.Roll, 8), msg.ref.Pass, msg.ref.Began.Format("2006-01-02 15:04"))
	if m.at != atRun {
		m.deeper(atRun)
	}
}
