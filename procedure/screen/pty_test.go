//go:build unix

package screen

import (
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/charmbracelet/x/vt"
	"github.com/creack/pty"
)

// terminal is this test program as a screen on a pseudo-terminal, with an emulator that reads it.
type terminal struct {
	t    *testing.T
	cmd  *exec.Cmd
	pty  *os.File
	told string
	done chan struct{}

	mu  sync.Mutex
	emu *vt.Emulator
	raw strings.Builder
}

func open(t *testing.T, w, h int, env ...string) *terminal {
	t.Helper()
	x := &terminal{t: t, told: filepath.Join(t.TempDir(), "told"), done: make(chan struct{}), emu: vt.NewEmulator(w, h)}
	x.cmd = exec.Command(os.Args[0])
	x.cmd.Env = append(append(os.Environ(), "TERM=xterm-256color", "CI=1", childEnv+"="+x.told), env...)
	f, err := pty.StartWithSize(x.cmd, &pty.Winsize{Rows: uint16(h), Cols: uint16(w)})
	if err != nil {
		t.Skipf("no pseudo-terminal here: %v", err)
	}
	x.pty = f
	answered := make(chan struct{})
	go func() { // the emulator's answers to queries go to the program; its pipe has no buffer
		defer close(answered)
		_, _ = io.Copy(f, x.emu)
	}()
	go func() {
		defer close(x.done)
		buf := make([]byte, 4096)
		for {
			n, err := f.Read(buf)
			x.mu.Lock()
			x.raw.Write(buf[:n])
			_, _ = x.emu.Write(buf[:n])
			x.mu.Unlock()
			if err != nil {
				return // EIO: the program has ended
			}
		}
	}()
	t.Cleanup(func() {
		_ = x.cmd.Process.Kill()
		_, _ = x.cmd.Process.Wait()
		<-x.done
		if p, ok := x.emu.InputPipe().(io.Closer); ok { // the emulator's own Close is not safe beside its Read
			_ = p.Close()
			<-answered
		}
		_ = f.Close()
	})
	return x
}

func (x *terminal) screen() string {
	x.mu.Lock()
	defer x.mu.Unlock()
	return x.emu.String()
}

// until waits for a text on the screen.
func (x *terminal) until(text string) {
	x.t.Helper()
	deadline := time.Now().Add(10 * time.Second)
	for !strings.Contains(x.screen(), text) {
		if time.Now().After(deadline) {
			x.t.Fatalf("%q did not come:\n%s", text, x.screen())
		}
		time.Sleep(5 * time.Millisecond)
	}
}

// keys sends bytes again and again until a text is there: the first ones may fall into the pause after a new prompt.
func (x *terminal) keys(bytes, text string) {
	x.t.Helper()
	deadline := time.Now().Add(10 * time.Second)
	for !strings.Contains(x.screen(), text) {
		if time.Now().After(deadline) {
			x.t.Fatalf("%q did not come after %q:\n%s", text, bytes, x.screen())
		}
		if _, err := x.pty.WriteString(bytes); err != nil {
			x.t.Fatal(err)
		}
		for end := time.Now().Add(500 * time.Millisecond); time.Now().Before(end) && !strings.Contains(x.screen(), text); {
			time.Sleep(5 * time.Millisecond)
		}
	}
}

// ended waits for the program's end and gives what the desk was told.
func (x *terminal) ended() string {
	x.t.Helper()
	select {
	case <-x.done:
	case <-time.After(10 * time.Second):
		x.t.Fatalf("still running:\n%s", x.screen())
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
	x.mu.Lock()
	defer x.mu.Unlock()
	raw := x.raw.String()
	if x.emu.IsAltScreen() {
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
	x.until("green tape is on")
	x.keys("g", "Who hands it over?")
	if strings.Contains(x.screen(), "> g") {
		t.Errorf("the key that answered is typed into the next line:\n%s", x.screen())
	}
	x.keys("R", "> R")
	if err := pty.Setsize(x.pty, &pty.Winsize{Rows: 20, Cols: 60}); err != nil {
		t.Fatal(err)
	}
	x.until("twobin needs 80x24, has 60x20.")
	x.mu.Lock()
	x.emu.Resize(100, 30)
	x.mu.Unlock()
	if err := pty.Setsize(x.pty, &pty.Winsize{Rows: 30, Cols: 100}); err != nil {
		t.Fatal(err)
	}
	x.until("> R")
	x.keys("\r", "Start the copy now.")
	x.until("0:02 of 0:30")                              // the clock runs without a key
	if _, err := x.pty.WriteString("\x11"); err != nil { // ctrl+q
		t.Fatal(err)
	}
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
			x.until("green tape is on")
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
	x.until("green tape is on")
	for deadline := time.Now().Add(10 * time.Second); !strings.Contains(x.screen(), "Who hands it over?"); {
		if time.Now().After(deadline) {
			t.Fatalf("the burst answers nothing:\n%s", x.screen())
		}
		if _, err := x.pty.WriteString("gggg\rRobin\r\r\rss\rs\r"); err != nil {
			t.Fatal(err)
		}
		for end := time.Now().Add(300 * time.Millisecond); time.Now().Before(end); {
			time.Sleep(5 * time.Millisecond)
		}
	}
	if strings.Contains(x.screen(), "Start the copy") {
		t.Errorf("typed ahead through a prompt:\n%s", x.screen())
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
		x.until("green tape is on")
		x.mu.Lock()
		raw := x.raw.String()
		x.mu.Unlock()
		found := false
		for _, m := range sgr.FindAllStringSubmatch(raw, -1) {
			found = found || isColour(m[1])
		}
		if found != (no == "") {
			t.Errorf("NO_COLOR=%q: colour %v", no, found)
		}
	}
}
