package paper

import (
	"errors"
	"fmt"
	"io"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"twobin/guard"
	"twobin/procedure"
	"twobin/procedure/handover"
	"twobin/procedure/pocket"
	"twobin/procedure/sheet"
	"twobin/procedure/sheet/harbour"
)

var made = time.Date(2031, 5, 6, 20, 0, 0, 0, time.FixedZone("", 7200))

// doc is a hand-over of a day with n rolls of two cameras, the last of them on hold.
func doc(n int, odd string) handover.Doc {
	d := harbour.Begin(12, "A", "Kim"+odd)
	d.SetUp("A", "blue", "B", "yellow")
	d.Wait(4 * time.Hour)
	for i := 1; i <= n; i++ {
		for _, c := range []procedure.Camera{"A", "B"} {
			l := procedure.MakeLabel(c, i)
			d.Receive(l)
			d.Walk(l)
		}
	}
	held := procedure.MakeLabel("B", n+1)
	d.Receive(held)
	d.Add(held, procedure.RollHeld{Reason: "no tape on it" + odd, By: "operator"})
	d.Add("", procedure.NoteMade{ID: 1, Text: "clock an hour off" + odd})
	d.Close()
	rows := sheet.Rows(d.Shift, d.Entries, func(sha string) (*guard.Proof, error) { return d.Proofs[sha], nil })
	return handover.Of(d.Shift, d.Entries, rows, handover.Record{Whole: true, Code: "0123-4568-9ACE"}, made, "twobin 1.2.3")
}

func write(t *testing.T, f func(io.Writer) error) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "p.pdf")
	if err := sheet.Create(path, f); err != nil {
		t.Fatal(err)
	}
	return path
}

// check asks an independent program (qpdf) whether the file's structure is sound.
func check(t *testing.T, path string) {
	t.Helper()
	if b, err := exec.CommandContext(t.Context(), harbour.Tool(t, "qpdf"), "--check", path).CombinedOutput(); err != nil {
		t.Errorf("qpdf --check: %v\n%s", err, b)
	}
}

func TestHandOver(t *testing.T) {
	t.Parallel()
	d := doc(40, "")
	for _, size := range []Size{A4, Letter} {
		path := write(t, func(w io.Writer) error { return HandOver(w, d, size) })
		check(t, path)
		pages := harbour.PDFText(t, path)
		whole := strings.Join(pages, "\n")
		for _, r := range d.Drives[0].Rolls {
			if strings.Count(whole, r.Label+" ") < 2 {
				t.Errorf("%v: %s is not on both drives' lists", size, r.Label)
			}
		}
		top, _, _ := strings.Cut(pages[0], "Drive SHUTTLE")
		for _, want := range []string{"Open points", "B041 is on hold: no tape on it", "Not safe yet", "must not be erased"} {
			if !strings.Contains(top, want) {
				t.Errorf("%v: before the drives there is no %q", size, want)
			}
		}
		for _, want := range []string{"0123-4568-9ACE", "received by", "xxhsum -c *.xxh64", "clock an hour off", "Cautions", "RAID"} {
			if !strings.Contains(whole, want) {
				t.Errorf("%v: %q is not on paper", size, want)
			}
		}
		for i, p := range pages {
			if want := fmt.Sprintf("page %d of %d", i+1, len(pages)); !strings.Contains(p, want) {
				t.Errorf("%v: page %d does not say %q", size, i+1, want)
			}
		}
		if len(pages) < 4 || len(pages) > 14 {
			t.Errorf("%v: %d pages for 81 rolls on two drives", size, len(pages))
		}
		if strings.Contains(whole, "cannot be printed") {
			t.Errorf("%v: plain letters are said to be lacking", size)
		}
	}
}

