package screen

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"twobin/procedure"
)

// A critical view shows the step, its clock and its key; nothing of the rest, whatever the desk says beside it.
func TestCriticalShowsNothingElse(t *testing.T) {
	t.Parallel()
	for _, v := range []procedure.View{startView(), eraseView()} {
		v.Copy = sampleCopy()
		v.Notes = []procedure.Note{{ID: 1, Text: "a note of the day"}}
		v.Notices = []procedure.Notice{{Grade: "info", What: "a new card has come"}}
		v.Drill = "first roll"
		v.Clocks = []procedure.Clock{{Name: "start", Since: 9 * time.Second, Limit: 30 * time.Second}}
		got := drive(t, v, 80, 24, false).m.View()
		for _, no := range []string{"a note of the day", "a new card", "51.3", "Harbour", "Red bin", "Green bin", "B002", "ctrl+n", "board", "Kim"} {
			if strings.Contains(got, no) {
				t.Errorf("%s shows %q:\n%s", v.Step.ID, no, got)
			}
		}
		for _, yes := range []string{"DRILL", "0:09", "0:30", "put back"} {
			if !strings.Contains(got, yes) {
				t.Errorf("%s lacks %q:\n%s", v.Step.ID, yes, got)
			}
		}
	}
}

// The word DRILL stands on every screen of a drill, and on none of a shift.
func TestDrillOnEveryScreen(t *testing.T) {
	t.Parallel()
	for _, s := range scenes() {
		for _, keys := range panels {
			for _, size := range [][2]int{{80, 24}, {60, 20}} {
				for _, name := range []string{"", "first roll"} {
					v := s
					v.view.Drill, v.view.World, v.keys = name, nil, keys
					if got := v.draw(t, size[0], size[1], false); strings.Contains(got, "DRILL") != (name != "") {
						t.Errorf("%s %v, drill %q:\n%s", s.name, keys, name, got)
					}
				}
			}
		}
	}
}

// No other view may look like the erase: only it has a frame.
func TestEraseLooksLikeNothingElse(t *testing.T) {
	t.Parallel()
	for _, s := range scenes() {
		framed := strings.ContainsAny(s.draw(t, 80, 24, false), "┏┓┃┗┛━")
		if want := strings.Contains(s.name, "erase"); framed != want {
			t.Errorf("%s: framed %v, want %v", s.name, framed, want)
		}
	}
}

// In brief the step is one line; prompt, keys and clock are the same.
func TestBrief(t *testing.T) {
	t.Parallel()
	for _, v := range []procedure.View{startView(), choiceView()} {
		v.Brief = true
		v.Step.Brief = "One short line."
		got := drive(t, v, 80, 24, false).m.View()
		if !strings.Contains(got, "One short line.") || strings.Contains(got, v.Step.Hands[0]+"\n") && v.Step.Hands[0] != v.Prompt.Question {
			t.Errorf("not brief:\n%s", got)
		}
		if !strings.Contains(got, v.Prompt.Options[0].Text) {
			t.Errorf("the answer is missing:\n%s", got)
		}
	}
}

// The bell sounds once for each ring, not for the state on arrival, and in a critical step only for a fault.
func TestBell(t *testing.T) {
	t.Parallel()
	tests := []struct {
		bell     string
		critical bool
		want     int
	}{{"done", false, 1}, {"fault", false, 1}, {"done", true, 0}, {"fault", true, 1}}
	for _, tt := range tests {
		v := choiceView()
		if tt.critical {
			v = startView()
		}
		v.Bell, v.BellSeq = tt.bell, 4
		x := drive(t, v, 80, 24, false)
		if x.rung != 0 {
			t.Errorf("%s rings on arrival", tt.bell)
		}
		x.desk.view.BellSeq = 5
		x.look()
		x.look()
		if x.rung != tt.want {
			t.Errorf("%s, critical %v: rang %d times, want %d", tt.bell, tt.critical, x.rung, tt.want)
		}
	}
}

