package screen

import (
	"regexp"
	"slices"
	"strings"

	"github.com/charmbracelet/x/ansi"

	"twobin/procedure"
)

// inset is the left margin of a critical step: it must not look like the ordinary view.
const inset = 8

// critical is one critical step and nothing else: what the hands do, its clock, its one key, and the newest message if
// it says that something is not right. In a drill, what is around the trainee belongs to it.
func (p page) critical(m *model) string {
	s, why := p.v.Step, m.panel == panelWhy
	in := strings.Repeat(" ", inset)
	body := append(p.drill(), "", "", in+p.title(), in+p.roll(), "")
	lines := s.Hands
	switch {
	case why:
		lines = []string{s.Why}
	case p.v.Brief && s.Brief != "":
		lines = []string{s.Brief}
	}
	for _, h := range lines {
		if q := p.v.Prompt; q != nil && q.Question == h {
			continue // said by the question
		}
		body = append(body, p.shift(p.wrap(p.t(h), inset))...)
	}
	body = append(body, "")
	for _, c := range p.v.Clocks {
		body = append(body, in+p.clock(c), "")
	}
	if p.v.Working != "" {
		body = append(body, p.shift(p.wrap("Now: "+p.t(p.v.Working)+".", inset))...)
	}
	foot := []string{in + "esc put back   ? why", ""}
	if m.shut() {
		foot[0] = in + "esc put back   ctrl+o on hold   ? why"
	}
	if p.v.Drill != "" {
		foot[0] += "   ctrl+w do something in the drill"
	}
	switch {
	case why:
		foot[0] = in + "any key: back to the step"
	case m.command != nil:
		foot[0] = in + "enter send   esc never mind"
		body = append(body, p.inset(p.narrow().line(m.command.question, m.command.entry))...)
	case p.v.Prompt != nil:
		body = append(body, p.oneKey(p.v.Prompt)...)
	}
	if n := p.narrow().serious(m.trouble); n != nil {
		body = append(append(body, ""), p.inset(n)...)
	}
	if w := p.narrow().world(); w != nil {
		body = append(append(body, ""), p.inset(w)...)
	}
	return p.fill(body, foot)
}

// narrow is the page as wide as what stands at the inset: text that is moved there afterwards is wrapped for it.
func (p page) narrow() page {
	p.w = min(p.w, maxText) - (inset - margin)
	return p
}

// inset moves lines from the usual margin to that of a critical step.
func (p page) inset(lines []string) []string {
	for i := range lines {
		lines[i] = strings.Repeat(" ", inset-margin) + lines[i]
	}
	return lines
}

// shift moves lines that were wrapped with an indent from the usual margin to the inset.
func (p page) shift(lines []string) []string {
	for i := range lines {
		lines[i] = lines[i][margin:]
	}
	return lines
}

// oneKey is the question of a critical step with its options.
func (p page) oneKey(q *procedure.Prompt) []string {
	in := strings.Repeat(" ", inset)
	out := p.bold(p.shift(p.wrap(procedure.Plain(q.Question), inset)))
	for _, o := range q.Options {
		out = append(out, in+"  "+p.st.reverse.Render(" "+procedure.Plain(o.Key)+" ")+"  "+procedure.Plain(o.Text))
	}
	return out
}

// serious is the newest message that is not mere information.
func (p page) serious(trouble string) []string {
	if trouble != "" {
		return p.notice(procedure.Notice{Grade: "look", What: "That could not be done: " + trouble})
	}
	for i := len(p.v.Notices) - 1; i >= 0; i-- {
		if n := p.v.Notices[i]; n.Grade != "info" {
			return p.notice(n)
		}
	}
	return nil
}

// erase is the only view with a frame. It says what will be gone and what is left, lists the lock, and asks for the
// label, which is not on it.
func (p page) erase(m *model) string {
	p.hide, p.known = true, labelsOf(p.v)
	var in []string
	if m.panel == panelWhy {
		in = append(in, flush(p.wrap(p.t(p.v.Step.Why), 0))...)
		return p.frame(in, nil, []string{"any key: back to the erase"})
	}
	for _, t := range p.v.EraseText {
		in = append(in, p.bold(flush(p.wrap(p.t(t), 0)))...)
	}
	for _, c := range p.v.Clocks {
		in = append(in, p.clock(c))
	}
	beside := append(flush(p.serious(m.trouble)), flush(p.world())...)
	const askedLines, frameLines = 3, 2
	short := len(in)+1+len(p.v.Lock)+len(beside)+askedLines+frameLines > p.h
	in = append(append(in, ""), p.lock(short)...)
	in = append(in, "")
	keys := "ctrl+e erase for good      esc put back, nothing is removed      ? why"
	if p.v.Drill != "" {
		keys = "ctrl+e erase for good   esc put back   ? why   ctrl+w do something"
	}
	ask := p.st.bold.Render(procedure.Plain(p.v.Prompt.Question))
	if m.acting() {
		return p.frame(in, beside, []string{p.st.bold.Render(m.command.question), "    " + m.command.entry.line.View(), "enter send   esc never mind"})
	}
	return p.frame(in, beside, []string{ask, "    " + m.entry.line.View(), keys})
}

// lock is the verdict, one condition a line. Where a message or a drill needs the room, a lock of which every condition
// holds is one line.
func (p page) lock(short bool) []string {
	open := len(p.v.Lock) > 0
	out := []string{"The lock:"}
	for _, c := range p.v.Lock {
		word := "holds "
		if !c.Holds {
			word, open = "closed", false
		}
		out = append(out, "  "+procedure.Plain(c.ID)+"  "+word+"  "+p.t(c.Says))
	}
	if short && open {
		first, last := p.v.Lock[0].ID, p.v.Lock[len(p.v.Lock)-1].ID
		return []string{"The lock: " + procedure.Plain(first) + " to " + procedure.Plain(last) + " hold, every condition."}
	}
	return out
}

// drawn is how a line begins that is drawn bold or in colour, with the margin after it.
var drawn = regexp.MustCompile(`^((?:\x1b\[[0-9;]*m)+) +`)

// flush takes the margin off lines, and leaves out empty ones.
func flush(lines []string) []string {
	var out []string
	for _, l := range lines {
		if l = drawn.ReplaceAllString(strings.TrimSpace(l), "$1"); l != "" {
			out = append(out, l)
		}
	}
	return out
}

// frame draws a heavy frame around the whole window. What must be read stands at the top, what is asked right below the
// rest. If there is too much, blank lines go first, then the end of the rest.
func (p page) frame(must, rest, asked []string) string {
	title := "━ Erase: this cannot be undone "
	if p.v.Drill != "" {
		title = cut("━ DRILL "+p.t(p.v.Drill), p.w/2) + " " + title
	}
	w, room := p.w-4, p.h-2
	if len(must)+len(rest)+len(asked) > room {
		must = slices.DeleteFunc(must, func(l string) bool { return l == "" })
	}
	if free := room - len(must) - len(asked); len(rest) > free {
		rest = append(slices.Clone(rest[:max(0, free-1)]), "…")
	}
	lines := slices.Concat(must, rest, asked)
	if len(lines) > room { // a lock of more conditions than there are: the end stays, it has the keys
		lines = lines[len(lines)-room:]
	}
	for len(lines) < room {
		lines = append(lines, "")
	}
	out := []string{"┏" + title + strings.Repeat("━", max(0, w+2-ansi.StringWidth(title))) + "┓"}
	for _, l := range lines {
		out = append(out, "┃ "+pad(l, w)+" ┃")
	}
	return strings.Join(append(out, "┗"+strings.Repeat("━", w+2)+"┛"), "\n")
}
