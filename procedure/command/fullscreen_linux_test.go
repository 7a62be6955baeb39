package command_test

import (
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/charmbracelet/x/vt"
	"github.com/creack/pty"
)

// glass is the real program on a pseudo-terminal, with an emulator that reads its screen.
type glass struct {
	tb   testing.TB
	cmd  *exec.Cmd
	pty  *os.File
	done chan struct{}
	mu   sync.Mutex
	emu  *vt.Emulator
}

func openGlass(tb testing.TB, bin string, args ...string) *glass {
	tb.Helper()
	g := &glass{tb: tb, cmd: exec.Command(bin, args...), done: make(chan struct{}), emu: vt.NewEmulator(80, 24)}
	g.cmd.Env = append(os.Environ(), "TERM=xterm-256color", "CI=1")
	f, err := pty.StartWithSize(g.cmd, &pty.Winsize{Rows: 24, Cols: 80})
	if err != nil {
		tb.Skipf("no pseudo-terminal here: %v", err)
	}
	g.pty = f
	go func() { _, _ = io.Copy(f, g.emu) }() // answers to queries; its pipe has no buffer
	go func() {
		defer close(g.done)
		buf := make([]byte, 4096)
		for {
			n, err := f.Read(buf)
			g.mu.Lock()
			_, _ = g.emu.Write(buf[:n])
			g.mu.Unlock()
			if err != nil {
				return // EIO: the program has ended
			}
		}
	}()
	tb.Cleanup(func() { _ = g.cmd.Process.Kill(); _ = f.Close() })
	return g
}

func (g *glass) screen() string {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.emu.String()
}

// shows says whether a text is on the screen, be it broken over lines.
func (g *glass) shows(text string) bool { return strings.Contains(oneLine(g.screen()), text) }

// until waits for a text on the screen.
func (g *glass) until(text string) {
	g.tb.Helper()
	deadline := time.Now().Add(30 * time.Second)
	for !g.shows(text) {
		if time.Now().After(deadline) {
			g.tb.Fatalf("%q did not come:\n%s", text, g.screen())
		}
		time.Sleep(5 * time.Millisecond)
	}
}

// still waits until the screen has not changed for as long as it ignores keys after it is drawn: in a critical step,
// which shows no bins, longer. Clocks change once a second.
func (g *glass) still() {
	last, since := g.screen(), time.Now()
	pause := func() time.Duration {
		if strings.Contains(last, "Red bin") {
			return 60 * time.Millisecond
		}
		return 320 * time.Millisecond
	}
	for time.Since(since) < pause() {
		time.Sleep(5 * time.Millisecond)
		if now := g.screen(); now != last {
			last, since = now, time.Now()
		}
	}
}

// choose presses one key until what it leads to is there.
func (g *glass) choose(key, text string) {
	g.tb.Helper()
	g.still()
	deadline := time.Now().Add(30 * time.Second)
	for !g.shows(text) {
		if time.Now().After(deadline) {
			g.tb.Fatalf("%q did not come after %q:\n%s", text, key, g.screen())
		}
		g.send(key)
		for end := time.Now().Add(time.Second); time.Now().Before(end) && !g.shows(text); {
			time.Sleep(5 * time.Millisecond)
		}
	}
}

func (g *glass) send(keys string) {
	g.tb.Helper()
	if _, err := g.pty.WriteString(keys); err != nil {
		g.tb.Fatal(err)
	}
}

// enter types text into a field until the screen shows it there: hidden or not, the field shows what is typed.
func (g *glass) enter(text string) {
	g.tb.Helper()
	g.still()
	for deadline := time.Now().Add(20 * time.Second); text != "" && !strings.Contains(g.screen(), "> "+text); {
		if time.Now().After(deadline) {
			g.tb.Fatalf("%q cannot be typed:\n%s", text, g.screen())
		}
		g.send("\x15" + text) // ctrl+u empties the field first
		for end := time.Now().Add(time.Second); time.Now().Before(end) && !strings.Contains(g.screen(), "> "+text); {
			time.Sleep(5 * time.Millisecond)
		}
	}
}