// Going on clears messages that had time to be read; what went wrong stays until ctrl+x.
func TestMessagesAreCleared(t *testing.T) {
	t.Parallel()
	answer := procedure.Answer{ID: "mark.green", Seq: 7, Text: "g"}
	tests := []struct {
		name  string
		grade string
		after time.Duration
		key   string
		want  []procedure.Intent
	}{
		{"read", "look", 2 * time.Second, "g", []procedure.Intent{procedure.DoDismiss{}, answer}},
		{"just come", "look", 500 * time.Millisecond, "g", []procedure.Intent{answer}},
		{"something went wrong", "stop", time.Hour, "g", []procedure.Intent{answer}},
		{"by its key", "stop", 0, "ctrl+x", []procedure.Intent{procedure.DoDismiss{}}},
		{"esc puts back and clears nothing", "stop", 0, "esc", nil},
	}
	for _, tt := range tests {
		x := drive(t, choiceView(), 80, 24, false)
		x.desk.view.Notices = []procedure.Notice{{Grade: tt.grade, What: "something."}}
		x.look()
		x.pass(tt.after)
		x.press(tt.key)
		x.want(tt.want...)
	}
}

// A note, or a drive that goes, asks the same question anew: what is half typed stays. After an answer of this screen
// the line is empty.
func TestHalfTypedText(t *testing.T) {
	t.Parallel()
	for _, id := range []string{"receive.from", "log.notes"} {
		x := drive(t, at(procedure.StepReceive, ask(id, "Who?")), 80, 24, false)
		x.press("Ro")
		again := ask(id, "Who?")
		again.Seq = 8
		x.desk.view.Prompt = again
		x.look()
		x.press("b")
		if got := x.m.entry.value(); got != "Rob" {
			t.Errorf("%s: the line holds %q, want Rob", id, got)
		}
		x.desk.do = func(d *fakeDesk, _ procedure.Intent) error { p := *again; p.Seq = 9; d.view.Prompt = &p; return nil }
		x.press("enter")
		x.want(procedure.Answer{ID: id, Seq: 8, Text: "Rob"})
		if got := x.m.entry.value(); got != "" {
			t.Errorf("%s: the line holds %q after the answer", id, got)
		}
	}
	x := drive(t, eraseView(), 80, 24, false)
	x.press("A00")
	p := *x.desk.view.Prompt
	p.Seq++
	x.desk.view.Prompt = &p
	x.look()
	if got := x.m.entry.value(); got != "" {
		t.Errorf("the erase's line holds %q from before", got)
	}
}

// Views come one at a time and in order: a look that is wanted while another is under way follows it.
func TestLooksKeepTheirOrder(t *testing.T) {
	t.Parallel()
	x := drive(t, choiceView(), 80, 24, false)
	first := x.m.look()
	if first == nil {
		t.Fatal("no look")
	}
	if again := x.m.look(); again != nil {
		t.Fatal("two looks at a time")
	}
	old := first().(viewMsg)
	x.desk.view.Operator = "Sam"
	x.send(old)
	if !strings.Contains(x.m.View(), "Sam") {
		t.Errorf("the newer view was not fetched:\n%s", x.m.View())
	}
}

// A running copy or clock is drawn every 100 ms; nothing ticks otherwise.
func TestTicks(t *testing.T) {
	t.Parallel()
	still := drive(t, choiceView(), 80, 24, false)
	if still.m.ticking {
		t.Error("ticks without anything that runs")
	}
	v := choiceView()
	v.Copy = sampleCopy()
	x := drive(t, v, 80, 24, false)
	if !x.m.ticking {
		t.Fatal("a running copy does not tick")
	}
	x.desk.view.Copy = sampleCopy()
	x.desk.view.Copy.FilesDone = 97
	x.send(tickMsg{})
	if !strings.Contains(x.m.View(), "97 of 214 files") || !x.m.ticking {
		t.Errorf("a tick does not draw the copy anew:\n%s", x.m.View())
	}
}

// In a window that is too small no key answers anything, but leaving works.
func TestTooSmallTakesNoAnswer(t *testing.T) {
	t.Parallel()
	x := drive(t, choiceView(), 79, 24, false)
	x.press("g", "esc", "ctrl+a")
	x.want()
	x.send(tea.WindowSizeMsg{Width: 80, Height: 24})
	x.press("g")
	x.want(procedure.Answer{ID: "mark.green", Seq: 7, Text: "g"})
}

