//go:build unix

package term

import (
	"context"
	"testing"
	"time"

	"twobin/procedure/screen/screentest"
)

// TestOnATerminal runs the real program on a pseudo-terminal: down to a timeline and out again; then ended from outside.
func TestOnATerminal(t *testing.T) {
	t.Parallel()
	d, tty := screentest.Open(t, 80, 24)
	r := demo(t)
	run := func(ctx context.Context) <-chan error {
		ended := make(chan error, 1)
		go func() { ended <- Run(ctx, r, tty, tty) }()
		d.Until("Review of drills and shifts")
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
			t.Fatalf("still running:\n%s", d.Screen())
		}
	}
	ended := run(t.Context())
	d.Send("\r")
	d.Until("[1 overview]")
	d.Send("8")
	d.Until("the newest first")
	d.Send("\r")
	d.Until("answer took")
	d.Send("q")
	wait(ended)

	ctx, cancel := context.WithCancel(t.Context())
	ended = run(ctx)
	cancel()
	wait(ended)
}
