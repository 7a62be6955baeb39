// Package paper prints the hand-over, the pocket card and its strips as PDF, with the fonts inside the file and nothing
// from outside.
//
// The fonts (Go Regular, Bold and Mono, under a BSD licence) have Latin, Greek and Cyrillic letters. A sign that they
// lack is printed as "?", and the page then says so and points to the HTML form, which has every sign. Control characters
// do not get here ([procedure.Plain]) and are taken out again.
//
// The functions may be called concurrently. Two files of the same values look the same; their bytes may differ, since the
// library packs fonts in no fixed order.
package paper

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/gomono"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"

	"twobin/procedure"
)

// Size is a paper size. The zero value is A4.
type Size int

// The paper sizes: ISO 216 A4, 210 x 297 mm; ANSI Letter, 8.5 x 11 in.
const (
	A4 Size = iota
	Letter
)

// ParseSize reads a paper size's name, in any case.
func ParseSize(s string) (Size, error) {
	switch strings.ToLower(s) {
	case "", "a4":
		return A4, nil
	case "letter":
		return Letter, nil
	}
	return A4, fmt.Errorf("paper size %q: a4 or letter", procedure.Plain(s))
}

// String is the size's name.
func (s Size) String() string {
	if s == Letter {
		return "Letter"
	}
	return "A4"
}

// Fonts and measures; all in mm but the font sizes, which are in points.
const (
	sans, mono = "sans", "mono"
	margin     = 14.0
	small      = 8.0
	body       = 9.5
	lineHigh   = 4.4
	rowLine    = 3.8
)

// page is a PDF under way.
type page struct {
	*fpdf.Fpdf
	cover *sfnt.Font
	buf   sfnt.Buffer
	// lacks: a sign was replaced.
	lacks bool
}

func newPage(made time.Time, title string, size Size) (*page, error) {
	return start(fpdf.New("P", "mm", size.String(), ""), made, title)
}

func start(f *fpdf.Fpdf, made time.Time, title string) (*page, error) {
	cover, err := sfnt.Parse(goregular.TTF)
	if err != nil {
		return nil, fmt.Errorf("read the font: %w", err)
	}
	p := &page{Fpdf: f, cover: cover}
	// Each page gets fonts of its own: the writer changes the bytes it is given.
	p.AddUTF8FontFromBytes(sans, "", slices.Clone(goregular.TTF))
	p.AddUTF8FontFromBytes(sans, "B", slices.Clone(gobold.TTF))
	p.AddUTF8FontFromBytes(mono, "", slices.Clone(gomono.TTF))
	p.SetCatalogSort(true)
	p.SetCreationDate(made)
	p.SetModificationDate(made)
	p.SetTitle(p.text(title), true)
	p.SetCreator("twobin", true)
	p.SetProducer("twobin", true)
	return p, p.Error()
}

// text makes text printable: no control characters, and "?" for each sign that the fonts lack.
func (p *page) text(s string) string {
	return strings.Map(func(r rune) rune {
		if r < 0x80 {
			return r
		}
		if i, err := p.cover.GlyphIndex(&p.buf, r); err != nil || i == 0 || r > 0xFFFF {
			p.lacks = true
			return '?'
		}
		return r
	}, procedure.Plain(s))
}

// width is how much room a line has.
func (p *page) width() float64 {
	w, _ := p.GetPageSize()
	l, _, r, _ := p.GetMargins()
	return w - l - r
}

// para prints a paragraph in a style ("" or "B") and size.
func (p *page) para(style string, points float64, s string) {
	p.SetFont(sans, style, points)
	p.MultiCell(p.width(), lineHigh*points/body, p.text(s), "", "L", false)
}

// head prints a heading; need is how many mm must follow it on the same page.
func (p *page) head(s string, need float64) {
	p.keep(need + 10)
	p.Ln(3)
	p.para("B", 12, s)
	p.Ln(0.8)
}

// keep begins a new page when fewer than need mm are left.
func (p *page) keep(need float64) {
	_, h := p.GetPageSize()
	_, _, _, b := p.GetMargins()
	if p.GetY()+need > h-b {
		p.AddPage()
	}
}

// item prints one line of a list.
func (p *page) item(s string) {
	p.SetFont(sans, "", body)
	left, _, _, _ := p.GetMargins()
	p.keep(lineHigh)
	p.CellFormat(4, lineHigh, "-", "", 0, "L", false, 0, "")
	p.SetX(left + 4)
	p.MultiCell(p.width()-4, lineHigh, p.text(s), "", "L", false)
}

// split breaks a row's cells into lines; total is the sum of the widths, high the row's height.
func (p *page) split(widths []float64, cells []string) (split [][]string, total, high float64) {
	for _, w := range widths {
		total += w
	}
	lines := 1
	for i, c := range cells {
		ls := p.SplitText(p.text(c), widths[i]/total*p.width()-2)
		split = append(split, ls)
		lines = max(lines, len(ls))
	}
	return split, total, float64(lines)*rowLine + 1.2
}

// full says whether a row has no room on this page any more.
func (p *page) full(widths []float64, cells []string) bool {
	p.SetFont(sans, "", small)
	_, _, high := p.split(widths, cells)
	_, h := p.GetPageSize()
	_, _, _, b := p.GetMargins()
	return p.GetY()+high > h-b
}

// row prints one row of a table; widths are shares of the page's width. bold: a head.
func (p *page) row(widths []float64, cells []string, bold bool) {
	style := ""
	if bold {
		style = "B"
	}
	p.SetFont(sans, style, small)
	split, total, high := p.split(widths, cells)
	p.keep(high)
	left, _, _, _ := p.GetMargins()
	top := p.GetY()
	x := left
	for i, ls := range split {
		for k, l := range ls {
			p.SetXY(x, top+0.6+float64(k)*rowLine)
			p.CellFormat(widths[i]/total*p.width(), rowLine, l, "", 0, "L", false, 0, "")
		}
		x += widths[i] / total * p.width()
	}
	bottom := top + high
	p.SetLineWidth(0.1)
	if bold {
		p.SetLineWidth(0.4)
	}
	p.Line(left, bottom, left+p.width(), bottom)
	p.SetXY(left, bottom)
}

// table prints a table, its head again at the top of every page that it goes on to.
func (p *page) table(widths []float64, head []string, rows [][]string) {
	p.row(widths, head, true)
	for _, r := range rows {
		if p.full(widths, r) {
			p.AddPage()
			p.row(widths, head, true)
		}
		p.row(widths, r, false)
	}
	p.Ln(1.5)
}

// end writes the PDF.
func (p *page) end(w io.Writer, what string) error {
	if err := p.Output(w); err != nil {
		return fmt.Errorf("write %s as PDF: %w", what, err)
	}
	return nil
}
