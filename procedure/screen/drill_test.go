package screen

import (
	"fmt"
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

// Where a drill leaves too little room, the coach's reason goes first; what is to be seen and heard stays whole.
func TestReasonYieldsToFacts(t *testing.T) {
	t.Parallel()
	v := choiceView()
	v.Drill, v.Reason = "first roll", "a reason that can wait"
	v.World = []string{"The card says A003."}
	if got := drive(t, v, 80, 24, false).m.View(); !strings.Contains(got, v.Reason) {
		t.Errorf("with room the reason is not shown:\n%s", got)
	}
	for i := range 4 {
		v.World = append(v.World, fmt.Sprintf("Fact number %d of the world around.", i))
	}
	v.Notices = []procedure.Notice{{Grade: "stop", What: "Something went wrong.", Safe: "the card.", Do: "look."}}
	got := drive(t, v, 80, 24, false).m.View()
	for _, l := range v.World {
		if !strings.Contains(got, l) {
			t.Errorf("%q is not shown:\n%s", l, got)
		}
	}
	if strings.Contains(got, v.Reason) {
		t.Errorf("the reason has kept its place:\n%s", got)
	}
}

// A lock of which every condition holds is one line where a refusal and a drill need the room; one that is closed never.
func TestLockYieldsToRefusal(t *testing.T) {
	t.Parallel()
	v := eraseView()
	v.Drill = "first roll"
	v.World = []string{"The tape that you kept reads A003.", "The phone on the cart rings.", "Somebody stands at the cart."}
	v.Notices = []procedure.Notice{{Grade: "look", What: "\"A004\" is not the label of this roll.", Do: "nothing was removed. Read it from the tape you kept; not sure: put back."}}
	got := drive(t, v, 80, 24, false).m.View()
	for _, want := range append(v.World, "L1 to L8 hold, every condition", "is not the label of this roll", "nothing was removed") {
		if !strings.Contains(got, want) {
			t.Errorf("%q is not shown:\n%s", want, got)
		}
	}
	v.Lock[4].Holds, v.Lock[4].Says = false, "RAID is not mounted"
	if got := drive(t, v, 80, 24, false).m.View(); strings.Contains(got, "every condition") || !strings.Contains(got, "RAID is not mounted") {
		t.Errorf("a closed lock is told in short:\n%s", got)
	}
}
