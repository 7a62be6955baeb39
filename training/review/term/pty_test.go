//go:build unix

package term

import (
	"context"
	"io"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/charmbracelet/x/vt"
	"github.com/creack/pty"
)

// desk is a pseudo-terminal with an emulator that reads it.
type desk struct {
	t   *testing.T
	pty *os.File
	mu  sync.Mutex
	emu *vt.Emulator
}

func (d *desk) screen() string {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.emu.String()
}

func (d *desk) until(text string) {
	d.t.Helper()
	for end := time.Now().Add(20 * time.Second); !strings.Contains(d.screen(), text); time.Sleep(5 * time.Millisecond) {
		if time.Now().After(end) {
			d.t.Fatalf("%q did not come:\n%s", text, d.screen())
		}
	}
}

func (d *desk) keys(s string) {
	d.t.Helper()
	if _, err := d.pty.WriteString(s); err != nil {
		d.t.Fatal(err)
	}
}

// TestOnATerminal runs the real program on a pseudo-terminal: down to a timeline and out again; then ended from outside.
func TestOnATerminal(t *testing.T) {
	t.Parallel()
	master, tty, err := pty.Open()
	if err != nil {
		t.Skipf("no pseudo-terminal here: %v", err)
	}
	if err := pty.Setsize(master, &pty.Winsize{Rows: 24, Cols: 80}); err != nil {
		t.Fatal(err)
	}
	d := &desk{t: t, pty: master, emu: vt.NewEmulator(80, 24)}
	answered, drawn := make(chan struct{}), make(chan struct{})
	go func() { defer close(answered); _, _ = io.Copy(master, d.emu) }()
	go func() {
		defer close(drawn)
		buf := make([]byte, 4096)
		for {
			n, err := master.Read(buf)
			d.mu.Lock()
			_, _ = d.emu.Write(buf[:n])
			d.mu.Unlock()
			if err != nil {
				return
			}
		}
	}()
	r := demo(t)
	run := func(ctx context.Context) <-chan error {
		ended := make(chan error, 1)
		go func() { ended <- Run(ctx, r, tty, tty) }()
		d.until("Review of drills and shifts")
		return ended
	}
	wait := func(ended <-chan error) {
		t.Helper()
		select {
		case err := <-ended:
			if err != nil {
				t.Error(err)
			}
		case <-time.After(20 * time.Second):
			t.Fatalf("still running:\n%s", d.screen())
		}
	}
	ended := run(t.Context())
	d.keys("\r")
	d.until("[1 overview]")
	d.keys("8")
	d.until("the newest first")
	d.keys("\r")
	d.until("answer took")
	d.keys("q")
	wait(ended)

	ctx, cancel := context.WithCancel(t.Context())
	ended = run(ctx)
	cancel()
	wait(ended)
	_ = tty.Close() // the reader of the other side ends with it
	<-drawn
	if p, ok := d.emu.InputPipe().(io.Closer); ok {
		_ = p.Close()
		<-answered
	}
	_ = master.Close()
}
