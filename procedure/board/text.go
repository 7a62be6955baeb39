package board

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/charmbracelet/x/ansi"

	"twobin/procedure"
)

// The smallest terminal that a board makes sense on.
const (
	minWidth  = 70
	minHeight = 10
)

// column is one place in the table; weight is its share of the columns that are left over.
type column struct {
	title  string
	width  int // at 80 columns
	places []procedure.Place
}

func columns() []column {
	return []column{
		{"red bin", 10, []procedure.Place{procedure.PlaceRedBin}},
		{"in work", 11, []procedure.Place{procedure.PlaceHand, procedure.PlaceReader}},
		{"desk", 7, []procedure.Place{procedure.PlaceDesk}},
		{"green bin", 11, []procedure.Place{procedure.PlaceGreenBin}},
		{"returned", 11, []procedure.Place{procedure.PlaceReturned}},
		{"on hold", 7, nil},
		{"missing", 7, nil},
	}
}

// cameraWidth is the first column's width at 80 columns; with the others and one blank between two that makes 80.
const cameraWidth = 9

// Text draws one frame: at most height lines of at most width columns, each ended by a newline, without colour or
// control sequences. What has no room is counted, never left out without a word.
func (b Board) Text(width, height int) string {
	if width < minWidth || height < minHeight {
		return fit(fmt.Sprintf("board: needs %dx%d", minWidth, minHeight), max(1, width)) + "\n"
	}
	// Every camera first; what is below them gets the rest, and a quarter of the screen in any case.
	below := b.below(width, max(height-2-max(1, len(b.Cameras)), height/4))
	lines := []string{b.head(width)}
	lines = append(lines, b.table(width, height-1-len(below))...)
	if len(lines)+len(below) < height {
		lines = append(lines, "")
	}
	lines = append(lines, below...)
	return strings.Join(lines, "\n") + "\n"
}

func (b Board) head(width int) string {
	left := fmt.Sprintf("%s  day %d  station %s  %s", b.Production, b.Day, b.Station, b.Operator)
	switch {
	case b.Drill != "":
		left = "DRILL " + b.Drill + "  " + left
	case b.Production == "":
		left = "no shift"
	}
	if b.Closed {
		left = "closed  " + left
	}
	t := b.Totals
	right := fmt.Sprintf("%d of %d proven  %s", t.Proven, t.Rolls, b.At.Format("15:04:05"))
	room := width - ansi.StringWidth(right) - 2
	return pad(left, room) + "  " + right
}

// widths shares the width out: the columns that hold the most rolls grow first.
func widths(cols []column, width int) []int {
	w := make([]int, len(cols)+1)
	w[0] = cameraWidth
	total := cameraWidth + len(cols)
	for i, c := range cols {
		w[i+1] = c.width
		total += c.width
	}
	for i := 0; total < width; i = (i + 1) % len(w) {
		w[i]++
		total++
	}
	for i := 0; total > width; i = (i + 1) % len(w) {
		if w[i] > 8 && (i == 0 || w[i] > len(cols[i-1].title)) {
			w[i]--
			total--
		}
	}
	return w
}

func (b Board) table(width, room int) []string {
	cols := columns()
	w := widths(cols, width)
	cells := []string{pad("camera", w[0])}
	for i, c := range cols {
		cells = append(cells, pad(c.title, w[i+1]))
	}
	lines := []string{strings.TrimRight(strings.Join(cells, " "), " ")}
	if len(b.Cameras) == 0 {
		return append(lines, "no camera is set up yet")
	}
	show := b.Cameras
	if len(show) > room-1 {
		show = show[:max(0, room-2)]
	}
	for i := range show {
		c := &show[i]
		cells := []string{pad(strings.TrimSpace(c.Letter+" "+c.Colour), w[0])}
		for j, col := range cols {
			cells = append(cells, pad(c.cell(col, w[j+1]), w[j+1]))
		}
		lines = append(lines, strings.TrimRight(strings.Join(cells, " "), " "))
	}
	if rest := b.Cameras[len(show):]; len(rest) > 0 {
		n := 0
		for _, c := range rest {
			n += len(c.Rolls)
		}
		lines = append(lines, fit(fmt.Sprintf("and %d more cameras with %d rolls: no room here", len(rest), n), width))
	}
	return lines
}

// cell is what stands in one column of a camera's row.
func (c *Camera) cell(col column, width int) string {
	var nums []int
	switch col.title {
	case "missing":
		nums = slices.Clone(c.Missing)
	case "on hold":
		for _, r := range c.Rolls {
			if r.Hold != "" {
				nums = append(nums, r.Number)
			}
		}
	case "in work":
		return c.inWork(col, width)
	default:
		for _, r := range c.Rolls {
			if r.Hold == "" && r.place == col.places[0] {
				nums = append(nums, r.Number)
			}
		}
	}
	return numbers(nums, width)
}

