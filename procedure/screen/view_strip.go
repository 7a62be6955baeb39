package screen

import (
	"fmt"
	"strings"

	"github.com/charmbracelet/x/ansi"

	"twobin/procedure"
)

// strip mirrors the desk, three lines and a rule: red bin at the left, hand, reader and desk in the middle, green bin
// at the right. Rolls on hold keep their red tape and stand under the red bin, with their word.
func (p page) strip() []string {
	s := p.v.Strip
	red, hand, reader, desk := p.w*36/100, 10, p.w*18/100, p.w*12/100
	green := p.w - red - hand - reader - desk - 1
	in, note := p.label(s.Reader), p.t(s.ReaderNote)
	if s.Reader == "" && note != "" {
		in, note = note, ""
	}
	heads := pad(" "+p.st.block("red")+p.st.bold.Render(fmt.Sprintf("Red bin: %d", len(s.Red))), red) +
		pad(p.st.bold.Render("In hand"), hand) + pad(p.st.bold.Render("Reader"), reader) + pad(p.st.bold.Render("Desk"), desk) +
		right(p.st.block("green")+p.st.bold.Render(fmt.Sprintf("Green bin: %d", len(s.Green))), green)
	rolls := pad(" "+p.bin(s.Red, red-2), red) + pad(p.label(s.Hand), hand) + pad(in, reader) +
		pad(p.few(s.Desk, desk-1), desk) + right(p.bin(s.Green, green-1), green)
	held := ""
	if len(s.Held) > 0 {
		const word = "On hold: "
		held = word + p.few(s.Held, red-2-len(word))
	}
	last := pad(" "+held, red) + pad("", hand) + pad(note, reader)
	return []string{heads, rolls, last, rule(p.w)}
}

func right(s string, w int) string {
	s = cut(s, w)
	return strings.Repeat(" ", max(0, w-ansi.StringWidth(s))) + s
}

// bin is a bin's labels, "empty" for none.
func (p page) bin(ls []procedure.Label, w int) string {
	if len(ls) == 0 {
		return "empty"
	}
	return p.few(ls, w)
}

// few is as many labels as fit into w columns, and how many more there are; "-" for none.
func (p page) few(ls []procedure.Label, w int) string {
	if len(ls) == 0 {
		return "-"
	}
	for n := len(ls); n > 0; n-- {
		words := make([]string, n, n+1)
		for i, l := range ls[:n] {
			words[i] = p.label(l)
		}
		if more := len(ls) - n; more > 0 {
			words = append(words, fmt.Sprintf("+%d more", more))
		}
		if out := strings.Join(words, " "); ansi.StringWidth(out) <= w || n == 1 {
			return cut(out, w)
		}
	}
	return ""
}
