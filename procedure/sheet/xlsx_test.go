package sheet

import (
	"archive/zip"
	"bytes"
	"encoding/csv"
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"twobin/procedure/sheet/harbour"
)

// The types below are an independent reader of workbooks, written after ECMA-376 part 1 (SpreadsheetML: 18.2 workbook,
// 18.3 worksheets, 18.4 shared strings, 18.8 styles), with archive/zip and encoding/xml alone.
type (
	xWorkbook struct {
		Sheets []struct {
			Name string `xml:"name,attr"`
			ID   string `xml:"http://schemas.openxmlformats.org/officeDocument/2006/relationships id,attr"`
		} `xml:"sheets>sheet"`
	}
	xRels struct {
		Rels []struct {
			ID     string `xml:"Id,attr"`
			Target string `xml:"Target,attr"`
		} `xml:"Relationship"`
	}
	xSheet struct {
		Pane struct {
			YSplit float64 `xml:"ySplit,attr"`
			State  string  `xml:"state,attr"`
		} `xml:"sheetViews>sheetView>pane"`
		Filter struct {
			Ref string `xml:"ref,attr"`
		} `xml:"autoFilter"`
		Fit struct {
			On bool `xml:"fitToPage,attr"`
		} `xml:"sheetPr>pageSetUpPr"`
		Page struct {
			Orientation string `xml:"orientation,attr"`
			Wide        int    `xml:"fitToWidth,attr"`
			High        int    `xml:"fitToHeight,attr"`
		} `xml:"pageSetup"`
		Rows []struct {
			Cells []xCell `xml:"c"`
		} `xml:"sheetData>row"`
	}
	xCell struct {
		Ref     string    `xml:"r,attr"`
		Type    string    `xml:"t,attr"`
		Style   int       `xml:"s,attr"`
		Value   string    `xml:"v"`
		Inline  string    `xml:"is>t"`
		Formula *struct{} `xml:"f"`
	}
	xStyles struct {
		Formats []struct {
			ID   int    `xml:"numFmtId,attr"`
			Code string `xml:"formatCode,attr"`
		} `xml:"numFmts>numFmt"`
		Xfs []struct {
			Format int `xml:"numFmtId,attr"`
		} `xml:"cellXfs>xf"`
	}
	xStrings struct {
		Items []struct {
			Text string   `xml:"t"`
			Runs []string `xml:"r>t"`
		} `xml:"si"`
	}
	// xBook is a workbook: cells by sheet, row and column as text, with their kind.
	xBook struct {
		sheets map[string]*xSheet
		kinds  map[string][][]string // "text", "number", "date", "formula"
		cells  map[string][][]string
	}
)

func readPart(t *testing.T, z *zip.Reader, name string, into any) {
	t.Helper()
	f, err := z.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if err := xml.NewDecoder(f).Decode(into); err != nil {
		t.Fatalf("%s: %v", name, err)
	}
}

// readXLSX reads a workbook with the reader above.
func readXLSX(t *testing.T, raw []byte) *xBook {
	t.Helper()
	z, err := zip.NewReader(bytes.NewReader(raw), int64(len(raw)))
	if err != nil {
		t.Fatal(err)
	}
	var wb xWorkbook
	var rels xRels
	var styles xStyles
	var shared xStrings
	readPart(t, z, "xl/workbook.xml", &wb)
	readPart(t, z, "xl/_rels/workbook.xml.rels", &rels)
	readPart(t, z, "xl/styles.xml", &styles)
	readPart(t, z, "xl/sharedStrings.xml", &shared)
	dates := map[int]bool{}
	for i, xf := range styles.Xfs {
		for _, f := range styles.Formats {
			if f.ID == xf.Format && strings.Contains(f.Code, "yyyy") {
				dates[i] = true
			}
		}
	}
	b := &xBook{sheets: map[string]*xSheet{}, kinds: map[string][][]string{}, cells: map[string][][]string{}}
	for _, s := range wb.Sheets {
		ws := &xSheet{}
		for _, r := range rels.Rels {
			if r.ID == s.ID {
				readPart(t, z, "xl/"+strings.TrimPrefix(strings.TrimPrefix(r.Target, "/xl/"), "xl/"), ws)
			}
		}
		b.sheets[s.Name] = ws
		for _, row := range ws.Rows {
			var kinds, cells []string
			for _, c := range row.Cells {
				for col := column26(c.Ref); len(cells) < col; {
					kinds, cells = append(kinds, ""), append(cells, "")
				}
				kind, text := "number", c.Value
				switch {
				case c.Formula != nil:
					kind = "formula"
				case c.Type == "inlineStr":
					kind, text = "text", c.Inline
				case c.Type == "s":
					n, err := strconv.Atoi(c.Value)
					if err != nil {
						t.Fatal(err)
					}
					kind, text = "text", shared.Items[n].Text+strings.Join(shared.Items[n].Runs, "")
				case c.Type == "str":
					kind = "text"
				case c.Value == "":
					kind = ""
				case dates[c.Style]:
					kind = "date"
				}
				kinds, cells = append(kinds, kind), append(cells, text)
			}
			b.kinds[s.Name], b.cells[s.Name] = append(b.kinds[s.Name], kinds), append(b.cells[s.Name], cells)
		}
	}
	return b
}

