package paper

import (
	"fmt"
	"io"
	"strings"

	"twobin/procedure"
	"twobin/procedure/handover"
)

// HandOver prints a hand-over.
func HandOver(w io.Writer, d handover.Doc, size Size) error {
	p, err := newPage(d.Made, "Hand-over: "+d.Title(), size)
	if err != nil {
		return fmt.Errorf("write the hand-over as PDF: %w", err)
	}
	p.SetMargins(margin, margin, margin)
	p.SetAutoPageBreak(true, margin+6)
	p.AliasNbPages("{pages}")
	foot := d.Title()
	if d.Drill != "" {
		foot = "DRILL " + d.Drill + "  " + foot
	}
	p.SetFooterFunc(func() {
		p.SetY(-margin)
		p.SetFont(sans, "", small)
		p.CellFormat(p.width()-30, lineHigh, p.cut(foot, p.width()-34), "", 0, "L", false, 0, "")
		p.CellFormat(30, lineHigh, fmt.Sprintf("page %d of {pages}", p.PageNo()), "", 0, "R", false, 0, "")
	})
	p.AddPage()
	p.top(d)
	p.unsafe(d)
	for i := range d.Drives {
		p.drive(&d.Drives[i])
	}
	p.lists(d)
	p.last(d)
	return p.end(w, "the hand-over")
}

// cut shortens a text to one line of so many mm.
func (p *page) cut(s string, room float64) string {
	r := []rune(p.text(s))
	for len(r) > 1 && p.GetStringWidth(string(r)) > room {
		r = r[:len(r)-1]
	}
	return string(r)
}

func (p *page) top(d handover.Doc) {
	if d.Drill != "" {
		p.para("B", 12, "DRILL "+d.Drill+": practice with dummy cards, no footage")
	}
	p.para("B", 16, "Hand-over")
	p.Ln(1)
	p.para("B", 11, d.Title())
	by := ""
	if len(d.Operators) > 0 {
		by = "Operator " + strings.Join(d.Operators, ", ") + ". "
	}
	p.para("", small, by+"Made "+d.Made.Format("2006-01-02 15:04:05 -07:00")+" by "+d.Tool+".")
	p.Ln(2)
	if len(d.Open) == 0 {
		p.para("", body, "Everything adds up: no open points.")
	} else {
		p.para("B", 12, "Open points")
		for _, o := range d.Open {
			p.item(o)
		}
	}
	p.Ln(1.5)
	p.para("", body, d.SafeText())
}

func (p *page) unsafe(d handover.Doc) {
	if len(d.Unsafe) > 0 {
		p.head("Not safe yet", 20)
		p.para("B", body, "These cards must not be erased or formatted.")
		var rows [][]string
		for _, u := range d.Unsafe {
			rows = append(rows, []string{u.Label, u.Where, u.Why})
		}
		p.table([]float64{2, 5, 9}, []string{"Roll", "Where", "Why"}, rows)
	}
	if len(d.Missing) > 0 {
		p.head("Missing numbers", 8)
		for _, m := range d.Missing {
			t := m.Label + " has not come in"
			if m.Answer != "" {
				t += "; asked, the answer was: " + m.Answer
			}
			p.item(t)
		}
	}
}

