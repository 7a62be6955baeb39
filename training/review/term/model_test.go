package term

import (
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/charmbracelet/lipgloss"
	"github.com/charmbracelet/x/ansi"

	"twobin/training/review/read"
	"twobin/training/review/report"
	"twobin/training/review/school"
)

// demo is a review of an invented school, small but with control charts.
func demo(t testing.TB) *report.Report {
	t.Helper()
	paths, _, err := school.Write(t.TempDir(), school.Options{Weeks: 4, Profiles: school.Profiles()[:3]})
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
	return r
}

func plainStyles() styles { return newStyles(lipgloss.NewRenderer(io.Discard)) }

func start(r *report.Report) *model { return newModel(r, plainStyles(), read.Timeline) }

// press sends keys, one a word, and runs the commands that they start.
func press(t testing.TB, m *model, keys string) tea.Msg {
	t.Helper()
	var last tea.Msg
	for _, k := range strings.Fields(keys) {
		_, cmd := m.key(map[string]string{"space": " "}[k] + map[bool]string{true: k}[k != "space"])
		if cmd == nil {
			continue
		}
		last = cmd()
		if _, quit := last.(tea.QuitMsg); !quit {
			m.Update(last)
		}
	}
	return last
}

// fits fails on a screen that is not of its size, or that holds control characters.
func fits(t testing.TB, m *model) string {
	t.Helper()
	v := m.View()
	lines := strings.Split(v, "\n")
	if len(lines) != m.high {
		t.Errorf("%d lines on a screen of %d:\n%s", len(lines), m.high, v)
	}
	for _, l := range lines {
		if w := ansi.StringWidth(l); w > m.wide {
			t.Errorf("a line of %d columns on a screen of %d: %s", w, m.wide, l)
		}
		for _, c := range ansi.Strip(l) {
			if unicode.IsControl(c) {
				t.Fatalf("the screen holds %U: %q", c, l)
			}
		}
	}
	return v
}

func wants(t testing.TB, v string, words ...string) {
	t.Helper()
	for _, w := range words {
		if !strings.Contains(v, w) {
			t.Errorf("the screen lacks %q:\n%s", w, v)
		}
	}
}

// TestWalk goes from the people to one run's timeline and back, by every page.
func TestWalk(t *testing.T) {
	t.Parallel()
	m := start(demo(t))
	wants(t, fits(t, m), "> Ada", "  Bela", "Incidents of everybody", "Comparison", "this is no ranking")
	press(t, m, "down enter")
	wants(t, fits(t, m), "Bela", "[1 overview]", "ready yet")
	for i, w := range []string{"errors of order", "median", "Learning curve", "Control chart: receive", "Enter: the run", "Enter: the runs of a drill", "the newest first"} {
		press(t, m, "right")
		wants(t, fits(t, m), w, fmt.Sprintf("[%d ", i+2))
	}
	press(t, m, "tab") // round again
	wants(t, fits(t, m), "[1 overview]")
	press(t, m, "7 down enter")
	wants(t, fits(t, m), "drill red-bin")
	press(t, m, "enter")
	wants(t, fits(t, m), "answer took", "label read from the card: ", "picked, pass")
	press(t, m, "esc")
	wants(t, fits(t, m), "drill red-bin")
	press(t, m, "esc")
	wants(t, fits(t, m), "[7 drills]", "> red-bin")
	press(t, m, "esc esc")
	wants(t, fits(t, m), "> Bela")
	press(t, m, "esc") // there is nothing above
	wants(t, fits(t, m), "> Bela")
}

// TestSteps chooses a step; the page shows its row, how its times lie, and its chart.
func TestSteps(t *testing.T) {
	t.Parallel()
	m := start(demo(t))
	press(t, m, "enter 5 ] ]")
	wants(t, fits(t, m), "Control chart: seat", "seat      |")
	press(t, m, "[ [ [")
	wants(t, fits(t, m), "Control chart: return")
}

