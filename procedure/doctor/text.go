package doctor

import (
	"fmt"
	"strings"
	"unicode"

	"golang.org/x/text/width"
)

// The screen that Text fits on, in cells.
const (
	screenWidth  = 80
	screenHeight = 24
	wordWidth    = 6  // "fine  "
	subjectWidth = 14 // the longest subject and two spaces
)

// Text is the report for a terminal of 80x24, without colour, each line ended. What must be acted on is always there:
// if all would not fit, the subjects that are fine are drawn together, then details are cut, latest first.
func (r Report) Text() string {
	for level := range 4 {
		if lines := r.draw(level); len(lines) <= screenHeight-1 || level == 3 {
			if over := len(lines) - (screenHeight - 1); over > 0 {
				lines = append(lines[:screenHeight-3], "      More than fits here: --json has all of it.", lines[len(lines)-1])
			}
			return strings.Join(lines, "\n") + "\n"
		}
	}
	return ""
}

// draw makes the lines. Level 0 shows all; 1 draws fine subjects together; 2 cuts what is seen to one row a subject;
// 3 also leaves out what to do where a shift can run anyway.
func (r Report) draw(level int) []string {
	out := []string{"Would a shift run here? " + r.At.Format("2006-01-02 15:04 -07:00")}
	var fine []string
	for _, l := range r.Lines {
		if level > 0 && l.Mark == Fine {
			fine = append(fine, l.Subject)
			continue
		}
		rows := fold(clean(l.Seen), screenWidth-wordWidth-subjectWidth)
		if level >= 2 {
			rows = []string{clip(clean(l.Seen), screenWidth-wordWidth-subjectWidth)}
		}
		for i, row := range rows {
			head := strings.Repeat(" ", wordWidth+subjectWidth)
			if i == 0 {
				head = pad(l.Mark.String(), wordWidth) + pad(l.Subject, subjectWidth)
			}
			out = append(out, head+row)
		}
		if l.Do == "" || level >= 3 && l.Mark != Stop {
			continue
		}
		indent := strings.Repeat(" ", wordWidth+subjectWidth)
		do := fold("Do: "+clean(l.Do), screenWidth-wordWidth-subjectWidth)
		if level >= 2 {
			do = []string{clip("Do: "+clean(l.Do), screenWidth-wordWidth-subjectWidth)}
		}
		for _, row := range do {
			out = append(out, indent+row)
		}
	}
	if len(fine) > 0 {
		rows := fold(strings.Join(fine, ", "), screenWidth-wordWidth)
		out = append(out, pad(Fine.String(), wordWidth)+rows[0])
		for _, row := range rows[1:] {
			out = append(out, strings.Repeat(" ", wordWidth)+row)
		}
	}
	return append(out, r.Verdict())
}

// fold breaks text at spaces into rows of at most cells cells; a word that is too long is broken where it must be.
func fold(text string, cells int) []string {
	var rows []string
	row, used := "", 0
	for word := range strings.FieldsSeq(text) {
		w := cellsOf(word)
		if used > 0 && used+1+w <= cells {
			row, used = row+" "+word, used+1+w
			continue
		}
		if used > 0 {
			rows = append(rows, row)
		}
		for w > cells {
			head := take(word, cells)
			rows, word = append(rows, head), word[len(head):]
			w = cellsOf(word)
		}
		row, used = word, w
	}
	return append(rows, row)
}

// clip cuts text to cells cells, with three dots where something is missing.
func clip(text string, cells int) string {
	if cellsOf(text) <= cells {
		return text
	}
	return take(text, cells-3) + "..."
}

// take is the longest beginning of s that has at most cells cells.
func take(s string, cells int) string {
	n := 0
	for i, r := range s {
		if n += cellOf(r); n > cells {
			return s[:i]
		}
	}
	return s
}

func pad(s string, cells int) string { return s + strings.Repeat(" ", max(cells-cellsOf(s), 1)) }

func cellsOf(s string) int {
	n := 0
	for _, r := range s {
		n += cellOf(r)
	}
	return n
}

// cellOf is how many cells a terminal gives a character, at most.
func cellOf(r rune) int {
	switch width.LookupRune(r).Kind() {
	case width.EastAsianWide, width.EastAsianFullwidth:
		return 2
	}
	return 1
}

// clean replaces what a terminal would obey instead of show. Names of drives are text that others wrote.
func clean(s string) string {
	return strings.Map(func(r rune) rune {
		if r == ' ' || unicode.IsGraphic(r) && !unicode.Is(unicode.Zs, r) {
			return r
		}
		return '?'
	}, s)
}

// bytesText writes a number of bytes in the units of IEC 80000-13 with a power of ten: 412 GB.
func bytesText(n int64) string {
	units := []string{"bytes", "kB", "MB", "GB", "TB", "PB"}
	f, i := float64(n), 0
	for f >= 999.5 && i < len(units)-1 {
		f, i = f/1000, i+1
	}
	if f < 10 && i > 0 {
		return fmt.Sprintf("%.1f %s", f, units[i])
	}
	return fmt.Sprintf("%.0f %s", f, units[i])
}
