package sheet

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"twobin/guard/device"
	"twobin/procedure/sheet/harbour"
)

func csvOf(t *testing.T, s *Sheet) string {
	t.Helper()
	var b bytes.Buffer
	if err := s.WriteCSV(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// parse4180 reads a CSV by the grammar of RFC 4180 section 2, and nothing else: every record ends in CRLF, a field is
// TEXTDATA or is quoted with its quotes doubled. (TEXTDATA is taken wider than ASCII, as text/csv with charset allows.)
func parse4180(in string) ([][]string, error) {
	var recs [][]string
	var rec []string
	for in != "" {
		var f strings.Builder
		if rest, quoted := strings.CutPrefix(in, `"`); quoted {
			in = rest
			for {
				i := strings.IndexByte(in, '"')
				if i < 0 {
					return nil, errors.New("a quote is not closed")
				}
				f.WriteString(in[:i])
				in = in[i+1:]
				if !strings.HasPrefix(in, `"`) {
					break
				}
				f.WriteByte('"')
				in = in[1:]
			}
		} else {
			i := strings.IndexAny(in, "\",\r\n")
			if i < 0 {
				return nil, errors.New("the last record does not end in CRLF")
			}
			f.WriteString(in[:i])
			in = in[i:]
		}
		rec = append(rec, f.String())
		switch {
		case strings.HasPrefix(in, ","):
			in = in[1:]
		case strings.HasPrefix(in, "\r\n"):
			in = in[2:]
			recs, rec = append(recs, rec), nil
		default:
			return nil, fmt.Errorf("after %q stands %.5q", f.String(), in)
		}
	}
	if rec != nil {
		return nil, errors.New("a record is not ended")
	}
	return recs, nil
}

func TestCSV(t *testing.T) {
	t.Parallel()
	for name, s := range map[string]*Sheet{"story": storySheet(), "nasty": nastySheet(), "empty": {}} {
		raw := csvOf(t, s)
		recs, err := parse4180(raw)
		if err != nil {
			t.Fatalf("%s: not RFC 4180: %v", name, err)
		}
		if len(recs) != len(s.Rows)+1 {
			t.Errorf("%s: %d records, want a header and %d rows", name, len(recs), len(s.Rows))
		}
		for i, rec := range recs {
			if len(rec) != len(recs[0]) {
				t.Errorf("%s: record %d has %d fields, the header %d", name, i, len(rec), len(recs[0]))
			}
			for _, f := range rec {
				if bad := strings.TrimLeft(f, " "); bad != "" && strings.ContainsAny(bad[:1], "=+-@\t\r") {
					t.Errorf("%s: record %d has the formula %q", name, i, f)
				}
				if strings.ContainsFunc(f, func(r rune) bool { return r < 0x20 || r == 0x7F || r == 0x202E }) {
					t.Errorf("%s: record %d has a control character: %q", name, i, f)
				}
			}
		}
		std, err := csv.NewReader(strings.NewReader(raw)).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(recs, std); diff != "" {
			t.Errorf("%s: two readers differ:\n%s", name, diff)
		}
	}
}

// TestCSVValues: what stands in the cells of one row, by the header.
func TestCSVValues(t *testing.T) {
	t.Parallel()
	recs, err := parse4180(csvOf(t, storySheet()))
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]string{}
	for i, h := range recs[0] {
		got[h] = recs[2][i]
	}
	for k, want := range map[string]string{
		"production": "Harbour Lights", "date": "2031-05-17", "day": "12", "camera": "A", "colour": "blue", "label": "A002",
		"card serial": "HL-A1000", "files": "3", "bytes": "12000000000", "safe": "yes", "erase": "erased", "place": "returned",
		"SHUTTLE result": "proven, read back from the device", "RAID hash list": "Harbour_Lights/day012_2031-05-17/A/A002.xxh64",
		"UTC offset": "UTC+02:00", "operator": "Kim", "returned to": "Robin", "from": "Robin", "passes": "1",
	} {
		if got[k] != want {
			t.Errorf("%s = %q, want %q", k, got[k], want)
		}
	}
	for _, k := range []string{"first recording", "arrived", "copy started", "proven", "green bin", "erased at", "returned"} {
		if _, err := time.Parse(time.RFC3339, got[k]); err != nil || !strings.HasSuffix(got[k], "+02:00") {
			t.Errorf("%s = %q, want RFC 3339 with the offset of the place", k, got[k])
		}
	}
}

func TestHarmless(t *testing.T) {
	t.Parallel()
	for in, want := range map[string]string{
		"": "", "A003": "A003", "0012": "0012", "=1": "'=1", "+1": "'+1", "-1": "'-1", "@x": "'@x", "  =1": "'  =1", "＝1": "'＝1",
		"a;=1": "a;'=1", "a; -1; b": "a;' -1; b", "a;\"=1": "a;'\"=1", "=1;=2": "'=1;'=2", ";;=1": ";;'=1", "a;b=1": "a;b=1", "\"=1": "'\"=1",
		"a=1": "a=1", "'=1": "'=1", "\t=1": "·=1", "\u00a0=1": "'\u00a0=1",
	} {
		if got := harmless(in); got != want {
			t.Errorf("harmless(%q) = %q, want %q", in, got, want)
		}
	}
}

// TestCSVInSpreadsheet opens the CSV in a real spreadsheet program (gnumeric): labels are intact, nothing was reckoned.
func TestCSVInSpreadsheet(t *testing.T) {
	t.Parallel()
	bin := harbour.Tool(t, "ssconvert")
	dir := t.TempDir()
	s := nastySheet()
	in, out := filepath.Join(dir, "in.csv"), filepath.Join(dir, "out.csv")
	if err := Create(in, s.WriteCSV); err != nil {
		t.Fatal(err)
	}
	if b, err := exec.CommandContext(t.Context(), bin, "--import-encoding=UTF-8", in, out).CombinedOutput(); err != nil {
		t.Fatalf("ssconvert: %v\n%s", err, b)
	}
	raw, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	recs, err := csv.NewReader(bytes.NewReader(raw)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	label, notes := -1, -1
	for i, h := range recs[0] {
		switch h {
		case "label":
			label = i
		case "notes":
			notes = i
		}
	}
	for i := range s.Rows {
		if got := recs[i+1][label]; got != s.Rows[i].Label {
			t.Errorf("label of row %d = %q, want %q", i+1, got, s.Rows[i].Label)
		}
		// Some programs take the apostrophe as their own mark for text.
		want := harmless(s.Rows[i].Notes[0])
		if got := recs[i+1][notes]; got != want && got != strings.TrimPrefix(want, "'") {
			t.Errorf("notes of row %d = %q, want %q", i+1, got, want)
		}
	}
}

func TestHTML(t *testing.T) {
	t.Parallel()
	var b bytes.Buffer
	if err := nastySheet().WriteHTML(&b); err != nil {
		t.Fatal(err)
	}
	page := b.String()
	for _, bad := range []string{"<script", "<img", "{{", "ZgotmplZ", "</style><b", "\x1b", "\u202e", "javascript:alert(1)\""} {
		if strings.Contains(strings.Replace(page, "{{.}}", "", -1), bad) {
			t.Errorf("the page has %q", bad)
		}
	}
	if m := regexp.MustCompile(`(?i)(<link|<script|@import|\b(src|href|action)=|url\()`).FindString(strings.SplitN(page, "<body>", 2)[0]); m != "" {
		t.Errorf("the page's head asks for something outside: %q", m)
	}
	b.Reset()
	if err := (&Sheet{Made: time.Now()}).WriteHTML(&b); err != nil || !strings.Contains(b.String(), "<p>No rolls.</p>") {
		t.Errorf("an empty sheet: %v\n%s", err, b.String())
	}
}

// TestHTMLInBrowser opens the page in a real browser: nothing runs, nothing is asked for, and on A4 and Letter every roll
// is on paper.
func TestHTMLInBrowser(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	page := filepath.Join(dir, "nasty.html")
	if err := Create(page, nastySheet().WriteHTML); err != nil {
		t.Fatal(err)
	}
	dom, asked := harbour.Browser(t, page, "--dump-dom")
	for _, a := range asked {
		if strings.Contains(a, "canary") {
			t.Errorf("the page asked for %q", a)
		}
	}
	if !strings.Contains(dom, "<title>Log sheet: ") || strings.Contains(dom, "<title>canary") || strings.Count(dom, "<tr") != len(nasty)+1+strings.Count(dom, `class="sum"`)+1+len(nasty) {
		t.Errorf("the page is not what was written: %d rows", strings.Count(dom, "<tr"))
	}
	// The same text as markup does ask: the net is not blind.
	bait := filepath.Join(dir, "bait.html")
	if err := os.WriteFile(bait, []byte(`<img src="http://canary.invalid/i">`), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, asked := harbour.Browser(t, bait, "--dump-dom"); !strings.Contains(strings.Join(asked, "\n"), "canary.invalid") {
		t.Errorf("the bait asked for nothing: %q", asked)
	}
}

func TestHTMLOnPaper(t *testing.T) {
	t.Parallel()
	var b bytes.Buffer
	s := many(60)
	if err := s.WriteHTML(&b); err != nil {
		t.Fatal(err)
	}
	for _, paper := range []string{"A4", "letter"} {
		dir := t.TempDir()
		page, pdf := filepath.Join(dir, "p.html"), filepath.Join(dir, "p.pdf")
		if err := os.WriteFile(page, []byte(strings.Replace(b.String(), "size: landscape", "size: "+paper+" landscape", 1)), 0o644); err != nil {
			t.Fatal(err)
		}
		harbour.Browser(t, page, "--no-pdf-header-footer", "--print-to-pdf="+pdf)
		pages := harbour.PDFText(t, pdf)
		whole := strings.Join(pages, "\n")
		for i := range s.Rows {
			if !strings.Contains(whole, s.Rows[i].Label) {
				t.Errorf("%s: %s is not on paper", paper, s.Rows[i].Label)
			}
		}
		for i, p := range pages[:len(pages)-1] {
			if !strings.Contains(p, "Recorded") || !strings.Contains(p, "Notes") {
				t.Errorf("%s: page %d has no table head, or its last column is cut off", paper, i+1)
			}
		}
		if len(pages) < 5 || len(pages) > 20 {
			t.Errorf("%s: %d pages for 60 rolls", paper, len(pages))
		}
	}
}

func TestCreate(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	path := filepath.Join(dir, "s.csv")
	left := filepath.Join(dir, device.TempName(path+"0")) // of a run that was killed
	if err := os.WriteFile(left, []byte("hal"), 0o600); err != nil {
		t.Fatal(err)
	}
	err := Create(path, func(w io.Writer) error {
		_, err := io.WriteString(w, "one")
		if _, there := os.Lstat(path); !errors.Is(there, fs.ErrNotExist) {
			t.Errorf("a file that is not whole yet has its name: %v", there)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	err = Create(path, func(w io.Writer) error { _, err := io.WriteString(w, "two"); return err })
	if !errors.Is(err, fs.ErrExist) || !strings.Contains(err.Error(), "give another name") {
		t.Errorf("over a file that is there: %v", err)
	}
	if b, _ := os.ReadFile(path); string(b) != "one" {
		t.Errorf("the file has %q, want %q", b, "one")
	}
	bad := filepath.Join(dir, "bad.csv")
	full := errors.New("no space left on device")
	if err := Create(bad, func(w io.Writer) error { _, _ = io.WriteString(w, "half"); return full }); !errors.Is(err, full) {
		t.Errorf("a write that fails: %v", err)
	}
	if _, err := os.Lstat(bad); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("half a file was left: %v", err)
	}
	raced := filepath.Join(dir, "raced.csv") // another run is quicker
	err = Create(raced, func(io.Writer) error { return os.WriteFile(raced, []byte("theirs"), 0o600) })
	if b, rerr := os.ReadFile(raced); !errors.Is(err, fs.ErrExist) || string(b) != "theirs" {
		t.Errorf("a name that was taken meanwhile: %v, %q, %v", err, b, rerr)
	}
	var names []string
	all, err := os.ReadDir(dir)
	for _, d := range all {
		names = append(names, d.Name())
	}
	if diff := cmp.Diff([]string{filepath.Base(left), "raced.csv", "s.csv"}, names); diff != "" || err != nil {
		t.Errorf("what is left, %v (-want +got):\n%s", err, diff)
	}
	if err := Create(filepath.Join(dir, "no", "s.csv"), func(io.Writer) error { return nil }); err == nil {
		t.Error("a folder that is not there: no error")
	}
}

// brokenWriter fails after n bytes.
type brokenWriter struct{ n int }

var errBroken = errors.New("broken")

// Write implements io.Writer.
func (b *brokenWriter) Write(p []byte) (int, error) {
	if b.n -= len(p); b.n < 0 {
		return 0, errBroken
	}
	return len(p), nil
}

func TestWritersReportFaults(t *testing.T) {
	t.Parallel()
	s := many(200)
	for name, w := range map[string]func(io.Writer) error{"CSV": s.WriteCSV, "XLSX": s.WriteXLSX, "HTML": s.WriteHTML} {
		if err := w(&brokenWriter{n: 2000}); !errors.Is(err, errBroken) || !strings.Contains(err.Error(), name) {
			t.Errorf("%s on a full disk: %v", name, err)
		}
	}
}
