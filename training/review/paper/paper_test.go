package paper

import (
	"bytes"
	"encoding/csv"
	"image"
	"image/color"
	"image/png"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode"

	"twobin/procedure"
	"twobin/procedure/sheet/harbour"
	"twobin/training/review/read"
	"twobin/training/review/report"
	"twobin/training/review/school"
)

func demo(t testing.TB) *report.Report {
	t.Helper()
	paths, _, err := school.Write(t.TempDir(), school.Options{Weeks: 5})
	if err != nil {
		t.Fatal(err)
	}
	set, err := read.Read(t.Context(), paths)
	if err != nil {
		t.Fatal(err)
	}
	sides, err := report.ParseSides("Ada,Bela")
	if err != nil {
		t.Fatal(err)
	}
	r, err := report.Make(set, report.Options{References: []string{school.Teacher}, Compare: sides})
	if err != nil {
		t.Fatal(err)
	}
	r.Demo = true
	return r
}

// hostile is a name that is markup, an address outside, a formula, and control characters.
const hostile = "=1+1\x1b[31m\u202E<script>document.title='canary'</script><img src=\"http://canary.invalid/i\" onerror=\"document.title='canary'\">'\"\r\n</style></svg><title>canary</title>"

func hostileReport(t testing.TB) *report.Report {
	t.Helper()
	s := read.Session{Path: "/x/" + hostile, Operator: hostile, Drill: hostile, Outcome: hostile, Lacking: hostile, Began: time.Date(2031, 5, 6, 8, 0, 0, 0, time.UTC)}
	for i := range 24 {
		r := read.Run{Roll: hostile, Pass: 1, Trainee: hostile, Marks: []read.Mark{{Kind: read.PutBack, Step: procedure.StepSeat, Text: hostile, Who: hostile}}}
		for st := procedure.StepPick; st <= procedure.StepBin; st++ {
			r.Done[st], r.Hands[st] = true, int64(1000+10*i)
		}
		r.Broken[procedure.StepStart] = 1
		s.Runs = append(s.Runs, r)
	}
	s.Runs[23].Hands[procedure.StepLook] = 90_000
	s.Incidents = []read.Incident{{Kind: hostile, Result: "wrong", Why: hostile, Who: hostile}}
	r, err := report.Make(read.Set{Sessions: []read.Session{s}, Left: []read.Left{{Path: hostile, Why: hostile}}},
		report.Options{References: []string{hostile}, Compare: &[2]report.Side{{Name: hostile}, {Name: hostile}}})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func page(t testing.TB, r *report.Report) (path, text string) {
	t.Helper()
	var b bytes.Buffer
	if err := WriteHTML(&b, r); err != nil {
		t.Fatal(err)
	}
	path = filepath.Join(t.TempDir(), "review.html")
	if err := os.WriteFile(path, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	return path, b.String()
}

// tame fails on control characters, on marks that turn the text, and on numbers that are none.
func tame(t testing.TB, s string) {
	t.Helper()
	for _, c := range s {
		if unicode.IsControl(c) && c != '\n' && c != '\r' || c >= '\u202A' && c <= '\u202E' || c >= '\u2066' && c <= '\u2069' {
			t.Fatalf("the page holds %U", c)
		}
	}
	for _, w := range []string{"NaN", "Inf ", "%!", "ZgotmplZ", "&lt;nil&gt;"} {
		if i := strings.Index(s, w); i >= 0 {
			t.Errorf("the page says %q: %s", w, s[max(0, i-80):min(len(s), i+80)])
		}
	}
}

// TestInBrowser opens the demonstration in a real browser: everything is there, nothing is asked for from outside.
func TestInBrowser(t *testing.T) {
	t.Parallel()
	r := demo(t)
	path, text := page(t, r)
	tame(t, text)
	dom, asked := harbour.Browser(t, path, "--dump-dom")
	if len(asked) > 0 && strings.Contains(strings.Join(asked, " "), "invalid") {
		t.Errorf("the page asked for %q", asked)
	}
	for _, p := range r.People {
		if !strings.Contains(dom, "<h2>"+p.Name+"</h2>") {
			t.Errorf("%s is not on the page", p.Name)
		}
	}
	plots := 0
	for _, p := range r.People {
		plots += 2 // how times lie, learning curve
		for _, c := range p.Charts {
			if len(c.Points) > 0 {
				plots++
			}
		}
	}
	if got := strings.Count(dom, "<svg"); got != plots {
		t.Errorf("%d plots, want %d", got, plots)
	}
	for _, want := range []string{"DEMO: everybody", "Comparison: Ada and Bela", "Learning rate ", "not yet met", "this is no ranking", "How this was reckoned"} {
		if !strings.Contains(dom, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	for _, bad := range []string{"<script", "http://", "https://", "url(", "@import"} {
		if strings.Contains(strings.ReplaceAll(text, "http://www.w3.org/2000/svg", ""), bad) {
			t.Errorf("the page holds %q", bad)
		}
	}
}

// TestHostileInBrowser: a name cannot become markup, run or ask for anything. The bait shows that asking would be seen.
func TestHostileInBrowser(t *testing.T) {
	t.Parallel()
	path, text := page(t, hostileReport(t))
	tame(t, text)
	dom, asked := harbour.Browser(t, path, "--dump-dom")
	if strings.Contains(strings.Join(asked, "\n"), "canary") {
		t.Errorf("the page asked for %q", asked)
	}
	if !strings.Contains(dom, "<title>Review of drills and shifts</title>") || strings.Contains(dom, "<title>canary") || strings.Contains(dom, "<script") || strings.Contains(dom, "<img") {
		t.Error("a name became markup")
	}
	bait := filepath.Join(t.TempDir(), "bait.html")
	if err := os.WriteFile(bait, []byte(`<img src="http://canary.invalid/i">`), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, asked := harbour.Browser(t, bait, "--dump-dom"); !strings.Contains(strings.Join(asked, "\n"), "canary.invalid") {
		t.Errorf("the bait asked for nothing: %q", asked)
	}
}

// TestLightAndDark takes a screenshot of either: the page follows what the system asks for, and there is ink on it. With
// TWOBIN_TEST_KEEP=DIR the pictures are kept there to be looked at.
func TestLightAndDark(t *testing.T) {
	t.Parallel()
	path, _ := page(t, demo(t))
	for _, c := range []struct {
		name, scheme string
		dark         bool
	}{{"light", "1", false}, {"dark", "0", true}} {
		shot := filepath.Join(t.TempDir(), c.name+".png")
		if dir := os.Getenv("TWOBIN_TEST_KEEP"); dir != "" {
			shot = filepath.Join(dir, c.name+".png")
		}
		harbour.Browser(t, path, "--blink-settings=preferredColorScheme="+c.scheme, "--hide-scrollbars", "--window-size=1000,6000", "--screenshot="+shot)
		f, err := os.Open(shot)
		if err != nil {
			t.Fatal(err)
		}
		img, err := png.Decode(f)
		_ = f.Close() // only read
		if err != nil {
			t.Fatal(err)
		}
		if paper := bright(img.At(2, 2)); paper > 128 == c.dark {
			t.Errorf("%s: the paper's brightness is %d", c.name, paper)
		}
		if share := ink(img); share < 0.01 || share > 0.4 {
			t.Errorf("%s: %.3f of the page is ink", c.name, share)
		}
	}
}

func bright(c color.Color) uint32 {
	r, g, b, _ := c.RGBA()
	return (r + g + b) / 3 >> 8
}

// ink is the share of points that differ clearly from the paper.
func ink(img image.Image) float64 {
	paper, n, all := int(bright(img.At(2, 2))), 0, 0
	for y := 0; y < img.Bounds().Dy(); y += 2 {
		for x := 0; x < img.Bounds().Dx(); x += 2 {
			if d := int(bright(img.At(x, y))) - paper; d > 64 || d < -64 {
				n++
			}
			all++
		}
	}
	return float64(n) / float64(all)
}

// TestOnPaper prints it: every person, every part is on a page.
func TestOnPaper(t *testing.T) {
	t.Parallel()
	r := demo(t)
	path, _ := page(t, r)
	pdf := filepath.Join(t.TempDir(), "r.pdf")
	harbour.Browser(t, path, "--no-pdf-header-footer", "--print-to-pdf="+pdf)
	whole := strings.Join(harbour.PDFText(t, pdf), "\n")
	for _, p := range r.People {
		if strings.Count(whole, p.Name) < 3 {
			t.Errorf("%s is not on paper", p.Name)
		}
	}
	// Once a person, and once where it is said how it was reckoned.
	if strings.Count(whole, "Learning curve") != len(r.People)+1 || !strings.Contains(whole, "How this was reckoned") {
		t.Error("parts are missing on paper")
	}
}

func TestNothing(t *testing.T) {
	t.Parallel()
	r, err := report.Make(read.Set{}, report.Options{})
	if err != nil {
		t.Fatal(err)
	}
	_, text := page(t, r)
	tame(t, text)
	if !strings.Contains(text, "Nobody is in this review.") {
		t.Error("an empty review says nothing")
	}
}

// TestCSV reads the file back: one line for every time that the report has, and the sums agree.
func TestCSV(t *testing.T) {
	t.Parallel()
	r := demo(t)
	var b bytes.Buffer
	if err := WriteCSV(&b, r); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&b).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	col := map[string]int{}
	for i, h := range rows[0] {
		col[h] = i
	}
	type sum struct{ n, ms int }
	got := map[string]sum{}
	for _, row := range rows[1:] {
		if row[col["state"]] != "done" {
			if row[col["hands_on_ms"]] != "" {
				t.Errorf("a broken-off step has a time: %q", row)
			}
			continue
		}
		ms, err := strconv.Atoi(row[col["hands_on_ms"]])
		if err != nil {
			t.Fatal(err)
		}
		k := row[col["trainee"]] + " " + row[col["step"]]
		got[k] = sum{got[k].n + 1, got[k].ms + ms}
	}
	for _, p := range r.People {
		for _, s := range p.Steps {
			want := sum{n: s.N}
			for _, v := range s.All {
				want.ms += int(v)
			}
			if g := got[p.Name+" "+s.Step]; g != want {
				t.Errorf("%s %s: %+v, want %+v", p.Name, s.Step, g, want)
			}
		}
	}
}

func TestHostileCSV(t *testing.T) {
	t.Parallel()
	var b bytes.Buffer
	if err := WriteCSV(&b, hostileReport(t)); err != nil {
		t.Fatal(err)
	}
	tame(t, b.String())
	rows, err := csv.NewReader(&b).ReadAll()
	if err != nil || len(rows) < 24*9 {
		t.Fatal(len(rows), err)
	}
	for _, c := range rows[1] {
		if strings.HasPrefix(c, "=") {
			t.Errorf("a cell is a formula: %q", c)
		}
	}
}

func TestNice(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ v, want float64 }{{0, 1000}, {1, 1}, {1.1, 2}, {2400, 5000}, {5001, 10_000}} {
		if got := nice(c.v); got != c.want {
			t.Errorf("nice(%v) = %v, want %v", c.v, got, c.want)
		}
	}
}
