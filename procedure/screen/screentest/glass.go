//go:build unix

package screentest

import (
	"io"
	"os"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/charmbracelet/x/vt"
	"github.com/creack/pty"
)

// patience is how long a text may take to come: much longer than any does, on a machine that has other work.
const patience = 60 * time.Second

// Glass is a pseudo-terminal with an emulator that reads it. It may be used by several goroutines.
type Glass struct {
	// Done is closed when nothing more can be drawn: the program has ended, or the terminal's other side is closed.
	Done   <-chan struct{}
	tb     testing.TB
	master *os.File
	mu     sync.Mutex
	emu    *vt.Emulator
	raw    strings.Builder
}

// Start runs a command on a new terminal of w columns and h lines, and kills it at the test's end if it still runs. The
// test is skipped where there are no pseudo-terminals.
func Start(tb testing.TB, cmd *exec.Cmd, w, h int) *Glass {
	tb.Helper()
	master, err := pty.StartWithSize(cmd, &pty.Winsize{Rows: uint16(h), Cols: uint16(w)})
	if err != nil {
		none(tb, err)
	}
	g := over(tb, master, w, h)
	tb.Cleanup(func() {
		_ = cmd.Process.Kill()
		_, _ = cmd.Process.Wait()
	})
	return g
}

// Open gives a new terminal and its other side, for a screen in this process. The other side is closed at the test's end.
func Open(tb testing.TB, w, h int) (*Glass, *os.File) {
	tb.Helper()
	master, tty, err := pty.Open()
	if err != nil {
		none(tb, err)
	}
	g := over(tb, master, w, h)
	tb.Cleanup(func() { _ = tty.Close() })
	g.size(w, h)
	return g, tty
}

// none says that the machine has no pseudo-terminals.
func none(tb testing.TB, err error) {
	tb.Helper()
	if os.Getenv("TWOBIN_TEST_ALL") == "1" {
		tb.Fatalf("no pseudo-terminal here: %v", err)
	}
	tb.Skipf("no pseudo-terminal here: %v", err)
}

func over(tb testing.TB, master *os.File, w, h int) *Glass {
	done, answered := make(chan struct{}), make(chan struct{})
	g := &Glass{Done: done, tb: tb, master: master, emu: vt.NewEmulator(w, h)}
	go func() { // the emulator's answers go to the program; its pipe has no buffer
		defer close(answered)
		_, _ = io.Copy(master, g.emu)
	}()
	go func() {
		defer close(done)
		buf := make([]byte, 4096)
		for {
			n, err := master.Read(buf)
			g.mu.Lock()
			g.raw.Write(buf[:n])
			_, _ = g.emu.Write(buf[:n])
			g.mu.Unlock()
			if err != nil {
				return // EIO: the other side is closed
			}
		}
	}()
	tb.Cleanup(func() { // runs after the other side was closed
		<-done
		if p, ok := g.emu.InputPipe().(io.Closer); ok { // the emulator's own Close is not safe beside its Read
			_ = p.Close()
			<-answered
		}
		_ = master.Close()
	})
	return g
}

// Screen is what stands on the terminal now.
func (g *Glass) Screen() string {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.emu.String()
}

// Shows says whether a text stands on the screen, also when it is broken over lines or in a frame.
func (g *Glass) Shows(text string) bool {
	s := g.Screen()
	return strings.Contains(s, text) || strings.Contains(OneLine(s), text)
}

// OneLine takes frames, margins and line breaks out of what is shown.
func OneLine(s string) string {
	return strings.Join(strings.Fields(strings.ReplaceAll(s, "┃", " ")), " ")
}

// Raw is everything that was written to the terminal.
func (g *Glass) Raw() string {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.raw.String()
}

// AltScreen says whether the program has the whole screen for itself.
func (g *Glass) AltScreen() bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.emu.IsAltScreen()
}

// Send types bytes.
func (g *Glass) Send(keys string) {
	g.tb.Helper()
	if _, err := g.master.WriteString(keys); err != nil {
		g.tb.Fatal(err)
	}
}

// Until waits for a text on the screen.
func (g *Glass) Until(text string) {
	g.tb.Helper()
	if !g.Comes(text, patience) {
		g.tb.Fatalf("%q did not come:\n%s", text, g.Screen())
	}
}

// Comes says whether a text comes within a time.
func (g *Glass) Comes(text string, within time.Duration) bool {
	for end := time.Now().Add(within); !g.Shows(text); time.Sleep(time.Millisecond) {
		if time.Now().After(end) {
			return false
		}
	}
	return true
}

// SendUntil types bytes again and again until a text is there: keys that come too soon after a new prompt are not taken.
func (g *Glass) SendUntil(keys, text string) {
	g.tb.Helper()
	const again = time.Second
	for end := time.Now().Add(patience); !g.Shows(text); {
		if time.Now().After(end) {
			g.tb.Fatalf("%q did not come after %q:\n%s", text, keys, g.Screen())
		}
		g.Send(keys)
		g.Comes(text, again)
	}
}

// Resize makes the window another size.
func (g *Glass) Resize(w, h int) {
	g.tb.Helper()
	g.mu.Lock()
	g.emu.Resize(w, h)
	g.mu.Unlock()
	g.size(w, h)
}

func (g *Glass) size(w, h int) {
	g.tb.Helper()
	if err := pty.Setsize(g.master, &pty.Winsize{Rows: uint16(h), Cols: uint16(w)}); err != nil {
		g.tb.Fatal(err)
	}
}
