package screen

import (
	"strings"

	"twobin/procedure"
)

// panelFrame is how many lines a panel has around its text, and below the board.
const panelFrame = 9

// panel is one text over the whole screen. Any key but the scrolling ones closes it.
func (p page) panel(title string, lines []string, scroll int) string {
	top := append(p.header(), rule(p.w), strings.Repeat(" ", margin)+p.st.bold.Render(title), "")
	foot := []string{rule(p.w), " any key: back"}
	room := max(1, p.h-len(top)-len(foot))
	if over := len(lines) - room; over > 0 {
		lines = lines[min(scroll, over):]
		if len(lines) > room {
			lines = lines[:room]
		}
		foot[1] = " up, down, space: more of it   any other key: back"
	}
	return p.fill(append(top, lines...), foot)
}

// why is the reason of the step.
func (p page) why() []string {
	s := p.v.Step
	out := []string{strings.Repeat(" ", margin) + p.title(), ""}
	if s.Why == "" {
		return append(out, p.wrap("Nothing is written here about this step.", 0)...)
	}
	out = append(out, p.wrap(p.t(s.Why), 0)...)
	if len(s.Hands) > 0 {
		out = append(out, "")
		for _, h := range s.Hands {
			out = append(out, p.wrap(p.t(h), 0)...)
		}
	}
	if s.Next != "" {
		out = append(out, "")
		out = append(out, p.wrap("After it: "+p.t(s.Next)+".", 0)...)
	}
	return out
}

// board is the desk's board; without one, every roll with its place, and the open notes. It tells where each roll is
// and what came before it, so it is not shown while a label or a figure is asked.
func (p page) board(drawn []string) []string {
	if p.hide {
		return p.wrap("Not now: a label or a figure is asked, and the board could tell it.", 0)
	}
	if drawn != nil {
		out := make([]string, len(drawn))
		for i, l := range drawn {
			out[i] = p.t(l)
		}
		if len(p.v.Notes) > 0 {
			out = append(out, "", " A note that is done: press its number; enter ends it.")
		}
		return out
	}
	s := p.v.Strip
	var out []string
	add := func(place string, ls []procedure.Label, note string) {
		for _, l := range ls {
			if l != "" {
				out = append(out, strings.Repeat(" ", margin)+pad(p.label(l), 8)+pad(place, 12)+p.t(note))
			}
		}
	}
	add("red bin", s.Red, "")
	add("on hold", s.Held, "")
	add("in hand", []procedure.Label{s.Hand}, "")
	add("reader", []procedure.Label{s.Reader}, s.ReaderNote)
	add("desk", s.Desk, "")
	add("green bin", s.Green, "")
	if len(out) == 0 {
		out = p.wrap("No roll is here.", 0)
	}
	if len(p.v.Notes) > 0 {
		out = append(out, "", strings.Repeat(" ", margin)+p.st.bold.Render("Open notes")+" (done: press its number; enter ends it)")
	}
	for _, n := range p.v.Notes {
		out = append(out, p.wrap(p.note(n), 0)...)
	}
	return out
}

// causes are the technical causes behind the messages, newest first.
func (p page) causes() []string {
	var out []string
	for i := len(p.v.Notices) - 1; i >= 0; i-- {
		n := p.v.Notices[i]
		if n.Cause == "" {
			continue
		}
		out = append(out, p.bold(p.wrap(p.t(n.What), 0))...)
		out = append(out, p.wrap(p.t(n.Cause), 2)...)
		out = append(out, "")
	}
	if len(out) == 0 {
		return p.wrap("The messages on the screen have no technical cause.", 0)
	}
	return out
}

// world is what a trainee sees and hears in a drill: the simulated outside, so it may hold labels and is not hidden.
func (p page) world() []string {
	if len(p.v.World) == 0 && p.v.Reason == "" {
		return nil
	}
	out := p.wrap("DRILL, around you:", 0)
	for _, l := range p.v.World {
		out = append(out, p.wrap(procedure.Plain(l), 2)...)
	}
	if p.v.Reason != "" {
		out = append(out, p.wrap("Why: "+p.t(p.v.Reason), 2)...)
	}
	return out
}

// around is the drill's world in the ordinary view. Where room is shortest the coach's reason waits: what is to be seen
// and heard does not.
func (p page) around(tight int) []string {
	if tight >= reasonLater {
		p.v.Reason = ""
	}
	return p.world()
}

// act is the line for something that is done in the drill, with all that is around the trainee.
func (p page) act(m *model, top []string) string {
	body := append(top, p.line(m.command.question, m.command.entry)...)
	body = append(body, "")
	return p.fill(append(body, p.world()...), append([]string{rule(p.w)}, p.help(p.helpKeys(m))...))
}

// away is the screen as it was left, with the place in the routine as the largest thing on it.
func (p page) away(m *model) string {
	text := m.view.AwayText
	body := append(p.header(), p.strip()...)
	if m.acting() {
		return p.act(m, body)
	}
	if len(text) == 0 {
		text = []string{"You are at: " + p.v.Step.Title + ".", "Next is: " + p.v.Step.Next + "."}
	}
	body = append(body, "", strings.Repeat(" ", margin)+"Called away. Nothing is asked until you are back.", "")
	band := func(s string) string { return p.st.reverse.Render(pad(s, p.w)) }
	body = append(body, band(""))
	for _, t := range text {
		body = append(body, band(centre(p.t(t), p.w)), band(""))
	}
	body = append(body, "")
	if s := p.v.Step; s.Title != "" && s.Roll != "" {
		body = append(body, strings.Repeat(" ", margin)+p.roll(), "")
	}
	foot := []string{rule(p.w), " any key when you are back   ctrl+q quit"}
	if p.v.Drill != "" {
		foot[1] += "   ctrl+w do something in the drill"
	}
	if m.backAsk {
		body = append(body, p.bold(p.wrap("Back?", 0))...)
		body = append(body, strings.Repeat(" ", margin)+"  "+p.st.bold.Render("b")+"  yes, back at this place")
		foot[1] = " b back   ctrl+q quit"
	}
	return p.fill(append(body, p.world()...), foot)
}
