package screen

import (
	"strings"
	"testing"
	"time"

	"twobin/procedure"
)

// What is around the trainee is on every view of a drill where something can be done, also where labels are hidden: the
// trainee reads the label from the card, and the drill's card is in these lines.
func TestDrillShowsWhatIsAround(t *testing.T) {
	t.Parallel()
	for _, s := range scenes() {
		if s.keys != nil && !strings.HasPrefix(s.name, "drill") {
			continue // panels lie over everything
		}
		s.view.Drill, s.view.World = "first roll", []string{"The card says A003."}
		if got := s.draw(t, 80, 24, false); !strings.Contains(got, "The card says A003.") {
			t.Errorf("%s:\n%s", s.name, got)
		}
	}
}

// An act in the drill is one key and a line, at every view; in a shift there is no such key.
func TestActInADrill(t *testing.T) {
	t.Parallel()
	for _, s := range scenes() {
		for _, name := range []string{"", "first roll"} {
			s.view.Drill, s.keys = name, nil
			x := drive(t, s.view, 80, 24, false)
			if s.then != nil {
				s.then(&x.desk.view)
				x.look()
				x.pass(time.Second)
			}
			x.press("ctrl+w")
			if got := strings.Contains(x.m.View(), "What do you do?"); got != (name != "") {
				t.Errorf("%s, drill %q: line %v:\n%s", s.name, name, got, x.m.View())
			}
			if name == "" {
				continue
			}
			x.press("answer", "enter")
			x.want(procedure.DoNote{Text: "do answer"})
		}
	}
}

// The line for an act outlives the clock's ticks in a critical step; other lines do not outlive its beginning.
func TestActLineStaysInACriticalStep(t *testing.T) {
	t.Parallel()
	x := drive(t, drill(startView()), 80, 24, false)
	x.press("ctrl+w", "ans")
	x.send(tickMsg{})
	x.press("wer", "enter")
	x.want(procedure.DoNote{Text: "do answer"})

	x = drive(t, choiceView(), 80, 24, false)
	x.press("ctrl+n", "half a note")
	x.desk.view = startView()
	x.look()
	x.pass(time.Second)
	x.press("enter", "s")
	x.want(procedure.Answer{ID: "start.go", Seq: 7, Text: "s"})
}

// What was half typed at the erase is there again after an act, and the act is not typed into it.
func TestActKeepsTheLine(t *testing.T) {
	t.Parallel()
	x := drive(t, drill(eraseView()), 80, 24, false)
	x.press("A0", "ctrl+w", "give", "esc", "03")
	x.pass(time.Second)
	x.press("ctrl+e")
	x.want(procedure.Answer{ID: "erase.label", Seq: 7, Text: "A003"})
}