// fill types text into a field, sends it, and waits for what comes next.
func (g *glass) fill(text, next string) {
	g.tb.Helper()
	g.enter(text)
	g.choose("\r", next)
}

func (g *glass) ended() int {
	g.tb.Helper()
	select {
	case <-g.done:
	case <-time.After(20 * time.Second):
		g.tb.Fatalf("still running:\n%s", g.screen())
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
	g.until("A camera's letter")
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
	if strings.Contains(g.screen(), "A001") {
		t.Errorf("the screen that asks for the label shows it:\n%s", g.screen())
	}
	g.fill("A001", "Label as written on the tape")
	g.fill("A001", "the tape is on the reader")
	if strings.Contains(g.screen(), "Red bin") {
		t.Errorf("the critical screen shows more than the step:\n%s", g.screen())
	}
	g.choose("\x1b", "is put back")
	g.choose("p", "Label as written on the card")
	g.fill("A001", "Label as written on the tape")
	g.fill("A001", "the tape is on the reader")
	g.choose("t", "waiting for the card")
	s.card.mount()
	g.until("Start the copy now")
	g.choose("s", "Serial number")
	g.fill("S-0117", "Notes from the camera")
	g.choose("\r", "they are written")
	if !strings.Contains(g.screen(), "4 files") || !strings.Contains(g.screen(), "14.7 MB") {
		t.Errorf("the figures are not shown:\n%s", g.screen())
	}
	g.choose("w", "how many files")
	if strings.Contains(g.screen(), "4 files") {
		t.Errorf("the screen that asks for the figure shows it:\n%s", g.screen())
	}
	g.fill("4", "what size")
	g.fill("14.7", "the card lies on the desk")
	s.card.umount()
	g.until("card out")
	g.choose("d", "What stands for the dots")
	for range 2 {
		g.look(s)
	}
	g.until("green tape is on")
	// Left on the desk, and gone on with.
	g.send("\x11")
	if rc := g.ended(); rc != 0 {
		t.Errorf("left: exit code %d", rc)
	}
	g = openGlass(t, binary(t), "shift", "--home", s.home, "--reader", s.card.at)
	g.until("green tape is on")
	g.choose("g", "it is in the green bin")
	g.choose("i", "The red bin is empty")
	g.choose("e", "waiting for the card")
	s.card.mount()
	g.until("the card is in the reader")
	g.choose("i", "Erase: this cannot be undone")
	if strings.Contains(g.screen(), "A001") {
		t.Errorf("the erase screen shows the label:\n%s", g.screen())
	}
	g.enter("A001")
	g.send("\r") // not the erase key: nothing happens
	if m, _ := filepath.Glob(filepath.Join(s.card.at, "CLIPS/*")); len(m) != 3 {
		t.Fatalf("Enter removed files: %v", m)
	}
	g.choose("\x05", "The card is empty")
	s.card.umount()
	g.until("card out")
	g.fill("Robin", "A001 closed")
	if left, _ := filepath.Glob(filepath.Join(s.dir, "card/*")); len(left) != 0 {
		t.Errorf("the mount point holds %v", left)
	}
	g.send("\x11")
	if rc := g.ended(); rc != 0 {
		t.Errorf("left: exit code %d", rc)
	}
}

// look answers the sighted check that is on the screen by looking at the drive.
func (g *glass) look(s *station) {
	g.tb.Helper()
	g.until("What stands for the dots")
	text := strings.Join(strings.Fields(g.screen()), " ")
	before, open, ok := strings.Cut(text, ": Open ")
	if !ok {
		g.tb.Fatalf("no sighted check:\n%s", g.screen())
	}
	name := before[strings.LastIndex(before, " ")+1:]
	where, dots, _ := strings.Cut(open, ". What stands for the dots: ")
	shown, _, _ := strings.Cut(dots, " ")
	drive := map[string]*disk{"RAID": s.raid, "SHUTTLE": s.shuttle}[name]
	if drive == nil {
		g.tb.Fatalf("which drive is %q:\n%s", name, g.screen())
	}
	next := "green tape is on"
	if name == "RAID" {
		next = "On SHUTTLE"
	}
	g.fill(seenOn(g.tb, drive, where, shown), next)
}