// column26 is the column of a cell reference, from 0.
func column26(ref string) int {
	n := 0
	for _, c := range strings.TrimRight(ref, "0123456789") {
		n = n*26 + int(c-'A') + 1
	}
	return n - 1
}

func (b *xBook) at(sheet string, row int, title string) (kind, cell string) {
	for i, h := range b.cells[sheet][0] {
		if h == title && i < len(b.cells[sheet][row]) {
			return b.kinds[sheet][row][i], b.cells[sheet][row][i]
		}
	}
	return "", ""
}

func xlsxOf(t *testing.T, s *Sheet) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := s.WriteXLSX(&b); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestXLSX(t *testing.T) {
	t.Parallel()
	s := storySheet()
	s.Rows[1].Serial, s.Rows[1].Notes = "00123", []string{"=1+1", "3-4"}
	s.Warnings = []string{"a journal is damaged"}
	b := readXLSX(t, xlsxOf(t, s))
	if got := len(b.cells["Rolls"]); got != 7 {
		t.Fatalf("%d rows in Rolls, want a header and 6", got)
	}
	for _, name := range []string{"Rolls", "Totals"} {
		ws := b.sheets[name]
		if ws.Pane.YSplit != 1 || ws.Pane.State != "frozen" {
			t.Errorf("%s: the header is not frozen: %+v", name, ws.Pane)
		}
		if !ws.Fit.On || ws.Page.Orientation != "landscape" || ws.Page.Wide != 1 || ws.Page.High != 0 {
			t.Errorf("%s is not as wide as one page on paper: %+v, %+v", name, ws.Fit, ws.Page)
		}
		last := len(b.cells[name][0]) - 1
		if from, to, ok := strings.Cut(strings.ReplaceAll(ws.Filter.Ref, "$", ""), ":"); !ok || from != "A1" || column26(to) != last || !strings.HasSuffix(to, fmt.Sprint(len(b.cells[name]))) {
			t.Errorf("%s: the filter is over %q", name, ws.Filter.Ref)
		}
	}
	for _, c := range []struct{ title, kind, cell string }{
		{"label", "text", "A002"}, {"card serial", "text", "00123"}, {"files", "number", "3"}, {"bytes", "number", "12000000000"},
		{"day", "number", "12"}, {"notes", "text", "=1+1; 3-4"}, {"erase", "text", "erased"}, {"UTC offset", "text", "UTC+02:00"},
		{"RAID result", "text", "proven, read back from the device"},
	} {
		if kind, cell := b.at("Rolls", 2, c.title); kind != c.kind || cell != c.cell {
			t.Errorf("%s is the %s %q, want the %s %q", c.title, kind, cell, c.kind, c.cell)
		}
	}
	// 18.17.4.1: serial dates count days, 1900-01-01 is 1 (and 1900-02-29 is counted though it never was).
	epoch := time.Date(1899, 12, 30, 0, 0, 0, 0, time.UTC)
	for title, want := range map[string]time.Time{"arrived": s.Rows[1].Came, "proven": s.Rows[1].Proven, "first recording": s.Rows[1].First, "date": time.Date(2031, 5, 17, 0, 0, 0, 0, time.UTC)} {
		kind, cell := b.at("Rolls", 2, title)
		days, err := strconv.ParseFloat(cell, 64)
		if kind != "date" || err != nil {
			t.Errorf("%s is the %s %q", title, kind, cell)
			continue
		}
		got := epoch.Add(time.Duration(math.Round(days*86400)) * time.Second).Format(time.DateTime)
		if got != want.Format(time.DateTime) {
			t.Errorf("%s is %s, want %s", title, got, want.Format(time.DateTime))
		}
	}
	if kind, cell := b.at("Rolls", 6, "proven"); kind != "" || cell != "" {
		t.Errorf("B004 was never proven, and has the %s %q", kind, cell)
	}
	last := len(b.cells["Totals"]) - 1
	if kind, cell := b.at("Totals", last, "bytes"); kind != "number" || cell != "276000001624" {
		t.Errorf("total is the %s %q, want the number 276000001624", kind, cell)
	}
	if about := fmt.Sprint(b.cells["About"]); !strings.Contains(about, "a journal is damaged") || !strings.Contains(about, "Harbour Lights") {
		t.Errorf("About = %s", about)
	}
}

