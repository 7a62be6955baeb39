//go:build unix

package command

import (
	"io"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/charmbracelet/x/vt"
	"github.com/creack/pty"

	"twobin/procedure/command"
)

// window is a pseudo-terminal with an emulator that reads it. It keeps every screen that a test waits for.
type window struct {
	t           *testing.T
	master, tty *os.File
	mu          sync.Mutex
	emu         *vt.Emulator
}

func newWindow(t *testing.T) *window {
	t.Helper()
	master, tty, err := pty.Open()
	if err != nil {
		t.Skipf("lacks pseudo-terminals: %v", err)
	}
	if err := pty.Setsize(master, &pty.Winsize{Rows: 24, Cols: 80}); err != nil {
		t.Fatal(err)
	}
	w := &window{t: t, master: master, tty: tty, emu: vt.NewEmulator(80, 24)}
	answered, drawn := make(chan struct{}), make(chan struct{})
	go func() { defer close(answered); _, _ = io.Copy(master, w.emu) }()
	go func() {
		defer close(drawn)
		buf := make([]byte, 4096)
		for {
			n, err := master.Read(buf)
			w.mu.Lock()
			_, _ = w.emu.Write(buf[:n])
			w.mu.Unlock()
			if err != nil {
				return
			}
		}
	}()
	t.Cleanup(func() {
		_ = tty.Close() // the reader of the other side ends with it
		<-drawn
		if p, ok := w.emu.InputPipe().(io.Closer); ok {
			_ = p.Close()
			<-answered
		}
		_ = master.Close()
	})
	return w
}

func (w *window) screen() string {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.emu.String()
}

// until waits for a text on the screen.
func (w *window) until(text string) {
	w.t.Helper()
	for end := time.Now().Add(60 * time.Second); !strings.Contains(w.screen(), text); time.Sleep(2 * time.Millisecond) {
		if time.Now().After(end) {
			w.t.Fatalf("%q did not come:\n%s", text, w.screen())
		}
	}
}

func (w *window) key(s string) {
	w.t.Helper()
	if _, err := w.master.WriteString(s); err != nil {
		w.t.Fatal(err)
	}
}

// On a terminal the show plays on the trainee's own screens: a key pauses, another goes on, no key reaches the drill;
// to its end, or until ctrl+c.
func TestShowFullScreen(t *testing.T) {
	t.Parallel()
	home := t.TempDir()
	begin := func(speed float64) (*window, chan error) {
		w := newWindow(t)
		a := &command.App{In: w.tty, Out: w.tty, Err: w.tty, Env: func(k string) string { return map[string]string{"TWOBIN_HOME": home}[k] }, Now: time.Now}
		ended := make(chan error, 1)
		go func() { ended <- (&Practice{Trainee: "Kim", Show: true, Speed: speed, Seed: 1}).Run(a) }()
		return w, ended
	}
	end := func(w *window, ended chan error) {
		t.Helper()
		select {
		case err := <-ended:
			if err != nil {
				t.Error(err)
			}
		case <-time.After(60 * time.Second):
			t.Fatalf("still running:\n%s", w.screen())
		}
		w.until("the sandbox is removed")
	}
	standing := func() string {
		a, out := app(t, nil)
		if err := (&Practice{Common: command.Common{Home: home}, Trainee: "Kim", List: true}).Run(a); err != nil {
			t.Error(err)
		}
		_, rest, _ := strings.Cut(out.String(), "standing: ")
		line, _, _ := strings.Cut(rest, "\n")
		return line
	}

	w, ended := begin(1)
	w.until("The program plays, you watch")
	w.key("b") // would be an answer to some question
	w.until("PAUSED")
	w.key("\x03")
	end(w, ended)
	if got := standing(); got != "new" {
		t.Errorf("after a show that was left the standing is %q, want new", got)
	}

	w, ended = begin(60)
	w.until("step 2 of 13")
	w.key(" ")
	w.until("PAUSED")
	was := w.screen()
	w.key(" ")
	for w.screen() == was {
		time.Sleep(2 * time.Millisecond)
	}
	w.until("step 13 of 13")
	end(w, ended)
	if got := standing(); got != "shown" {
		t.Errorf("after a whole show the standing is %q, want shown", got)
	}
}
