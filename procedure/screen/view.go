package screen

import (
	"fmt"
	"strings"

	"github.com/charmbracelet/bubbles/key"

	"twobin/procedure"
)

// View draws what the desk last said. It changes nothing and reads no clock.
func (m *model) View() string {
	p := m.page(m.view)
	switch {
	case m.w == 0 || m.h == 0:
		return ""
	case m.tooSmall():
		return p.small()
	case !m.seen:
		return p.fill([]string{"", "  Reading the desk."}, nil)
	case m.view.Away:
		p = m.page(m.left)
		p.v.Drill, p.v.World = m.view.Drill, m.view.World
		return p.away(m)
	case m.erasing():
		return p.erase(m)
	case m.view.Step.Critical:
		return p.critical(m)
	case m.panel == panelWhy:
		return p.panel("Why", p.why(), m.scroll)
	case m.panel == panelBoard:
		return p.panel("Board", p.board(m.board), m.scroll)
	case m.panel == panelCause:
		return p.panel("Technical causes", p.causes(), m.scroll)
	}
	return p.usual(m)
}

// small says what the window needs and has. The work goes on behind it.
func (p page) small() string {
	var lines []string
	if p.v.Drill != "" {
		lines = append(lines, "DRILL")
	}
	lines = append(lines,
		fmt.Sprintf("twobin needs %dx%d, has %dx%d.", minWidth, minHeight, p.w, p.h),
		"Work goes on. Make the window larger.")
	for i := range lines {
		lines[i] = cut(lines[i], p.w)
	}
	return strings.Join(lines[:min(len(lines), p.h)], "\n")
}

// The ordinary view shrinks in steps until it fits: what can be read elsewhere goes first, what was not read yet last.
const (
	roomy        = iota
	notesCounted // open notes: how many there are, the board has them
	noBlanks
	handsBrief  // what the hands do, in one line
	copyBrief   // the copy without its destinations, and no more than two messages
	newestOnly  // of the messages, the newest
	reasonLater // in a drill, the coach's reason waits
)

// usual is the ordinary view: strip, step, prompt, and what runs beside it. Parts that can wait shrink until it fits.
func (p page) usual(m *model) string {
	top := append(p.header(), p.strip()...)
	if m.acting() {
		return p.act(m, top)
	}
	foot := append([]string{rule(p.w)}, p.help(p.helpKeys(m))...)
	room := p.h - len(foot)
	var body []string
	for tight := range reasonLater + 1 {
		body = append([]string{}, top...)
		for _, part := range [][]string{
			p.head(), p.hands(tight), p.shown(), p.amiss(tight), p.asked(m), p.notices(tight, m.trouble), p.around(tight), p.copying(tight), p.notes(tight),
		} {
			if len(part) == 0 {
				continue
			}
			if tight < noBlanks && len(body) > len(top) {
				body = append(body, "")
			}
			body = append(body, part...)
		}
		if len(body) <= room {
			break
		}
	}
	return p.fill(body, foot)
}

func (p page) helpKeys(m *model) []key.Binding {
	if m.command != nil {
		return []key.Binding{m.keys.enter, m.keys.cancel}
	}
	causes := false
	for _, n := range p.v.Notices {
		causes = causes || n.Cause != ""
	}
	return m.keys.helpKeys(p.v.Commands, p.v.Drill != "", len(p.v.Notices) > 0, causes)
}

// help is the line of keys, on two lines at most.
func (p page) help(keys []key.Binding) []string {
	lines := []string{""}
	for _, k := range keys {
		word := k.Help().Key + " " + k.Help().Desc
		last := &lines[len(lines)-1]
		switch {
		case *last == "":
			*last = " " + word
		case len(*last)+len(word)+3 <= p.w:
			*last += "   " + word
		default:
			lines = append(lines, " "+word)
		}
	}
	return lines
}

// header is one line: the drill, the production, the day, the station, the operator.
func (p page) header() []string {
	v := p.v
	var parts []string
	if v.Production != "" {
		parts = append(parts, p.t(v.Production))
	}
	if v.Day > 0 {
		parts = append(parts, fmt.Sprintf("day %d", v.Day))
	}
	if v.Station != "" {
		parts = append(parts, p.t(v.Station))
	}
	who := p.t(v.Operator)
	line := " " + strings.Join(parts, " · ")
	if v.Drill != "" {
		line = " " + p.st.reverse.Render(" DRILL ") + " " + p.t(v.Drill) + "  " + strings.Join(parts, " · ")
	}
	return []string{ends(line, who+" ", p.w)}
}

// head names the step and its roll.
func (p page) head() []string {
	s := p.v.Step
	if s.Title == "" {
		return nil
	}
	out := []string{ends(strings.Repeat(" ", margin)+p.title(), p.roll()+strings.Repeat(" ", margin), p.w)}
	if len(p.v.Clocks) > 0 {
		out = append(out, p.clocks())
	}
	return out
}

