package text

import (
	"bytes"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode"

	"github.com/charmbracelet/x/ansi"
	"github.com/google/go-cmp/cmp"

	"twobin/procedure"
	"twobin/training/review/read"
	"twobin/training/review/report"
	"twobin/training/review/school"
)

var update = flag.Bool("update", false, "write the golden files anew")

// demo is the review of the invented school.
func demo(t testing.TB, o report.Options, so school.Options) *report.Report {
	t.Helper()
	paths, _, err := school.Write(t.TempDir(), so)
	if err != nil {
		t.Fatal(err)
	}
	set, err := read.Read(t.Context(), paths)
	if err != nil {
		t.Fatal(err)
	}
	r, err := report.Make(set, o)
	if err != nil {
		t.Fatal(err)
	}
	r.Demo = true
	return r
}

func write(t testing.TB, r *report.Report) string {
	t.Helper()
	var b bytes.Buffer
	if err := Write(&b, r); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// fits fails on lines that are too wide, on control characters, and on what is not ASCII but for texts from outside.
func fits(t *testing.T, s string) {
	t.Helper()
	for i, l := range strings.Split(s, "\n") {
		if w := ansi.StringWidth(l); w > Width {
			t.Errorf("line %d has %d columns: %s", i+1, w, l)
		}
		for _, c := range l {
			if unicode.IsControl(c) || c >= '\u202A' && c <= '\u202E' || c >= '\u2066' && c <= '\u2069' {
				t.Errorf("line %d has %U: %q", i+1, c, l)
			}
		}
	}
	for _, w := range []string{"NaN", "Inf", "%!", "<nil>"} {
		if strings.Contains(s, w) {
			t.Errorf("the text says %q", w)
		}
	}
}

func TestGolden(t *testing.T) {
	t.Parallel()
	sides, err := report.ParseSides("Dara,Morgan")
	if err != nil {
		t.Fatal(err)
	}
	r := demo(t, report.Options{References: []string{school.Teacher}, Trainees: []string{"Dara"}, Compare: sides, Steps: []procedure.Step{procedure.StepStart, procedure.StepLook}}, school.Options{})
	got := write(t, r)
	fits(t, got)
	name := filepath.Join("testdata", "dara.txt")
	if *update {
		if err := os.WriteFile(name, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), got); diff != "" {
		t.Error(diff)
	}
}

// TestWhole: everybody, every step, fits; every page that the terminal shows is part of the same words.
func TestWhole(t *testing.T) {
	t.Parallel()
	r := demo(t, report.Options{References: []string{school.Teacher}}, school.Options{Weeks: 5})
	whole := write(t, r)
	fits(t, whole)
	for i := range r.People {
		for _, page := range []string{Overview(r, i), Compliance(r, i), Standing(r, i), Times(r, i), Curve(r, i), Outliers(r, i), Step(r, i, 7)} {
			fits(t, page)
		}
		if !strings.Contains(whole, Compliance(r, i)) || !strings.Contains(whole, Curve(r, i)) {
			t.Errorf("%s: the page differs from the whole text", r.People[i].Name)
		}
	}
}

func TestNothing(t *testing.T) {
	t.Parallel()
	r, err := report.Make(read.Set{Left: []read.Left{{Path: "x.jsonl", Why: "is empty"}, {Path: "y.jsonl", Line: 6, Used: 5, Why: "is damaged in line 6: torn"}}}, report.Options{})
	if err != nil {
		t.Fatal(err)
	}
	got := write(t, r)
	fits(t, got)
	for _, want := range []string{
		"No journal of a drill or shift is in it.", "- x.jsonl is empty; nothing of it is in this review.",
		"- y.jsonl is damaged in line 6: torn; the 5 lines before it are in this review.",
	} {
		if !strings.Contains(got, want) {
			t.Errorf("the text lacks %q:\n%s", want, got)
		}
	}
}

// hostile is what a name must not be able to do: colour, move the cursor, set the title, turn the text, break the line.
const hostile = "\x1b[31mEve\x1b]0;title\x07\u202Egnp.exe\r\n\t\u009B2J<script>alert(1)</script>"

// Hostile is a review in which every text from outside is hostile.
func hostileReport(t *testing.T) *report.Report {
	t.Helper()
	s := read.Session{Path: "/tmp/" + hostile, Operator: hostile, Drill: hostile, Outcome: hostile, Lacking: hostile}
	for range 8 {
		r := read.Run{Roll: hostile, Pass: 1, Trainee: hostile, Marks: []read.Mark{{Kind: read.PutBack, Step: procedure.StepSeat, Text: hostile, Who: hostile}}}
		for s := procedure.StepPick; s <= procedure.StepBin; s++ {
			r.Done[s], r.Hands[s] = true, int64(1000+10*len(r.Marks))
		}
		s.Runs = append(s.Runs, r)
	}
	for i := range s.Runs {
		s.Runs[i].Hands[procedure.StepLook] += int64(i)
	}
	s.Runs[7].Hands[procedure.StepLook] = 90_000
	s.Incidents = []read.Incident{{Kind: hostile, Result: "wrong", Why: hostile, Who: hostile}}
	sides := &[2]report.Side{{Name: hostile}, {Name: hostile}}
	r, err := report.Make(read.Set{Sessions: []read.Session{s}, Left: []read.Left{{Path: hostile, Why: hostile}}}, report.Options{References: []string{hostile}, Compare: sides})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestHostileNames(t *testing.T) {
	t.Parallel()
	r := hostileReport(t)
	got := write(t, r)
	fits(t, got)
	if !strings.Contains(got, "Eve") || len(r.People[0].Outliers) == 0 {
		t.Error("the name is not there at all")
	}
	for _, page := range []string{Overview(r, 0), Outliers(r, 0), Standing(r, 0), Incidents(r), Comparison(r), Timeline([]read.Moment{{Text: hostile}})} {
		fits(t, page)
	}
}

func TestStrip(t *testing.T) {
	t.Parallel()
	x := report.Times{All: []float64{0, 100, 100, 100, 50, 900}}
	x.N, x.Median = 6, 100
	if got, want := strip(x, 100, 11), ":    :    >"; got != want {
		t.Errorf("strip = %q, want %q", got, want)
	}
	x.Median = 50
	if got, want := strip(x, 100, 11), ":    |    >"; got != want {
		t.Errorf("strip = %q, want %q", got, want)
	}
}
