package text

import (
	"strings"

	"github.com/charmbracelet/x/ansi"

	"twobin/procedure"
)

// Width is the widest line in columns.
const Width = 80

// column is one column of a table: its head, its width in cells, and on which side its texts stand.
type column struct {
	head  string
	width int
	right bool
}

// page gathers lines.
type page struct{ b strings.Builder }

// line adds a line as it is; what is in it from outside must be safe already.
func (p *page) line(s string) {
	p.b.WriteString(strings.TrimRight(s, " "))
	p.b.WriteByte('\n')
}

func (p *page) blank() { p.b.WriteByte('\n') }

// head is a heading of the first order, sub of the second.
func (p *page) head(s string) {
	if p.b.Len() > 0 {
		p.blank()
	}
	p.line(ansi.Truncate(strings.ToUpper(safe(s)), Width, "~"))
}

func (p *page) sub(s string) {
	p.blank()
	s = ansi.Truncate(safe(s), Width, "~")
	p.line(s)
	p.line(strings.Repeat("-", ansi.StringWidth(s)))
}

// wrap adds a sentence, broken at blanks, the lines after the first one indented.
func (p *page) wrap(first, rest, s string) {
	line, used := first, ansi.StringWidth(first)
	empty := true
	for _, w := range strings.Fields(safe(s)) {
		n := ansi.StringWidth(w)
		if !empty && used+1+n > Width {
			p.line(line)
			line, used, empty = rest, ansi.StringWidth(rest), true
		}
		if !empty {
			line, used = line+" ", used+1
		}
		for used+n > Width && n > 0 { // a word longer than a line, like a path
			room := max(1, Width-used)
			p.line(line + ansi.Truncate(w, room, ""))
			w = ansi.TruncateLeft(w, room, "")
			n = ansi.StringWidth(w)
			line, used = rest, ansi.StringWidth(rest)
		}
		line, used, empty = line+w, used+n, false
	}
	p.line(line)
}

// row adds a row of a table. Cells are made safe and cut.
func (p *page) row(cols []column, cells ...string) {
	var b strings.Builder
	for i, c := range cols {
		t := ""
		if i < len(cells) {
			t = safe(cells[i])
		}
		t = ansi.Truncate(t, c.width, "~")
		pad := strings.Repeat(" ", max(0, c.width-ansi.StringWidth(t)))
		if i > 0 {
			b.WriteByte(' ')
		}
		if c.right {
			b.WriteString(pad + t)
		} else {
			b.WriteString(t + pad)
		}
	}
	p.line(b.String())
}

// heads adds the head of a table.
func (p *page) heads(cols []column) {
	cells := make([]string, len(cols))
	total := len(cols) - 1
	for i, c := range cols {
		cells[i] = c.head
		total += c.width
	}
	p.row(cols, cells...)
	p.line(strings.Repeat("-", total))
}

// safe makes a text from outside fit for a terminal, on one line.
func safe(s string) string { return procedure.Plain(s) }
