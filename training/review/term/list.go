package term

import (
	"strings"

	"github.com/charmbracelet/x/ansi"
)

// list is lines of which one is chosen. The zero value is empty.
type list struct {
	head  []string // lines above that stay
	items []string
	at    int
	top   int
}

// move chooses another line.
func (l *list) move(by, high int) {
	l.at = min(max(l.at+by, 0), max(0, len(l.items)-1))
	l.fit(high)
}

// fit scrolls so that the chosen line can be seen.
func (l *list) fit(high int) {
	room := max(1, high-len(l.head))
	l.at = min(max(l.at, 0), max(0, len(l.items)-1))
	l.top = min(l.top, l.at)
	l.top = max(l.top, l.at-room+1)
}

// view draws the list in so many lines.
func (l *list) view(wide, high int, st styles) []string {
	out := make([]string, 0, high)
	for _, h := range l.head {
		out = append(out, "  "+ansi.Truncate(h, wide-2, "~"))
	}
	room := max(1, high-len(l.head))
	for i := l.top; i < len(l.items) && i < l.top+room; i++ {
		t := ansi.Truncate(l.items[i], wide-2, "~")
		if i == l.at {
			t += strings.Repeat(" ", max(0, wide-2-ansi.StringWidth(t)))
			out = append(out, st.chosen.Render("> "+t))
			continue
		}
		out = append(out, "  "+t)
	}
	return out
}

// scroll is lines that can be moved up and down.
type scroll struct {
	lines []string
	top   int
}

func (s *scroll) set(text string) {
	s.lines, s.top = strings.Split(strings.Trim(text, "\n"), "\n"), 0
}

func (s *scroll) move(by, high int) { s.top = min(max(s.top+by, 0), max(0, len(s.lines)-high)) }

func (s *scroll) view(wide, high int) []string {
	var out []string
	for i := s.top; i < len(s.lines) && i < s.top+high; i++ {
		out = append(out, ansi.Truncate(s.lines[i], wide, "~"))
	}
	return out
}
