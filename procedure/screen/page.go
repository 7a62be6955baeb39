package screen

import (
	"regexp"
	"slices"
	"strings"

	"github.com/charmbracelet/x/ansi"

	"twobin/procedure"
)

// Widths of text: the margin on both sides, and the longest line that the eye finds its way back from.
const (
	margin  = 2
	maxText = 100
)

// hidden stands for a label that the screen must not show.
const hidden = "····"

// labelLike is text that could be a label in its normal form (see procedure.Label).
var labelLike = regexp.MustCompile(`(?i)\b[a-z]{1,2}[0-9]{3,4}\b`)

// page draws one view: a plain value, so that drawing changes nothing and needs no clock. Every text from outside goes
// through t before it is drawn.
type page struct {
	w, h  int
	st    styles
	v     procedure.View
	hide  bool
	known []string
}

func (m *model) page(v procedure.View) page {
	p := page{w: m.w, h: m.h, st: m.st, v: v, hide: v.Prompt != nil && v.Prompt.Hide}
	if p.hide {
		p.known = labelsOf(v)
	}
	return p
}

// labelsOf lists the labels that a view knows, longest first so that A0031 is not left as a hidden A003 and a 1.
func labelsOf(v procedure.View) []string {
	s := v.Strip
	all := slices.Concat(s.Red, s.Held, s.Desk, s.Green, []procedure.Label{s.Hand, s.Reader, v.Step.Roll})
	if v.Copy != nil {
		all = append(all, v.Copy.Roll)
	}
	for _, n := range v.Notes {
		all = append(all, n.Roll)
	}
	var out []string
	for _, l := range all {
		if l != "" {
			out = append(out, string(l))
		}
	}
	slices.SortFunc(out, func(a, b string) int { return len(b) - len(a) })
	return slices.Compact(out)
}

// t makes text from outside safe to draw, and hides labels where they must not be seen.
func (p page) t(s string) string {
	s = procedure.Plain(s)
	if !p.hide {
		return s
	}
	s = labelLike.ReplaceAllString(s, hidden)
	for _, l := range p.known {
		s = strings.ReplaceAll(s, l, hidden)
	}
	return s
}

// label is one label, or what stands there instead.
func (p page) label(l procedure.Label) string {
	switch {
	case l == "":
		return "-"
	case p.hide:
		return hidden
	}
	return procedure.Plain(string(l))
}

// wrap breaks text to the page's text width, with an indent on every line.
func (p page) wrap(s string, indent int) []string {
	lines := strings.Split(ansi.Wrap(s, p.text()-indent, ""), "\n")
	for i := range lines {
		lines[i] = strings.Repeat(" ", margin+indent) + lines[i]
	}
	return lines
}

func (p page) text() int { return max(20, min(p.w, maxText)-2*margin) }

// bold draws every line bold.
func (p page) bold(lines []string) []string {
	for i := range lines {
		lines[i] = p.st.bold.Render(lines[i])
	}
	return lines
}

// cut shortens a line to w columns, with a sign that something is missing.
func cut(s string, w int) string { return ansi.Truncate(s, max(0, w), "…") }

// pad fills a line up to w columns; a longer one is cut.
func pad(s string, w int) string {
	s = cut(s, w)
	return s + strings.Repeat(" ", max(0, w-ansi.StringWidth(s)))
}

// ends puts one text at the left end and one at the right end of w columns; the left one gives way.
func ends(left, right string, w int) string {
	rw := ansi.StringWidth(right)
	return pad(left, w-rw-1) + " " + cut(right, w-1)
}

// centre puts a line in the middle of w columns.
func centre(s string, w int) string {
	s = cut(s, w)
	return strings.Repeat(" ", (w-ansi.StringWidth(s))/2) + s
}

// fill makes a page of exactly h lines: body at the top, foot at the bottom. A body that is too long loses its end, and
// says so.
func (p page) fill(body, foot []string) string {
	room := max(0, p.h-len(foot))
	if len(body) > room && room > 0 {
		body = append(slices.Clone(body[:room-1]), strings.Repeat(" ", margin)+"… more than this window shows")
	}
	lines := make([]string, 0, p.h)
	lines = append(lines, body...)
	for len(lines) < room {
		lines = append(lines, "")
	}
	lines = append(lines, foot...)
	for i := range lines {
		lines[i] = cut(lines[i], p.w)
	}
	return strings.Join(lines[:min(len(lines), p.h)], "\n")
}

// drill is the word that stands on every screen of a drill; nil in a shift.
func (p page) drill() []string {
	if p.v.Drill == "" {
		return nil
	}
	return []string{p.st.reverse.Render(" DRILL ") + " " + p.t(p.v.Drill) + ": dummy cards only"}
}
