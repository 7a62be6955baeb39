package sheet

import (
	"fmt"
	"io"
	"time"
	"unicode/utf16"

	"github.com/xuri/excelize/v2"

	"twobin/procedure"
)

// The names of the sheets in the workbook.
const (
	sheetRolls  = "Rolls"
	sheetTotals = "Totals"
	sheetAbout  = "About"
)

// maxCell is the most that one cell holds, in UTF-16 units (ECMA-376 leaves it open; the limit of common spreadsheets,
// from memory). Longer text is cut, and says so.
const maxCell = 32767

// book is a workbook under way.
type book struct {
	f                       *excelize.File
	head, day, moment, size int // styles
}

// WriteXLSX writes the sheet as a workbook of three sheets. See the package comment for what its cells are.
func (s *Sheet) WriteXLSX(w io.Writer) (err error) {
	b := &book{f: excelize.NewFile()}
	defer func() {
		if cerr := b.f.Close(); err == nil && cerr != nil {
			err = cerr
		}
		if err != nil {
			err = fmt.Errorf("write the sheet as XLSX: %w", err)
		}
	}()
	if err := b.styles(); err != nil {
		return err
	}
	if err := b.f.SetSheetName("Sheet1", sheetRolls); err != nil {
		return err
	}
	if err := b.rolls(s); err != nil {
		return err
	}
	if err := b.totals(s); err != nil {
		return err
	}
	if err := b.about(s); err != nil {
		return err
	}
	if err := b.f.SetDocProps(&excelize.DocProperties{Title: cell(s.Title()), Creator: cell(s.Tool), Created: s.Made.UTC().Format(time.RFC3339)}); err != nil {
		return err
	}
	_, err = b.f.WriteTo(w)
	return err
}

func (b *book) styles() error {
	format := func(text string) *excelize.Style { return &excelize.Style{CustomNumFmt: &text} }
	for _, st := range []struct {
		id *int
		st *excelize.Style
	}{
		{&b.head, &excelize.Style{Font: &excelize.Font{Bold: true}, Border: []excelize.Border{{Type: "bottom", Color: "000000", Style: 1}}}},
		{&b.day, format("yyyy\\-mm\\-dd")},
		{&b.moment, format("yyyy\\-mm\\-dd hh:mm:ss")},
		{&b.size, format("#,##0")},
	} {
		id, err := b.f.NewStyle(st.st)
		if err != nil {
			return err
		}
		*st.id = id
	}
	return nil
}

// cell makes text fit for a cell.
func cell(s string) string {
	s = procedure.Plain(s)
	if len(s) <= maxCell { // a UTF-16 text is never longer than its UTF-8
		return s
	}
	if u := utf16.Encode([]rune(s)); len(u) > maxCell {
		const mark = " (cut)"
		return string(utf16.Decode(u[:maxCell-len(mark)])) + mark
	}
	return s
}

// value makes a typed cell: nil for nothing.
func (b *book) value(v any) any {
	switch v := v.(type) {
	case nil:
		return nil
	case string:
		if v == "" {
			return nil
		}
		return cell(v)
	case int64:
		return excelize.Cell{StyleID: b.size, Value: v}
	case date:
		return excelize.Cell{StyleID: b.day, Value: time.Time(v)}
	case time.Time:
		if v.IsZero() {
			return nil
		}
		// A date in a spreadsheet has no zone: the clock's reading at the place goes in, rounded to the second.
		local := time.Date(v.Year(), v.Month(), v.Day(), v.Hour(), v.Minute(), v.Second(), 0, time.UTC)
		return excelize.Cell{StyleID: b.moment, Value: local}
	}
	panic(fmt.Sprintf("sheet: a cell of type %T", v))
}

