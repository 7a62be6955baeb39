package paper

import (
	"fmt"
	"io"
	"strings"
	"time"

	"codeberg.org/go-pdf/fpdf"

	"twobin/procedure/pocket"
)

// Sizes of the card's type in points: as large as one page of Letter allows.
const (
	cardHead = 12.5
	cardBody = 11.0
)

// Card prints the pocket card on one page; made is the date in the file.
func Card(w io.Writer, c pocket.Card, size Size, made time.Time) error {
	p, err := newPage(made, c.Title, size)
	if err != nil {
		return fmt.Errorf("write the card as PDF: %w", err)
	}
	p.SetMargins(margin, margin, margin)
	p.SetAutoPageBreak(true, margin)
	p.AddPage()
	p.para("B", 15, c.Title)
	p.para("", body, c.Under)
	p.Ln(2)
	for _, s := range c.Steps {
		p.Ln(1.2)
		p.para("B", cardHead, s.Head())
		p.para("", cardBody, strings.Join(s.Hands, " "))
	}
	p.Ln(3)
	p.para("B", cardHead, "At any time")
	for _, k := range c.Always {
		p.item(k.Word + ": " + k.Text)
	}
	p.Ln(2)
	p.para("B", body, c.Foot)
	return p.end(w, "the card")
}

// Measures of a strip in mm: tape of 12 mm, of which printers reach about 9 (from memory), and room at both ends.
const (
	tapeHigh  = 12.0
	stripEnd  = 4.0
	stripHead = 11.0 // points
	stripLine = 8.5
)

// Strips prints every strip as a page of its own, 12 mm high and as long as its text.
func Strips(w io.Writer, c pocket.Card, made time.Time) error {
	p, err := start(fpdf.NewCustom(&fpdf.InitType{UnitStr: "mm", Size: fpdf.SizeType{Wd: 100, Ht: tapeHigh}}), made, c.Title)
	if err != nil {
		return fmt.Errorf("write the strips as PDF: %w", err)
	}
	p.SetMargins(0, 0, 0)
	p.SetAutoPageBreak(false, 0)
	for _, s := range c.Strips() {
		p.SetFont(sans, "B", stripHead)
		long := p.GetStringWidth(p.text(s.Head))
		p.SetFont(sans, "", stripLine)
		long = max(long, p.GetStringWidth(p.text(s.Line)))
		p.AddPageFormat("P", fpdf.SizeType{Wd: long + 2*stripEnd, Ht: tapeHigh})
		p.SetFont(sans, "B", stripHead)
		p.Text(stripEnd, 5.4, p.text(s.Head))
		p.SetFont(sans, "", stripLine)
		p.Text(stripEnd, 9.8, p.text(s.Line))
	}
	return p.end(w, "the strips")
}
