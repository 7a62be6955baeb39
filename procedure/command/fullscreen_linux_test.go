package command_test

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"twobin/procedure/screen/screentest"
)

// glass is the real program on a pseudo-terminal.
type glass struct {
	*screentest.Glass
	tb  testing.TB
	cmd *exec.Cmd
}

func openGlass(tb testing.TB, bin string, args ...string) *glass {
	tb.Helper()
	g := &glass{tb: tb, cmd: exec.Command(bin, args...)}
	g.cmd.Env = append(os.Environ(), "TERM=xterm-256color", "CI=1")
	g.Glass = screentest.Start(tb, g.cmd, 80, 24)
	return g
}

// still waits until the screen has not changed for as long as it ignores keys after it is drawn: in a critical step,
// which shows no bins, longer. Clocks change once a second.
func (g *glass) still() {
	last, since := g.Screen(), time.Now()
	pause := func() time.Duration {
		if strings.Contains(last, "Red bin") {
			return 60 * time.Millisecond
		}
		return 320 * time.Millisecond
	}
	for time.Since(since) < pause() {
		time.Sleep(5 * time.Millisecond)
		if now := g.Screen(); now != last {
			last, since = now, time.Now()
		}
	}
}

// choose presses one key until what it leads to is there.
func (g *glass) choose(key, text string) {
	g.tb.Helper()
	g.still()
	g.SendUntil(key, text)
}

// enter types text into a field until the screen shows it there: hidden or not, the field shows what is typed.
func (g *glass) enter(text string) {
	g.tb.Helper()
	g.still()
	if text != "" {
		g.SendUntil("\x15"+text, "> "+text) // ctrl+u empties the field first
	}
}

// fill types text into a field, sends it, and waits for what comes next.
func (g *glass) fill(text, next string) {
	g.tb.Helper()
	g.enter(text)
	g.choose("\r", next)
}

// toLog takes A001 from the red bin into the reader and starts its copy.
func (g *glass) toLog(s *station) {
	g.tb.Helper()
	g.choose("p", "Label as written on the card")
	g.fill("A001", "Label as written on the tape")
	g.fill("A001", "the tape is on the reader")
	g.choose("t", "waiting for the card")
	s.card.mount()
	g.Until("Start the copy now")
	g.choose("s", "Serial number")
}

func (g *glass) ended() int {
	g.tb.Helper()
	select {
	case <-g.Done:
	case <-time.After(20 * time.Second):
		g.tb.Fatalf("still running:\n%s", g.Screen())
	}
	_ = g.cmd.Wait() // the exit code says it
	return g.cmd.ProcessState.ExitCode()
}

// One roll by hand, full-screen, on real volumes: put back once, left once, looked at, erased, returned.
func TestFullScreenShiftOnRealMounts(t *testing.T) {
	s := newStation(t)
	args := []string{"shift", "--home", s.home, "--production", "Harbour Lights", "--day", "3", "--operator", "Kim", "--station", "cart",
		"--to", s.raid.at, "--to", s.shuttle.at, "--reader", s.card.at}
	g := openGlass(t, binary(t), args...)
	g.Until("A camera's letter")
	g.fill("A blue", "Next camera")
	g.choose("\r", "How are full cards marked")
	g.fill("red tape", "Kit:")
	g.choose("k", "Where do the bins stand")
	g.choose("b", "start the shift")
	g.choose("s", "The red bin is empty")
	g.choose("a", "Label on the tape")
	g.fill("A001", "Who hands it over")
	g.fill("Robin", "in its case, tape on")
	g.choose("b", "First in the red bin: A001")
	g.choose("p", "Label as written on the card")
	if strings.Contains(g.Screen(), "A001") {
		t.Errorf("the screen that asks for the label shows it:\n%s", g.Screen())
	}
	g.fill("A001", "Label as written on the tape")
	g.fill("A001", "the tape is on the reader")
	if strings.Contains(g.Screen(), "Red bin") {
		t.Errorf("the critical screen shows more than the step:\n%s", g.Screen())
	}
	g.choose("\x1b", "is put back")
	g.toLog(s)
	g.fill("S-0117", "Notes from the camera")
	g.choose("\r", "they are written")
	if !strings.Contains(g.Screen(), "4 files") || !strings.Contains(g.Screen(), "14.7 MB") {
		t.Errorf("the figures are not shown:\n%s", g.Screen())
	}
	g.choose("w", "how many files")
	if strings.Contains(g.Screen(), "4 files") {
		t.Errorf("the screen that asks for the figure shows it:\n%s", g.Screen())
	}
	g.fill("4", "what size")
	g.fill("14.7", "the card lies on the desk")
	s.card.umount()
	g.Until("card out")
	g.choose("d", "What stands for the dots")
	for range 2 {
		g.look(s)
	}
	g.Until("green tape is on")
	// Left on the desk, and gone on with.
	g.Send("\x11")
	if rc := g.ended(); rc != 0 {
		t.Errorf("left: exit code %d", rc)
	}
	g = openGlass(t, binary(t), "shift", "--home", s.home, "--reader", s.card.at)
	g.Until("green tape is on")
	g.choose("g", "it is in the green bin")
	g.choose("i", "The red bin is empty")
	g.choose("e", "waiting for the card")
	s.card.mount()
	g.Until("the card is in the reader")
	g.choose("i", "Erase: this cannot be undone")
	if strings.Contains(g.Screen(), "A001") {
		t.Errorf("the erase screen shows the label:\n%s", g.Screen())
	}
	g.enter("A001")
	g.Send("\r") // not the erase key: nothing happens
	if m, _ := filepath.Glob(filepath.Join(s.card.at, "CLIPS/*")); len(m) != 3 {
		t.Fatalf("Enter removed files: %v", m)
	}
	g.choose("\x05", "The card is empty")
	s.card.umount()
	g.Until("card out")
	g.fill("Robin", "A001 closed")
	if left, _ := filepath.Glob(filepath.Join(s.dir, "card/*")); len(left) != 0 {
		t.Errorf("the mount point holds %v", left)
	}
	g.Send("\x11")
	if rc := g.ended(); rc != 0 {
		t.Errorf("left: exit code %d", rc)
	}
}

// look answers the sighted check that is on the screen by looking at the drive.
func (g *glass) look(s *station) {
	g.tb.Helper()
	g.Until("What stands for the dots")
	text := strings.Join(strings.Fields(g.Screen()), " ")
	before, open, ok := strings.Cut(text, ": Open ")
	if !ok {
		g.tb.Fatalf("no sighted check:\n%s", g.Screen())
	}
	name := before[strings.LastIndex(before, " ")+1:]
	where, dots, _ := strings.Cut(open, ". What stands for the dots: ")
	shown, _, _ := strings.Cut(dots, " ")
	drive := map[string]*disk{"RAID": s.raid, "SHUTTLE": s.shuttle}[name]
	if drive == nil {
		g.tb.Fatalf("which drive is %q:\n%s", name, g.Screen())
	}
	next := "green tape is on"
	if name == "RAID" {
		next = "On SHUTTLE"
	}
	g.fill(seenOn(g.tb, drive, where, shown), next)
}