// TestOddSigns: letters of the fonts are printed, others are said to be lacking, and nothing breaks the file.
func TestOddSigns(t *testing.T) {
	t.Parallel()
	d := doc(1, " Ünïcode Ж灯😀 \\(x) "+strings.Repeat("long", 300))
	path := write(t, func(w io.Writer) error { return HandOver(w, d, A4) })
	check(t, path)
	whole := strings.Join(harbour.PDFText(t, path), "\n")
	for _, want := range []string{"Ünïcode Ж??", "\\(x)", "cannot be printed here"} {
		if !strings.Contains(whole, want) {
			t.Errorf("%q is not on paper", want)
		}
	}
}

func TestDrill(t *testing.T) {
	t.Parallel()
	d := doc(30, "")
	d.Drill = "first day"
	path := write(t, func(w io.Writer) error { return HandOver(w, d, A4) })
	for i, p := range harbour.PDFText(t, path) {
		if !strings.Contains(p, "DRILL first day") {
			t.Errorf("page %d does not say DRILL", i+1)
		}
	}
}

func TestCard(t *testing.T) {
	t.Parallel()
	c := pocket.Of()
	for _, size := range []Size{A4, Letter} {
		path := write(t, func(w io.Writer) error { return Card(w, c, size, made) })
		check(t, path)
		pages := harbour.PDFText(t, path)
		if len(pages) != 1 {
			t.Errorf("%v: the card has %d pages, want 1", size, len(pages))
		}
		for _, s := range c.Steps {
			if !strings.Contains(pages[0], s.Head()) {
				t.Errorf("%v: %q is not on paper", size, s.Head())
			}
		}
		if !strings.Contains(pages[0], "put back: ") || !strings.Contains(strings.Join(strings.Fields(pages[0]), " "), c.Foot) {
			t.Errorf("%v: the end of the card is not on paper", size)
		}
	}
}

// TestStrips: one page a strip, 12 mm high (34.0 points of 1/72 in), its words on it.
func TestStrips(t *testing.T) {
	t.Parallel()
	c := pocket.Of()
	path := write(t, func(w io.Writer) error { return Strips(w, c, made) })
	check(t, path)
	pages := harbour.PDFText(t, path)
	if len(pages) != len(c.Strips()) {
		t.Fatalf("%d pages, want %d strips", len(pages), len(c.Strips()))
	}
	for i, s := range c.Strips() {
		if !strings.Contains(pages[i], s.Head) || !strings.Contains(pages[i], s.Line) {
			t.Errorf("strip %d has %q, want %+v", i+1, pages[i], s)
		}
	}
	out, err := exec.CommandContext(t.Context(), harbour.Tool(t, "pdfinfo"), "-l", "-1", path).Output()
	if err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(string(out), " x 34.0"); n != len(pages) {
		t.Errorf("%d strips are 12 mm high, want %d:\n%s", n, len(pages), out)
	}
}

func TestFaults(t *testing.T) {
	t.Parallel()
	full := errors.New("no space left on device")
	for name, f := range map[string]func(io.Writer) error{
		"hand-over": func(w io.Writer) error { return HandOver(w, doc(1, ""), A4) },
		"card":      func(w io.Writer) error { return Card(w, pocket.Of(), A4, made) },
		"strips":    func(w io.Writer) error { return Strips(w, pocket.Of(), made) },
	} {
		if err := f(failing{full}); !errors.Is(err, full) || !strings.Contains(err.Error(), name) {
			t.Errorf("%s on a full disk: %v", name, err)
		}
	}
}

type failing struct{ err error }

// Write fails.
func (f failing) Write([]byte) (int, error) { return 0, f.err }

func TestParseSize(t *testing.T) {
	t.Parallel()
	for in, want := range map[string]Size{"": A4, "a4": A4, "A4": A4, "Letter": Letter} {
		if got, err := ParseSize(in); err != nil || got != want {
			t.Errorf("ParseSize(%q) = %v, %v, want %v", in, got, err, want)
		}
	}
	if _, err := ParseSize("legal"); err == nil || err.Error() != `paper size "legal": a4 or letter` {
		t.Errorf("ParseSize(legal): %v", err)
	}
}