// title is the step's name, number and mark.
func (p page) title() string {
	s := p.v.Step
	out := p.st.bold.Render(p.t(s.Title))
	if s.Number > 0 {
		out += fmt.Sprintf(", step %d of %d", s.Number, len(procedure.Routine()))
	}
	if s.Mark != "" {
		out += ": " + p.t(s.Mark)
	}
	return out
}

// roll is the label with its camera's letter and colour word.
func (p page) roll() string {
	s := p.v.Step
	if s.Roll == "" {
		return ""
	}
	out := p.st.bold.Render(p.label(s.Roll))
	if s.Camera != "" {
		out += "  camera " + procedure.Plain(string(s.Camera))
	}
	if s.Colour != "" {
		out += ", " + p.st.block(s.Colour) + p.t(s.Colour) + " tape"
	}
	return out
}

// clockWords name the clocks that the desk knows; another one is shown by its own name.
var clockWords = map[string]string{"start": "Seated for", "desk": "On the desk for", "look": "Age of the fresh look:"}

// clock is one clock in words.
func (p page) clock(c procedure.Clock) string {
	name, ok := clockWords[c.Name]
	if !ok {
		name = p.t(c.Name)
	}
	out := name + " " + p.st.bold.Render(procedure.Clockface(c.Since))
	if c.Limit > 0 {
		out += " of " + procedure.Clockface(c.Limit)
	}
	if c.Over {
		out += ", " + p.st.reverse.Render(" over the limit ")
	}
	return out
}

func (p page) clocks() string {
	var cs []string
	for _, c := range p.v.Clocks {
		cs = append(cs, p.clock(c))
	}
	return strings.Repeat(" ", margin) + strings.Join(cs, " · ")
}

// hands is what the hands do; in brief, or where room is short, in one line.
func (p page) hands(tight int) []string {
	s := p.v.Step
	if (p.v.Brief || tight >= handsBrief || len(s.Hands) == 0) && s.Brief != "" {
		return p.wrap(p.t(s.Brief), 0)
	}
	var out []string
	for _, h := range s.Hands {
		out = append(out, p.wrap(p.t(h), 0)...)
	}
	return out
}

// shown are figures for the book.
func (p page) shown() []string {
	var out []string
	for _, f := range p.v.Shown {
		out = append(out, p.bold(p.wrap(p.t(f), 4))...)
	}
	return out
}

// amiss is what does not add up at the close, above the question what to do about it.
func (p page) amiss(tight int) []string {
	as, more := p.v.Amiss, 0
	if few := 3; tight >= copyBrief && len(as) > few {
		as, more = as[:few], len(as)-few
	}
	var out []string
	for _, a := range as {
		out = append(out, p.bold(p.wrap("Open: "+p.t(a), 0))...)
	}
	if more > 0 {
		out = append(out, p.wrap(fmt.Sprintf("and %d more lines; a larger window shows them, and the hand-over", more), 0)...)
	}
	return out
}

// asked is the prompt with its options or its line; or what the program is waiting for.
func (p page) asked(m *model) []string {
	if m.command != nil {
		return p.line(m.command.question, m.command.entry)
	}
	var out []string
	if p.v.Working != "" {
		out = append(out, p.wrap("Now: "+p.t(p.v.Working)+".", 0)...)
	}
	q := p.v.Prompt
	switch {
	case q == nil:
		return out
	case q.Kind == procedure.PromptChoice:
		return append(out, p.choice(q)...)
	case m.entry.field != nil:
		for l := range strings.SplitSeq(m.entry.field.View(), "\n") {
			out = append(out, strings.Repeat(" ", margin)+l)
		}
		return out
	}
	return append(out, p.line(procedure.Plain(question(q)), m.entry)...)
}

func (p page) line(q string, e entry) []string {
	return append(p.bold(p.wrap(q, 0)), strings.Repeat(" ", margin)+e.line.View())
}

// choice is a question with its options, each with its key. Questions are the desk's own and are not hidden.
func (p page) choice(q *procedure.Prompt) []string {
	out := p.bold(p.wrap(procedure.Plain(q.Question), 0))
	for _, o := range q.Options {
		lines := p.wrap(procedure.Plain(o.Text), 5)
		lines[0] = strings.Repeat(" ", margin) + "  " + p.st.bold.Render(procedure.Plain(o.Key)) + lines[0][margin+3:]
		out = append(out, lines...)
	}
	if q.Default != "" {
		out = append(out, p.wrap("[Enter: "+procedure.Plain(q.Default)+"]", 2)...)
	}
	return out
}

func rule(w int) string { return strings.Repeat("─", max(0, w)) }