// inWork names the one roll in hand or reader and which of both; of several, their numbers.
func (c *Camera) inWork(col column, width int) string {
	var nums []int
	word := ""
	for _, r := range c.Rolls {
		if r.Hold == "" && (r.place == col.places[0] || r.place == col.places[1]) {
			nums = append(nums, r.Number)
			word = "reader"
			if r.place == procedure.PlaceHand {
				word = "hand"
			} else if r.Copy == "copying" {
				word = "copying"
			}
		}
	}
	if len(nums) != 1 {
		return numbers(nums, width)
	}
	return fit(fmt.Sprintf("%03d %s", nums[0], word), width)
}

// numbers writes roll numbers, runs of them as first-last, as many as fit; "+3" counts the rest.
func numbers(nums []int, width int) string {
	slices.Sort(nums)
	type run struct{ first, last int }
	var runs []run
	for _, n := range nums {
		if k := len(runs) - 1; k >= 0 && runs[k].last+1 == n {
			runs[k].last = n
			continue
		}
		runs = append(runs, run{n, n})
	}
	out, done := "", 0
	for i, r := range runs {
		part := fmt.Sprintf("%03d", r.first)
		if r.last > r.first {
			part = fmt.Sprintf("%03d-%03d", r.first, r.last)
		}
		next := strings.TrimSpace(out + " " + part)
		after := done + r.last - r.first + 1
		mark := ""
		if i < len(runs)-1 {
			mark = fmt.Sprintf(" +%d", len(nums)-after)
		}
		if len(next)+len(mark) > width {
			break
		}
		out, done = next, after
	}
	switch {
	case done == len(nums):
		return out
	case done == 0:
		return fit(fmt.Sprintf("%d rolls", len(nums)), width)
	}
	return fmt.Sprintf("%s +%d", out, len(nums)-done)
}

// below is everything under the table, in at most room lines: what the shift was closed with,
// what lingers, room on the drives, notes.
func (b Board) below(width, room int) []string {
	var linger, drives, notes []string
	for _, l := range b.Lingers {
		linger = append(linger, l.text())
	}
	for _, d := range b.Drives {
		drives = append(drives, b.driveText(d))
	}
	for _, n := range b.Notes {
		notes = append(notes, strings.TrimSpace(fmt.Sprintf("%d %s", n.ID, strings.TrimSpace(n.On+" "+n.Text))))
	}
	if len(linger) == 0 {
		linger = []string{"nothing"}
	}
	sections := []struct {
		name  string
		items []string
		room  int
	}{{"left open", b.OpenAtEnd, 0}, {"lingers", linger, 0}, {"room left", drives, 0}, {"notes", notes, 0}}
	// One line each first, in this order; then more where there is more to say.
	for more := true; more && room > 0; {
		more = false
		for i := range sections {
			if s := &sections[i]; room > 0 && s.room < len(s.items) {
				s.room++
				room--
				more = true
			}
		}
	}
	var out []string
	for _, s := range sections {
		for i := 0; i < s.room; i++ {
			name := ""
			if i == 0 {
				name = s.name
			}
			text := s.items[i]
			if i == s.room-1 && s.room < len(s.items) {
				text = fmt.Sprintf("and %d more", len(s.items)-i)
				if i == 0 {
					text = fmt.Sprintf("%d, no room to list them", len(s.items))
				}
			}
			out = append(out, strings.TrimRight(fit(pad(name, cameraWidth)+" "+text, width), " "))
		}
	}
	return out
}

func (l Linger) text() string {
	d := procedure.Clockface(time.Duration(l.ForMS) * time.Millisecond)
	if l.Hold != "" {
		return fmt.Sprintf("%s on hold %s: %s", l.Label, d, l.Hold)
	}
	return fmt.Sprintf("%s %s %s, limit %s", l.Label, l.Place, d, procedure.Clockface(time.Duration(l.LimitMS)*time.Millisecond))
}

func (b Board) driveText(d Drive) string {
	parts := []string{"room not known"}
	if d.Free >= 0 {
		parts[0] = procedure.SizeText(d.Free)
		if d.Reckoned {
			parts[0] = "about " + parts[0]
		}
	}
	if d.Rolls >= 0 {
		parts = append(parts, fmt.Sprintf("%d rolls of %s", d.Rolls, procedure.SizeText(b.UsualBytes)))
	}
	if d.Hours >= 0 {
		parts = append(parts, fmt.Sprintf("%.1f h at today's rate", d.Hours))
	}
	if d.Short {
		parts = append([]string{"short"}, parts...)
	}
	if d.Gone {
		parts = append([]string{"not there now"}, parts...)
	}
	return d.Name + ": " + strings.Join(parts, ", ")
}

// fit cuts text to a width in columns; "…" shows that it was cut.
func fit(s string, width int) string { return ansi.Truncate(s, width, "…") }

// pad cuts or fills text to exactly width columns.
func pad(s string, width int) string {
	s = fit(s, width)
	return s + strings.Repeat(" ", max(0, width-ansi.StringWidth(s)))
}
