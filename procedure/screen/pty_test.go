//go:build unix

package screen

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"twobin/procedure/screen/screentest"
)

// terminal is this test program as a screen on a pseudo-terminal.
type terminal struct {
	*screentest.Glass
	t    *testing.T
	cmd  *exec.Cmd
	told string
}

func open(t *testing.T, w, h int, env ...string) *terminal {
	t.Helper()
	x := &terminal{t: t, told: filepath.Join(t.TempDir(), "told"), cmd: exec.Command(os.Args[0])}
	x.cmd.Env = append(append(os.Environ(), "TERM=xterm-256color", "CI=1", childEnv+"="+x.told), env...)
	x.Glass = screentest.Start(t, x.cmd, w, h)
	return x
}

// ended waits for the program's end and gives what the desk was told.
func (x *terminal) ended() string {
	x.t.Helper()
	select {
	case <-x.Done:
	case <-time.After(10 * time.Second):
		x.t.Fatalf("still running:\n%s", x.Screen())
	}
	told, err := os.ReadFile(x.told)
	if err != nil {
		x.t.Fatal(err)
	}
	return string(told)
}

// restored: the alternate screen is off, the cursor is on, pasting is no longer bracketed.
func (x *terminal) restored() {
	x.t.Helper()
	raw := x.Raw()
	if x.AltScreen() {
		x.t.Error("the alternate screen is still on")
	}
	for _, m := range [][2]string{{"\x1b[?25l", "\x1b[?25h"}, {"\x1b[?2004h", "\x1b[?2004l"}, {"\x1b[?1049h", "\x1b[?1049l"}} {
		if strings.LastIndex(raw, m[0]) > strings.LastIndex(raw, m[1]) {
			x.t.Errorf("%q was not undone by %q", m[0], m[1])
		}
	}
	if !strings.Contains(raw[strings.LastIndex(raw, "\x1b[?1049l"):], "back in the shell") {
		x.t.Error("nothing is readable after the screen")
	}
}

func TestOnATerminal(t *testing.T) {
	t.Parallel()
	x := open(t, 80, 24)
	x.Until("green tape is on")
	x.SendUntil("g", "Who hands it over?")
	if strings.Contains(x.Screen(), "> g") {
		t.Errorf("the key that answered is typed into the next line:\n%s", x.Screen())
	}
	x.SendUntil("R", "> R")
	x.Resize(60, 20)
	x.Until("twobin needs 80x24, has 60x20.")
	x.Resize(100, 30)
	x.Until("> R")
	x.SendUntil("\r", "Start the copy now.")
	x.Until("0:02 of 0:30") // the clock runs without a key
	x.Send("\x11")          // ctrl+q
	told := x.ended()
	for _, want := range []string{"ID:mark.green Seq:7 Text:g", "ID:receive.from", "DoPutBack", "DoQuit"} {
		if !strings.Contains(told, want) {
			t.Errorf("the desk was not told %q:\n%s", want, told)
		}
	}
	x.restored()
}

// A signal ends the screen, tells the desk, and leaves a terminal that can be used.
func TestSignalsRestoreTheTerminal(t *testing.T) {
	t.Parallel()
	for _, s := range []syscall.Signal{syscall.SIGTERM, syscall.SIGHUP, syscall.SIGINT} {
		t.Run(s.String(), func(t *testing.T) {
			t.Parallel()
			x := open(t, 80, 24)
			x.Until("green tape is on")
			if err := x.cmd.Process.Signal(s); err != nil {
				t.Fatal(err)
			}
			if told := x.ended(); !strings.Contains(told, "DoQuit") || strings.Contains(told, "error") {
				t.Errorf("told: %s", told)
			}
			x.restored()
		})
	}
}

// A burst of typed-ahead bytes answers one prompt, not the next ones.
func TestBurstOnATerminal(t *testing.T) {
	t.Parallel()
	x := open(t, 80, 24)
	x.Until("green tape is on")
	for deadline := time.Now().Add(10 * time.Second); !strings.Contains(x.Screen(), "Who hands it over?"); {
		if time.Now().After(deadline) {
			t.Fatalf("the burst answers nothing:\n%s", x.Screen())
		}
		x.Send("gggg\rRobin\r\r\rss\rs\r")
		for end := time.Now().Add(300 * time.Millisecond); time.Now().Before(end); {
			time.Sleep(5 * time.Millisecond)
		}
	}
	if strings.Contains(x.Screen(), "Start the copy") {
		t.Errorf("typed ahead through a prompt:\n%s", x.Screen())
	}
	_ = x.cmd.Process.Signal(syscall.SIGTERM)
	if told := x.ended(); strings.Count(told, "Answer") != 1 {
		t.Errorf("more than one answer:\n%s", told)
	}
}

// NO_COLOR: no colour reaches the terminal; with colour, it does. CI, which turns colour off in other programs, does not
// decide here.
func TestNoColorOnATerminal(t *testing.T) {
	t.Parallel()
	for _, no := range []string{"", "1"} {
		x := open(t, 80, 24, "NO_COLOR="+no)
		x.Until("green tape is on")
		raw := x.Raw()
		found := false
		for _, m := range sgr.FindAllStringSubmatch(raw, -1) {
			found = found || isColour(m[1])
		}
		if found != (no == "") {
			t.Errorf("NO_COLOR=%q: colour %v", no, found)
		}
	}
}