// TestXLSXNasty: whatever a cell is given, it stays text.
func TestXLSXNasty(t *testing.T) {
	t.Parallel()
	s := nastySheet()
	s.Rows[0].Notes = []string{strings.Repeat("灯", maxCell+10)}
	b := readXLSX(t, xlsxOf(t, s))
	for name, rows := range b.kinds {
		for i, row := range rows {
			for j, kind := range row {
				if kind == "formula" {
					t.Errorf("%s row %d column %d is a formula: %q", name, i+1, j+1, b.cells[name][i][j])
				}
			}
		}
	}
	for i := range s.Rows {
		if kind, cell := b.at("Rolls", i+1, "card serial"); kind != "text" && s.Rows[i].Serial != "" || cell != s.Rows[i].Serial {
			t.Errorf("serial of row %d is the %s %q, want the text %q", i+1, kind, cell, s.Rows[i].Serial)
		}
	}
	if _, cell := b.at("Rolls", 1, "notes"); !strings.HasSuffix(cell, " (cut)") || len([]rune(cell)) != maxCell {
		t.Errorf("a text that is too long for a cell has %d signs and ends in %q", len([]rune(cell)), cell[len(cell)-10:])
	}
	if e := readXLSX(t, xlsxOf(t, &Sheet{Made: time.Now()})); len(e.cells["Rolls"]) != 1 {
		t.Errorf("an empty sheet has %d rows", len(e.cells["Rolls"]))
	}
}

// TestXLSXInSpreadsheet opens the workbook in a real spreadsheet program (gnumeric), which gives the same rows as the CSV.
func TestXLSXInSpreadsheet(t *testing.T) {
	t.Parallel()
	bin := harbour.Tool(t, "ssconvert")
	dir := t.TempDir()
	s := storySheet()
	in, out := filepath.Join(dir, "in.xlsx"), filepath.Join(dir, "out.csv")
	if err := Create(in, s.WriteXLSX); err != nil {
		t.Fatal(err)
	}
	if b, err := exec.CommandContext(t.Context(), bin, in, out).CombinedOutput(); err != nil {
		t.Fatalf("ssconvert: %v\n%s", err, b)
	}
	raw, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	got, err := csv.NewReader(bytes.NewReader(raw)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	want, err := parse4180(csvOf(t, s))
	if err != nil {
		t.Fatal(err)
	}
	if len(got) != len(want) {
		t.Fatalf("%d rows, want %d", len(got), len(want))
	}
	for i := range want {
		for j := range want[i] {
			w := want[i][j]
			if at, err := time.Parse(time.RFC3339, w); err == nil {
				w = at.Format("2006/01/02 15:04:05")
			} else if at, err := time.Parse(time.DateOnly, w); err == nil {
				w = at.Format("2006/01/02")
			}
			if got[i][j] != w {
				t.Errorf("row %d, %s: %q, want %q", i, want[0][j], got[i][j], w)
			}
		}
	}
}

var _ io.Writer = (*brokenWriter)(nil)
