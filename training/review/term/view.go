package term

import (
	"fmt"
	"strings"

	"github.com/charmbracelet/lipgloss"
	"github.com/charmbracelet/x/ansi"
)

// styles is how the screen looks: no colours.
type styles struct{ title, chosen lipgloss.Style }

func newStyles(r *lipgloss.Renderer) styles {
	return styles{title: r.NewStyle().Bold(true), chosen: r.NewStyle().Reverse(true)}
}

// The smallest terminal that shows something useful.
const (
	leastWide = 40
	leastHigh = 10
)

// frame is how many lines are not the page's: title, tabs, blank, keys.
const frame = 4

func (m *model) room() int { return max(1, m.high-frame) }

// View implements tea.Model.
func (m *model) View() string {
	if m.wide < leastWide || m.high < leastHigh {
		return fmt.Sprintf("Too small: %dx%d,\n%dx%d are needed.\nq: leave", m.wide, m.high, leastWide, leastHigh)
	}
	head, tabs, keys := m.heads()
	if m.r.Demo {
		head = "DEMO " + head
	}
	lines := []string{m.st.title.Render(ansi.Truncate(head, m.wide, "~")), tabs, ""}
	switch {
	case m.at == atPeople:
		lines = append(lines, m.people.view(m.wide, m.room(), m.st)...)
	case m.listed():
		l := m.list.view(m.wide, m.room(), m.st)
		if len(m.list.items) == 0 {
			l = append(l, "  None.")
		}
		lines = append(lines, l...)
	default:
		lines = append(lines, m.text.view(m.wide, m.room())...)
	}
	for len(lines) < m.high-1 {
		lines = append(lines, "")
	}
	return strings.Join(append(lines[:m.high-1], ansi.Truncate(keys, m.wide, "~")), "\n")
}

// heads is the title, the line of tabs and the line of keys.
func (m *model) heads() (head, row, keys string) {
	const leave = "esc back  q leave"
	switch m.at {
	case atPeople:
		return "Review of " + m.r.Scope.Mode, "", "up/down choose  enter open  q leave"
	case atWhole:
		return m.title, "", "up/down space scroll  " + leave
	case atRun:
		return "Run " + m.title, "", "up/down space scroll  " + leave
	case atDrill:
		return short(m.r.People[m.person].Name, 40) + ": drill " + m.drill, "", "up/down choose  enter timeline  " + leave
	case atPerson:
	}
	keys = "left/right page  up/down space scroll  " + leave
	switch {
	case m.tab == tabStep:
		keys = "[ ] step  left/right page  up/down scroll  " + leave
	case m.listed():
		keys = "up/down choose  enter open  left/right page  " + leave
	}
	return short(m.r.People[m.person].Name, 40), m.tabRow(), keys
}

// tabRow marks the page that is shown by brackets, in a form that narrow terminals can show.
func (m *model) tabRow() string {
	var b strings.Builder
	for i, n := range tabNames {
		if tab(i) == m.tab {
			fmt.Fprintf(&b, "[%d %s]", i+1, n)
		} else {
			fmt.Fprintf(&b, " %d %s ", i+1, n)
		}
	}
	if ansi.StringWidth(b.String()) <= m.wide {
		return b.String()
	}
	return fmt.Sprintf("page %d of %d: %s", m.tab+1, tabs, tabNames[m.tab])
}
