// Package pocket makes the routine small enough for a pocket: one page, and strips for label tape of 12 mm. It takes
// every word from [procedure.Routine] and [procedure.Commands], the data that the program itself walks, so that paper
// and screen cannot say different things. Pure; may be called concurrently. Package paper prints it as PDF.
package pocket

import (
	"fmt"
	"strings"

	"twobin/procedure"
)

// Step is one step on the card.
type Step struct {
	Number int
	Title  string
	// Marks are the words "critical" and "optional", as far as they apply.
	Marks []string
	Hands []string
	Brief string
}

// Head is the step's first line: "3 Seat (critical)".
func (s Step) Head() string {
	h := fmt.Sprintf("%d %s", s.Number, s.Title)
	if len(s.Marks) > 0 {
		h += " (" + strings.Join(s.Marks, ", ") + ")"
	}
	return h
}

// Card is the whole card.
type Card struct {
	Title string
	Under string
	Steps []Step
	// Always are the words that may be said at any step.
	Always []procedure.Command
	Foot   string
}

// always are the commands that belong on paper: those for trouble. The others one finds on the screen.
var always = [...]string{"put back", "hold", "away", "misfit", "note"}

// Of is the card of the routine.
func Of() Card {
	c := Card{
		Title: "The routine, for every roll, in this order",
		Under: "Red bin left: the only copy. Green bin right: proven safe, ready to go back.",
		Foot:  "Not sure? Put back, or put it on hold, and ask. Critical: no talk, no phone, to the end of the step.",
	}
	for _, s := range procedure.Routine() {
		k := Step{Number: s.Step.Number(), Title: s.Title, Hands: s.Hands, Brief: s.Brief}
		if s.Critical {
			k.Marks = append(k.Marks, "critical")
		}
		if s.Optional {
			k.Marks = append(k.Marks, "optional")
		}
		c.Steps = append(c.Steps, k)
	}
	for _, w := range always {
		for _, k := range procedure.Commands() {
			if k.Word == w {
				c.Always = append(c.Always, k)
			}
		}
	}
	return c
}

// The limits of a text page: narrower than 40 columns the lines fall apart.
const (
	minWidth = 40
	indent   = "   "
)

// Text is the card as text of at most width columns (40 at least), each line ended by a newline.
func (c Card) Text(width int) string {
	width = max(width, minWidth)
	var b strings.Builder
	put := func(first, rest, text string) {
		for i, l := range wrap(text, width-len(first)) {
			in := rest
			if i == 0 {
				in = first
			}
			b.WriteString(in + l + "\n")
		}
	}
	put("", "", c.Title)
	put("", "", c.Under)
	b.WriteByte('\n')
	for _, s := range c.Steps {
		put("", "", s.Head())
		put(indent, indent, strings.Join(s.Hands, " "))
	}
	b.WriteString("\nAt any time\n")
	for _, k := range c.Always {
		put(indent, indent, k.Word+": "+k.Text)
	}
	b.WriteByte('\n')
	put("", "", c.Foot)
	return b.String()
}

// wrap breaks text into lines of at most width bytes at blanks; a longer word stands alone.
func wrap(text string, width int) []string {
	var out []string
	line := ""
	for w := range strings.FieldsSeq(text) {
		switch {
		case line == "":
			line = w
		case len(line)+1+len(w) <= width:
			line += " " + w
		default:
			out = append(out, line)
			line = w
		}
	}
	return append(out, line)
}

// Strip is one strip of label tape: two lines.
type Strip struct{ Head, Line string }

// Strips gives one strip a step, for the places where the steps are done.
func (c Card) Strips() []Strip {
	var out []Strip
	for _, s := range c.Steps {
		out = append(out, Strip{s.Head(), s.Brief})
	}
	return out
}

// StripText is the strips as text, two lines each and an empty one between.
func (c Card) StripText() string {
	var b strings.Builder
	for i, s := range c.Strips() {
		if i > 0 {
			b.WriteByte('\n')
		}
		b.WriteString(s.Head + "\n" + s.Line + "\n")
	}
	return b.String()
}