// Every command that the desk offers is on the help line, and none that it does not.
func TestHelpFollowsTheDesk(t *testing.T) {
	t.Parallel()
	v := choiceView()
	v.Commands = []string{"hold REASON", "why", "away"}
	got := drive(t, v, 80, 24, false).m.View()
	for word, want := range map[string]bool{"on hold": true, "called away": true, "why": true, "does not fit": false, "board": false, "ctrl+q": false} {
		if strings.Contains(got[strings.LastIndex(got, "─"):], word) != want {
			t.Errorf("help has %q: %v, want %v:\n%s", word, !want, want, got)
		}
	}
}

// The board says which note is done by its number.
func TestBoardClosesNotes(t *testing.T) {
	t.Parallel()
	v := choiceView()
	v.Notes = []procedure.Note{{ID: 2, Text: "new plate"}}
	x := drive(t, v, 80, 24, false)
	x.press("ctrl+b", "1", "2")
	x.want(procedure.DoNoteDone{ID: 2})

	// Numbers of two digits, and one that another begins with.
	v.Notes = []procedure.Note{{ID: 1, Text: "a"}, {ID: 12, Text: "b"}, {ID: 13, Text: "c"}, {ID: 20, Text: "d"}}
	for _, c := range []struct {
		keys []string
		want int
	}{{[]string{"1", "enter"}, 1}, {[]string{"1", "2"}, 12}, {[]string{"9", "1", "3"}, 13}, {[]string{"2", "0"}, 20}} {
		x := drive(t, v, 80, 24, false)
		x.press(append([]string{"ctrl+b"}, c.keys...)...)
		x.want(procedure.DoNoteDone{ID: c.want})
	}
}

// The board is the desk's own, drawn for the room there is; while a label or a figure is asked it is not shown, as it
// could tell it.
func TestBoard(t *testing.T) {
	t.Parallel()
	draw := func(w, h int) string { return fmt.Sprintf("A 001 to 003 in %dx%d\x1b[2J\n", w, h) }
	x := drive(t, choiceView(), 80, 24, false)
	x.m.draw = draw
	x.press("ctrl+b")
	if got := x.m.View(); !strings.Contains(got, "A 001 to 003 in 80x15·[2J") {
		t.Errorf("no board:\n%s", got)
	}
	x = drive(t, at(procedure.StepPick, askHidden("pick.card", "Label?")), 80, 24, false)
	x.m.draw = draw
	x.press("ctrl+b")
	if got := x.m.View(); strings.Contains(got, "003") {
		t.Errorf("the board tells the label:\n%s", got)
	}
}

// While the operator is away the screen stays as it was left, whatever happens to the desk.
func TestAwayIsFrozen(t *testing.T) {
	t.Parallel()
	x := drive(t, choiceView(), 80, 24, false)
	x.desk.view.Away = true
	x.look()
	x.desk.view.Strip.Red = append(x.desk.view.Strip.Red, "C001")
	x.look()
	if got := x.m.View(); strings.Contains(got, "C001") || !strings.Contains(got, "B002") {
		t.Errorf("not frozen:\n%s", got)
	}
}

// Drawing twice gives the same: View changes nothing.
func TestViewChangesNothing(t *testing.T) {
	t.Parallel()
	for _, s := range scenes() {
		x := drive(t, s.view, 80, 24, true)
		strip := slices.Clone(x.m.view.Strip.Red)
		if a, b := x.m.View(), x.m.View(); a != b {
			t.Errorf("%s: the second drawing differs", s.name)
		}
		if !slices.Equal(strip, x.m.view.Strip.Red) {
			t.Errorf("%s: drawing changed the view", s.name)
		}
	}
}

// An ended shift ends the screen.
func TestEnded(t *testing.T) {
	t.Parallel()
	x := drive(t, choiceView(), 80, 24, false)
	x.desk.view.Ended = true
	x.look()
	if !x.quit {
		t.Error("the screen stays after the end")
	}
}