// TestOutliersLeadToTheirRun: the timeline is that of the run in which the time stands.
func TestOutliersLeadToTheirRun(t *testing.T) {
	t.Parallel()
	r := demo(t)
	m := start(r)
	o := r.People[0].Outliers
	if len(o) < 2 {
		t.Fatal("the school has too few outliers for this test")
	}
	press(t, m, "enter 6 down enter")
	v := fits(t, m)
	wants(t, v, o[1].Roll, o[1].Began.Format("2006-01-02 15:04"))
	press(t, m, "esc")
	wants(t, fits(t, m), "[6 outliers]")
	if m.list.at != 1 {
		t.Errorf("line %d is chosen, want 1", m.list.at)
	}
}

func TestWholePages(t *testing.T) {
	t.Parallel()
	m := start(demo(t))
	press(t, m, "end enter")
	wants(t, fits(t, m), "What this rests on", "Standard: the median of Morgan")
	press(t, m, "space esc up enter")
	wants(t, fits(t, m), "COMPARISON: ADA AND BELA")
	press(t, m, "esc up enter")
	wants(t, fits(t, m), "RIGHT/LATE/WRONG/MISSED", "call-start")
	if msg := press(t, m, "q"); msg != (tea.QuitMsg{}) {
		t.Errorf("q gives %v", msg)
	}
}

// TestSizes: every page fits every size; a terminal that is too small says so.
func TestSizes(t *testing.T) {
	t.Parallel()
	r := demo(t)
	for _, size := range [][2]int{{80, 24}, {140, 50}, {40, 10}, {61, 13}} {
		m := start(r)
		m.Update(tea.WindowSizeMsg{Width: size[0], Height: size[1]})
		fits(t, m)
		press(t, m, "enter")
		for range tabs {
			fits(t, m)
			press(t, m, "pgdown end")
			fits(t, m)
			press(t, m, "right")
		}
		press(t, m, "8 end enter")
		fits(t, m)
		m.Update(tea.WindowSizeMsg{Width: 40, Height: 10})
		fits(t, m)
	}
	m := start(r)
	m.Update(tea.WindowSizeMsg{Width: 30, Height: 8})
	wants(t, m.View(), "Too small: 30x8", "40x10")
}

// TestUnreadable: a journal that went away meanwhile is said, not shown as an empty run.
func TestUnreadable(t *testing.T) {
	t.Parallel()
	m := newModel(demo(t), plainStyles(), func(string, string, int64, int64) ([]read.Moment, error) {
		return nil, errors.New("no \x1b[2Jsuch file")
	})
	press(t, m, "enter 8 enter")
	wants(t, fits(t, m), "cannot be read now: no ·[2Jsuch file")
}

func TestEmpty(t *testing.T) {
	t.Parallel()
	r, err := report.Make(read.Set{}, report.Options{})
	if err != nil {
		t.Fatal(err)
	}
	m := start(r)
	wants(t, fits(t, m), "0 drills, 0 shifts", "> Incidents of everybody")
	press(t, m, "enter")
	fits(t, m)
	press(t, m, "esc end enter")
	wants(t, fits(t, m), "No journal of a drill or shift")
}

// TestHostile: a name cannot draw on the screen.
func TestHostile(t *testing.T) {
	t.Parallel()
	const name = "\x1b]0;title\x07\x1b[2JEve\r\n\u202E"
	s := read.Session{Path: filepath.Join(t.TempDir(), name), Operator: name, Drill: name, Outcome: name, Began: time.Date(2031, 5, 6, 8, 0, 0, 0, time.UTC)}
	s.Runs = []read.Run{{Roll: name, Pass: 1, Trainee: name, Marks: []read.Mark{{Kind: read.Hold, Text: name, Who: name}}}}
	r, err := report.Make(read.Set{Sessions: []read.Session{s}}, report.Options{})
	if err != nil {
		t.Fatal(err)
	}
	m := start(r)
	wants(t, fits(t, m), "Eve")
	press(t, m, "enter")
	for range tabs {
		fits(t, m)
		press(t, m, "right")
	}
	press(t, m, "8 enter")
	wants(t, fits(t, m), "cannot be read now")
}
