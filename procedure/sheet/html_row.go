package sheet

import (
	"html/template"
	"strconv"
	"strings"

	"twobin/procedure"
)

// markup builds a piece of a page: raw takes our own markup, text everything that came from people or cards. A template
// does the same ten times slower, and this is done for every one of ten thousand rolls.
type markup struct{ strings.Builder }

func (m *markup) raw(s string) *markup { m.WriteString(s); return m }

func (m *markup) text(s string) *markup { m.WriteString(template.HTMLEscapeString(s)); return m }

// put writes before, text and after; nothing for no text.
func (m *markup) put(before, text, after string) *markup {
	if text != "" {
		m.raw(before).text(text).raw(after)
	}
	return m
}

// html is the row of a roll in the page's table.
func (r *Row) html() template.HTML {
	m := &markup{}
	m.Grow(1 << 11)
	m.raw("<tr>\n<td>")
	if r.Drill != "" {
		m.raw(`<span class="loud">DRILL</span><br>`)
	}
	m.raw(`<b class="label">`).text(r.Label).raw("</b><br>camera ").text(r.Camera + ", " + r.Colour).raw("<br>day ").
		text(strconv.Itoa(r.Day)).raw(`, <span class="whole">`).text(r.Date).raw("</span><br>station ").text(r.Station).raw("<br>")
	if r.Safe {
		m.text(r.Where())
	} else {
		m.raw(`<span class="loud">not safe yet: `).text(r.Where()).raw("</span>")
	}
	m.raw("</td>\n<td>")
	if r.Serial != "" {
		m.text(r.Serial)
	} else {
		m.raw(`<span class="soft">serial not logged</span>`)
	}
	files, size := "", ""
	if r.FilesKnown {
		files, size = strconv.Itoa(r.Files), procedure.SizeText(r.Bytes)
	}
	m.raw("</td>\n<td class=\"num\">").text(files).raw("</td>\n<td class=\"num\">").text(size).raw("</td>\n<td class=\"when\">")
	m.put("", shortTime(r.First), "<br>to").put("<br>", shortTime(r.Last), "").raw("</td>\n<td>")
	for _, d := range r.Dests {
		m.raw("<p><b>").text(d.Name).raw("</b>: ").text(d.Result).put(`<br><span class="soft">hash list `, d.List, "</span>").raw("</p>")
	}
	m.raw("</td>\n<td class=\"when\">")
	for _, s := range stamps(r) {
		m.raw(s.Name + " " + s.At + "<br>")
	}
	m.text(r.Erase).raw("</td>\n<td>")
	m.put("<p>from ", r.From, "</p>").put("<p>operator ", strings.Join(r.Operators, ", "), "</p>").put("<p>returned to ", r.To, "</p>")
	m.raw("</td>\n<td>")
	r.remarks(m)
	return template.HTML(m.raw("</td>\n</tr>").String()) //nolint:gosec // every text went through the escaper
}

// remarks are the last column: notes, put backs, holds, questions, what could not be read.
func (r *Row) remarks(m *markup) {
	for _, n := range r.Notes {
		m.raw("<p>").text(n).raw("</p>")
	}
	if r.Backs > 0 {
		m.raw("<p>" + strconv.Itoa(r.Backs) + " put back</p>")
	}
	for _, h := range r.Holds {
		m.raw("<p><b>Hold:</b> ").text(h).raw("</p>")
	}
	for _, q := range r.Questions {
		m.raw("<p><b>Ask:</b> ").text(q).raw("</p>")
	}
	m.put(`<p class="loud">`, r.Problem, "</p>")
}
