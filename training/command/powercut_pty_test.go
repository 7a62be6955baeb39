//go:build unix

package command

import (
	"os/exec"
	"strconv"
	"testing"
	"time"

	"twobin/procedure/command"
	"twobin/procedure/screen/screentest"
	"twobin/training/drill"
)

// glass is the real program on a terminal.
type glass struct {
	*screentest.Glass
	tb  testing.TB
	cmd *exec.Cmd
}

func (s *station) glass(line string) *glass {
	s.tb.Helper()
	c := s.shell(line)
	return &glass{screentest.Start(s.tb, c, 80, 24), s.tb, c}
}

// fill types a text into the field that is asked, and sends it until next is there.
func (g *glass) fill(text, next string) {
	g.tb.Helper()
	if text != "" {
		g.SendUntil("\x15"+text, "> "+text) // ctrl+u empties the field first
	}
	g.SendUntil("\r", next)
}

// ended waits for the end of the process and gives its exit code.
func (g *glass) ended() int {
	g.tb.Helper()
	select {
	case <-g.Done:
	case <-time.After(patience):
		g.tb.Fatalf("still running:\n%s", g.Screen())
	}
	_ = g.cmd.Wait() // the exit code says it
	return g.cmd.ProcessState.ExitCode()
}

// Full-screen, the power cut gives the terminal back, and what to type stands on it; typed, the roll that was being copied
// is first in line.
func TestPowerCutFullScreen(t *testing.T) {
	t.Parallel()
	s, p := newStation(t), cutting(t)
	roll, cam := p.Rolls[0], p.Cameras[0]
	line := "twobin practice power-cut --trainee Noa --seed " + strconv.FormatInt(p.Seed, 10)
	g := s.glass(line)
	g.Until("A camera's letter")
	g.fill(string(cam.Camera)+" "+cam.Colour, "Next camera")
	g.fill("", "How are full cards marked")
	g.fill("red tape", "Kit:")
	g.SendUntil("k", "Where do the bins stand")
	g.SendUntil("b", "start the shift")
	g.SendUntil("s", "The red bin is empty")
	g.SendUntil("a", "Label on the tape")
	g.fill(string(roll.Label), "Who hands it over")
	g.fill(roll.From, "in its case, tape on")
	g.SendUntil("b", "First in the red bin")
	g.SendUntil("p", "Label as written on the card")
	g.fill(string(roll.Label), "Label as written on the tape")
	g.fill(string(roll.Label), "the tape is on the reader")
	g.SendUntil("t", "Start the copy now")
	g.SendUntil("s", "Serial number")
	if code := g.ended(); code != command.CodeFailed {
		t.Errorf("the power cut ends the program with code %d", code)
	}
	if g.AltScreen() || !g.Shows("Start it again:") || !g.Shows("twobin practice --trainee Noa") {
		t.Errorf("after the power cut, on the whole screen: %v\n%s", g.AltScreen(), g.Screen())
	}
	g = s.glass("twobin practice --trainee Noa")
	g.Until("First in the red bin: " + string(roll.Label))
	g.SendUntil("\x11", "the sandbox is removed")
	if code := g.ended(); code != 0 || !g.Shows("next: twobin practice "+drill.FirstRoll+" --coach full --trainee Noa") {
		t.Errorf("after it was left: code %d\n%s", code, g.Screen())
	}
	s.nothingLeft()
}
