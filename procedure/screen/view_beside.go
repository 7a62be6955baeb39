package screen

import (
	"fmt"
	"strings"

	"github.com/charmbracelet/x/ansi"

	"twobin/procedure"
)

// gradeWords stand before a message, so that its weight does not hang on where or how it is drawn. Plain information
// has none.
var gradeWords = map[string]string{"look": "Attention: ", "stop": "Stop: "}

// notices are the messages, newest first: what happened, what is safe, what to do now.
func (p page) notices(tight int, trouble string) []string {
	var out []string
	if trouble != "" {
		out = p.notice(procedure.Notice{Grade: "look", What: "That could not be done: " + trouble, Do: "try again; if it stays like this, quit. The shift goes on where it left off."})
	}
	show := 3
	switch {
	case tight >= newestOnly:
		show = 1
	case tight >= copyBrief:
		show = 2
	}
	ns := p.v.Notices
	for i := len(ns) - 1; i >= 0; i-- {
		if len(ns)-i > show {
			word := "messages"
			if i == 0 {
				word = "message"
			}
			return append(out, p.wrap(fmt.Sprintf("and %d earlier %s", i+1, word), 0)...)
		}
		out = append(out, p.notice(ns[i])...)
	}
	return out
}

func (p page) notice(n procedure.Notice) []string {
	out := p.wrap(gradeWords[n.Grade]+p.t(n.What), 0)
	if n.Grade != "info" {
		out = p.bold(out)
	}
	if n.Safe != "" {
		out = append(out, p.wrap("Safe: "+p.t(n.Safe), 0)...)
	}
	if n.Do != "" {
		out = append(out, p.wrap("Now: "+p.t(n.Do), 0)...)
	}
	return out
}

// copying is the running copy: figures of the whole, then one line a destination. Where the prompt asks for figures or
// a label, only shares and time are shown.
func (p page) copying(tight int) []string {
	c := p.v.Copy
	if c == nil {
		return nil
	}
	line := fmt.Sprintf("%s %s: ", p.label(c.Roll), p.t(c.Phase))
	if p.hide {
		line += share(c.Done, c.Bytes)
	} else {
		line += fmt.Sprintf("%d of %d files, %s of %s", c.FilesDone, c.Files, procedure.SizeText(c.Done), procedure.SizeText(c.Bytes))
	}
	if !p.hide && c.PerSecond > 0 {
		line += ", " + procedure.SizeText(c.PerSecond) + "/s"
	}
	if c.LeftKnown {
		line += ", " + procedure.Clockface(c.Left) + " left"
	}
	out := p.wrap(line, 0)
	if tight >= copyBrief {
		return out
	}
	for _, d := range c.Dests {
		out = append(out, p.dest(d, c.Bytes)...)
	}
	return out
}

// dest is one destination's line. Where the line is short the last parts are left out: written and read back, then the
// time left, are what decides.
func (p page) dest(d procedure.DestView, all int64) []string {
	name := pad(cut(p.t(d.Name), 16), 17)
	parts := []string{"written " + share(d.Written, all), "read back " + share(d.Read, all)}
	if !p.hide {
		parts = []string{"written " + procedure.SizeText(d.Written), "read back " + procedure.SizeText(d.Read)}
	}
	if d.LeftKnown {
		parts = append(parts, procedure.Clockface(d.Left)+" left")
	}
	if d.PerSecond > 0 && !p.hide {
		parts = append(parts, procedure.SizeText(d.PerSecond)+"/s")
	}
	if d.FreeText != "" && !p.hide {
		parts = append(parts, p.t(d.FreeText))
	}
	switch {
	case d.Gone:
		parts = []string{"is no longer there"}
	case d.Fault != "":
		parts = []string{"failed: " + p.t(d.Fault)}
	}
	line := name + parts[0]
	for _, part := range parts[1:] {
		if ansi.StringWidth(line)+2+ansi.StringWidth(part) > p.text()-2 {
			break
		}
		line += ", " + part
	}
	return []string{strings.Repeat(" ", margin+2) + cut(line, p.text()-2)}
}

// share is a part in per cent, rounded down.
func share(part, all int64) string {
	if all <= 0 {
		return "0 %"
	}
	return fmt.Sprintf("%d %%", min(100, int64(float64(part)/float64(all)*100)))
}

// notes are the open notes of the day; their number where room is short.
func (p page) notes(tight int) []string {
	ns := p.v.Notes
	if len(ns) == 0 {
		return nil
	}
	const few = 2
	if tight >= notesCounted || len(ns) > few {
		return p.wrap(fmt.Sprintf("Open notes: %d, on the board.", len(ns)), 0)
	}
	var out []string
	for _, n := range ns {
		out = append(out, strings.Repeat(" ", margin)+cut("Note "+p.note(n), p.text()))
	}
	return out
}

// note is a note's number, what it is pinned to, and its text.
func (p page) note(n procedure.Note) string {
	on := ""
	switch {
	case n.Roll != "":
		on = ", " + p.label(n.Roll)
	case n.Camera != "":
		on = ", camera " + procedure.Plain(string(n.Camera))
	}
	return fmt.Sprintf("%d%s: %s", n.ID, on, p.t(n.Text))
}