// table writes a header and rows into a sheet: header frozen, filter over all, the columns' widths set.
func (b *book) table(name string, titles []string, widths []float64, n int, row func(i int) []any) error {
	last, err := excelize.CoordinatesToCellName(len(titles), n+1)
	if err != nil {
		return err
	}
	if err := b.f.AutoFilter(name, "A1:"+last, nil); err != nil {
		return err
	}
	// After the filter, which sets the same part anew; before the rows, which the library would read back for it.
	if err := b.page(name); err != nil {
		return err
	}
	sw, err := b.f.NewStreamWriter(name)
	if err != nil {
		return err
	}
	for i, w := range widths {
		if err := sw.SetColWidth(i+1, i+1, w); err != nil {
			return err
		}
	}
	if err := sw.SetPanes(&excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"}); err != nil {
		return err
	}
	head := make([]any, len(titles))
	for i, t := range titles {
		head[i] = excelize.Cell{StyleID: b.head, Value: cell(t)}
	}
	if err := sw.SetRow("A1", head); err != nil {
		return err
	}
	for i := range n {
		at, err := excelize.CoordinatesToCellName(1, i+2)
		if err != nil {
			return err
		}
		if err := sw.SetRow(at, row(i)); err != nil {
			return err
		}
	}
	return sw.Flush()
}

func (b *book) rolls(s *Sheet) error {
	cols := s.columns()
	titles, widths := make([]string, len(cols)), make([]float64, len(cols))
	for i, c := range cols {
		titles[i], widths[i] = c.title, min(60, max(c.width, float64(len(c.title)+2)))
	}
	line := make([]any, len(cols))
	return b.table(sheetRolls, titles, widths, len(s.Rows), func(i int) []any {
		for j, c := range cols {
			line[j] = b.value(c.value(&s.Rows[i]))
		}
		return line
	})
}

// page sets a sheet up for paper: landscape, as wide as one page, as many pages as it takes.
func (b *book) page(name string) error {
	on, landscape, wide, high := true, "landscape", 1, 0
	if err := b.f.SetSheetProps(name, &excelize.SheetPropsOptions{FitToPage: &on}); err != nil {
		return err
	}
	return b.f.SetPageLayout(name, &excelize.PageLayoutOptions{Orientation: &landscape, FitToWidth: &wide, FitToHeight: &high})
}

func (b *book) totals(s *Sheet) error {
	if _, err := b.f.NewSheet(sheetTotals); err != nil {
		return err
	}
	totals := s.Totals()
	titles := []string{"whose", "production", "date", "day", "camera", "colour", "rolls", "safe", "on hold", "erased", "files", "bytes"}
	widths := []float64{30, 18, 12, 6, 9, 10, 8, 8, 9, 9, 10, 20}
	return b.table(sheetTotals, titles, widths, len(totals), func(i int) []any {
		t := &totals[i]
		var out []any
		for _, v := range []any{
			t.Name(), t.Production, dateOf(t.Date), int64(t.Day), t.Camera, t.Colour, int64(t.Rolls), int64(t.Safe), int64(t.Holds),
			int64(t.Erased), int64(t.Files), t.Bytes,
		} {
			out = append(out, b.value(v))
		}
		return out
	})
}

func (b *book) about(s *Sheet) error {
	if _, err := b.f.NewSheet(sheetAbout); err != nil {
		return err
	}
	lines := [][2]string{{"sheet", s.Title()}, {"made", s.Made.Format(time.RFC3339)}, {"by", s.Tool}}
	if d := s.Drill(); d != "" {
		lines = append([][2]string{{"DRILL", d}}, lines...)
	}
	for _, w := range s.Warnings {
		lines = append(lines, [2]string{"warning", w})
	}
	lines = append(lines, [2]string{"sizes", "in bytes; 1 GB is 1 000 000 000 bytes"},
		[2]string{"times", "as the clock at the place showed them; see the column UTC offset"},
		[2]string{"questions", "are for the camera department; they do not mean that anything is wrong"})
	for i, l := range lines {
		for j, t := range l {
			at, err := excelize.CoordinatesToCellName(j+1, i+1)
			if err != nil {
				return err
			}
			if err := b.f.SetCellStr(sheetAbout, at, cell(t)); err != nil {
				return err
			}
		}
	}
	if err := b.f.SetColWidth(sheetAbout, "A", "A", 14); err != nil {
		return err
	}
	return b.f.SetColWidth(sheetAbout, "B", "B", 100)
}
