package screen

import (
	"strings"

	"twobin/procedure"
)

// inset is the left margin of a critical step: it must not look like the ordinary view.
const inset = 8

// critical is one critical step and nothing else: what the hands do, its clock, its one key, and the newest message if
// it says that something is not right.
func (p page) critical(why bool, trouble string) string {
	s := p.v.Step
	in := strings.Repeat(" ", inset)
	body := append(p.drill(), "", "", in+p.title(), in+p.roll(), "")
	lines := s.Hands
	if p.v.Brief && s.Brief != "" {
		lines = []string{s.Brief}
	}
	if why {
		lines = []string{s.Why}
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
	if why {
		foot = []string{in + "any key: back to the step", ""}
	} else if q := p.v.Prompt; q != nil {
		body = append(body, p.oneKey(q)...)
	}
	body = append(body, p.serious(trouble)...)
	return p.fill(body, foot)
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

// serious is the newest message that is not mere information, set off by a blank line.
func (p page) serious(trouble string) []string {
	if trouble != "" {
		return append([]string{""}, p.shifted(procedure.Notice{Grade: "look", What: "That could not be done: " + trouble})...)
	}
	for i := len(p.v.Notices) - 1; i >= 0; i-- {
		if n := p.v.Notices[i]; n.Grade != "info" {
			return append([]string{""}, p.shifted(n)...)
		}
	}
	return nil
}

func (p page) shifted(n procedure.Notice) []string {
	lines := p.notice(n)
	for i := range lines {
		lines[i] = strings.Repeat(" ", inset-margin) + lines[i]
	}
	return lines
}

// erase is the only view with a frame. It says what will be gone and what is left, lists the lock, and asks for the
// label, which is not on it.
func (p page) erase(e entry, why bool) string {
	p.hide, p.known = true, labelsOf(p.v)
	w := p.w - 4
	in := p.drill()
	if why {
		in = append(in, "")
		for _, l := range p.wrap(p.t(p.v.Step.Why), 0) {
			in = append(in, strings.TrimSpace(l))
		}
		return p.frame(append(in, "", "any key: back to the erase"), w)
	}
	for _, t := range p.v.EraseText {
		for _, l := range p.wrap(p.t(t), 0) {
			in = append(in, p.st.bold.Render(strings.TrimSpace(l)))
		}
	}
	for _, c := range p.v.Clocks {
		in = append(in, p.clock(c))
	}
	in = append(in, "", "The lock:")
	for _, c := range p.v.Lock {
		word := "holds "
		if !c.Holds {
			word = "closed"
		}
		in = append(in, cut("  "+procedure.Plain(c.ID)+"  "+word+"  "+p.t(c.Says), w))
	}
	in = append(in, "")
	for _, n := range p.serious("") {
		if n = strings.TrimSpace(n); n != "" {
			in = append(in, n)
		}
	}
	if q := p.v.Prompt; q != nil {
		in = append(in, p.st.bold.Render(procedure.Plain(q.Question)), "    "+e.line.View())
	}
	if len(in) < p.h-4 {
		in = append(in, "")
	}
	return p.frame(append(in, "ctrl+e erase for good      esc put back, nothing is removed      ? why"), w)
}

// frame draws a heavy frame around the whole window.
func (p page) frame(lines []string, w int) string {
	const title = "━ Erase: this cannot be undone "
	out := []string{"┏" + title + strings.Repeat("━", max(0, w+2-len([]rune(title)))) + "┓"}
	room := p.h - 2
	if len(lines) > room {
		lines = append(lines[:room-2:room-2], "…", lines[len(lines)-1])
	}
	for len(lines) < room {
		lines = append(lines, "")
	}
	for _, l := range lines {
		out = append(out, "┃ "+pad(l, w)+" ┃")
	}
	out = append(out, "┗"+strings.Repeat("━", w+2)+"┛")
	return strings.Join(out, "\n")
}