func (p *page) drive(k *handover.Drive) {
	p.head("Drive "+k.Name, 30)
	if about := strings.Trim(k.Volume+", "+k.ID, ", "); about != "" {
		p.para("", small, about)
	}
	t := k.CountText()
	if k.NotProven > 0 {
		t += fmt.Sprintf(" Rolls that do not count: %d.", k.NotProven)
	}
	p.para("", body, t)
	if k.Last != "" {
		style := ""
		if k.Doubt != "" {
			style = "B"
		}
		p.para(style, body, "At the close: "+k.Last+".")
	}
	var rows [][]string
	for _, r := range k.Rolls {
		files, size := "", ""
		if r.Proven {
			files, size = fmt.Sprint(r.Files), procedure.SizeText(r.Bytes)
		}
		rows = append(rows, []string{r.Label, r.Camera + ", " + r.Colour, files, size, r.Result, r.Folder + " " + r.List})
	}
	if len(rows) > 0 {
		p.table([]float64{2, 3, 2, 3, 7, 10}, []string{"Roll", "Camera", "Files", "Size", "Result", "Folder and hash list"}, rows)
	}
	lines := k.Verify()
	if len(lines) == 0 {
		return
	}
	p.keep(float64(min(len(lines), 8)) * lineHigh)
	p.para("B", body, "How to check this drive")
	for _, l := range lines {
		if c, ok := strings.CutPrefix(l, "    "); ok {
			p.SetFont(mono, "", small)
			p.MultiCell(p.width(), lineHigh, p.text(c), "", "L", false)
			continue
		}
		p.para("", small+0.5, l)
	}
}

func (p *page) lists(d handover.Doc) {
	if len(d.Holds) > 0 {
		p.head("Holds", 8)
	}
	for _, h := range d.Holds {
		state := "lifted by a fresh pass"
		if h.Open {
			state = "still on hold"
		}
		p.item(fmt.Sprintf("%s %s: %s (%s), %s", h.Label, h.At, h.Reason, h.By, state))
	}
	if len(d.Notes) > 0 {
		p.head("Notes of the day", 8)
	}
	for _, n := range d.Notes {
		state := "open"
		if n.Done {
			state = "done"
		}
		p.item(strings.Join(strings.Fields(n.At+" "+n.On+" "+n.Text), " ") + " (" + state + ")")
	}
	if len(d.Ask) > 0 {
		p.head("Questions to the camera department", 8)
	}
	for _, a := range d.Ask {
		for _, q := range a.Questions {
			p.item(a.Label + ": " + q)
		}
	}
	p.head("Counts", 20)
	p.para("", body, "Tapes kept: "+d.Tapes.String()+".")
	p.para("", body, "Lines in the book: "+d.Book.String()+".")
	var rows [][]string
	for i := range d.Totals {
		t := &d.Totals[i]
		rows = append(rows, []string{t.Name(), fmt.Sprint(t.Rolls), fmt.Sprint(t.Safe), fmt.Sprint(t.Files), procedure.SizeText(t.Bytes)})
	}
	p.table([]float64{8, 2, 2, 2, 3}, []string{"Whose", "Rolls", "Safe", "Files", "Size"}, rows)
}

// last prints what stands at the end: cautions, code, lines to sign, on one page.
func (p *page) last(d handover.Doc) {
	p.head("Cautions", 30)
	for _, c := range d.Cautions {
		p.item(c)
	}
	p.head("Closing code", 50)
	switch {
	case d.Code == "":
		p.para("B", body, "No code: the shift is not closed.")
	default:
		p.SetFont(mono, "", 15)
		p.CellFormat(p.width(), 8, p.text(d.Code), "", 1, "L", false, 0, "")
		t := "It stands for every line of the journal; it must be the one in the paper book"
		if d.CodeRead {
			t += ", and was read back from there."
		} else {
			t += ". It was not read back from there yet."
		}
		p.para("", small, t)
	}
	if p.lacks {
		p.Ln(1)
		p.para("B", small, "Some signs cannot be printed here and stand as \"?\"; the HTML form of this page has them.")
	}
	p.Ln(14)
	left, _, _, _ := p.GetMargins()
	room := p.width() / float64(max(1, len(d.Sign)))
	y := p.GetY()
	p.SetFont(sans, "", small)
	p.SetLineWidth(0.2)
	for i, s := range d.Sign {
		x := left + float64(i)*room
		p.Line(x, y, x+room-6, y)
		p.SetXY(x, y+1)
		p.CellFormat(room-6, lineHigh, p.text(s), "", 0, "L", false, 0, "")
	}
}
