//go:build unix

package command

import (
	"strings"
	"testing"
	"time"

	"twobin/procedure/command"
	"twobin/procedure/screen/screentest"
)

// On a terminal the show plays on the trainee's own screens: a key pauses, another goes on, no key reaches the drill;
// to its end, or until ctrl+c.
func TestShowFullScreen(t *testing.T) {
	t.Parallel()
	home := t.TempDir()
	begin := func(speed float64) (*screentest.Glass, chan error) {
		w, tty := screentest.Open(t, 80, 24)
		a := &command.App{In: tty, Out: tty, Err: tty, Env: func(k string) string { return map[string]string{"TWOBIN_HOME": home}[k] }, Now: time.Now}
		ended := make(chan error, 1)
		go func() { ended <- (&Practice{Trainee: "Kim", Show: true, Speed: speed, Seed: 1}).Run(a) }()
		return w, ended
	}
	end := func(w *screentest.Glass, ended chan error) {
		t.Helper()
		select {
		case err := <-ended:
			if err != nil {
				t.Error(err)
			}
		case <-time.After(60 * time.Second):
			t.Fatalf("still running:\n%s", w.Screen())
		}
		w.Until("the sandbox is removed")
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
	w.Until("The program plays, you watch")
	w.Send("b") // would be an answer to some question
	w.Until("PAUSED")
	w.Send("\x03")
	end(w, ended)
	if got := standing(); got != "new" {
		t.Errorf("after a show that was left the standing is %q, want new", got)
	}

	w, ended = begin(60)
	w.Until("step 2 of 13")
	w.Send(" ")
	w.Until("PAUSED")
	was := w.Screen()
	w.Send(" ")
	for w.Screen() == was {
		time.Sleep(2 * time.Millisecond)
	}
	w.Until("step 13 of 13")
	end(w, ended)
	if got := standing(); got != "shown" {
		t.Errorf("after a whole show the standing is %q, want shown", got)
	}
}
