package command

import (
	"context"
	"fmt"
	"io"
	"slices"
	"strings"
	"sync"
	"time"
	"unicode/utf8"

	"github.com/muesli/cancelreader"
	"golang.org/x/term"

	"twobin/procedure"
	"twobin/procedure/command"
	"twobin/training/drill"
	"twobin/training/practice"
)

// A line is shown for as long as it takes to read it aloud, and at least for restLeast. Own choice: about 15 characters
// a second.
const (
	perCharacter = 65 * time.Millisecond
	restLeast    = 1200 * time.Millisecond
	restMost     = 12 * time.Second // for a whole screen: whoever reads longer pauses
)

// lookAgain is how often a player that waits looks again.
const lookAgain = 200 * time.Millisecond

// show lets the program play a drill line by line and says what the hands do and why. Any key pauses, any key goes on;
// ctrl+c ends.
func show(ctx context.Context, a *command.App, s *practice.Session, speed float64) (err error) {
	in, _, terminals := terminal(a)
	out := a.Out
	if terminals {
		old, err := term.MakeRaw(int(in.Fd()))
		if err != nil {
			return fmt.Errorf("show: %w", err)
		}
		defer func() { _ = term.Restore(int(in.Fd()), old) }() // the process is about to end with it
		out = crlf{a.Out}
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	keys, wait := readKeys(ctx, a.In)
	defer wait()
	defer stop()
	w := &watcher{s: s, out: out, p: practice.NewPlayer(s, practice.Habits{})}
	w.pacer = pacer{keys: keys, stop: stop, speed: speed, paused: func(on bool) {
		w.line("%s", map[bool]string{true: "paused. Any key goes on.", false: "going on."}[on])
	}}
	w.line("the program plays. Any key pauses, any key goes on, ctrl+c ends.")
	return w.run(ctx)
}

// crlf ends lines as a terminal in raw mode wants them.
type crlf struct{ w io.Writer }

func (c crlf) Write(b []byte) (int, error) {
	_, err := io.WriteString(c.w, strings.ReplaceAll(string(b), "\n", "\r\n"))
	return len(b), err
}

// readKeys delivers every byte that is typed, until ctx ends; wait waits for its end.
func readKeys(ctx context.Context, in io.Reader) (<-chan byte, func()) {
	keys := make(chan byte)
	r, err := cancelreader.NewReader(in)
	if err != nil || in == nil {
		return keys, func() {}
	}
	var wg sync.WaitGroup
	wg.Add(1)
	go func() {
		defer wg.Done()
		var b [1]byte
		for {
			n, err := r.Read(b[:])
			if err != nil {
				return
			}
			if n == 0 {
				continue
			}
			select {
			case keys <- b[0]:
			case <-ctx.Done():
				return
			}
		}
	}()
	return keys, func() {
		if r.Cancel() {
			wg.Wait() // a reader that cannot be cancelled ends with the process
		}
	}
}

// pacer gives the time to read, and stops it while somebody wants to look longer.
type pacer struct {
	keys   <-chan byte
	stop   context.CancelFunc
	speed  float64
	paused func(on bool)
}

// read rests for as long as it takes to read a text.
func (p *pacer) read(ctx context.Context, text string) {
	p.rest(ctx, min(restMost, max(restLeast, time.Duration(utf8.RuneCountInString(text))*perCharacter)))
}

// rest waits; a key pauses until the next key, ctrl+c or ctrl+q stops everything.
func (p *pacer) rest(ctx context.Context, d time.Duration) {
	t := time.NewTimer(time.Duration(float64(d) / p.speed))
	defer t.Stop()
	paused := false
	over := false
	for !over || paused {
		select {
		case <-ctx.Done():
			return
		case <-t.C:
			over = true
		case k := <-p.keys:
			const ctrlC, ctrlQ = 3, 17
			if k == ctrlC || k == ctrlQ {
				p.stop()
				return
			}
			paused = !paused
			p.paused(paused)
		}
	}
}

type watcher struct {
	pacer
	s   *practice.Session
	p   *practice.Player
	out io.Writer
	err error

	step   string
	world  []string
	notice []procedure.Notice
	shown  string
}

func (w *watcher) line(format string, a ...any) {
	if err := drill.Say(w.out, format, a...); err != nil && w.err == nil {
		w.err = err
	}
}

// run goes on until the drill has ended or the watcher leaves.
func (w *watcher) run(ctx context.Context) error {
	for ctx.Err() == nil && w.err == nil {
		v := w.s.View()
		if v.Ended {
			return w.err
		}
		w.tell(ctx, v)
		m := practice.Move{}
		if v.Prompt != nil || v.Away {
			m = w.p.Next(v)
		}
		if m.Intent == nil {
			w.rest(ctx, lookAgain)
			continue
		}
		if v.Prompt != nil {
			w.say(ctx, "  asked: %s", v.Prompt.Question)
		}
		hands := ""
		if v.Prompt == nil || !strings.HasPrefix(m.Hands, v.Prompt.Question) {
			hands = ", " + m.Hands
		}
		w.say(ctx, "  answer: %s%s", typed(m.Intent), hands)
		if err := w.s.Do(ctx, m.Intent); err != nil {
			w.say(ctx, "  refused: %s", refused(err))
		}
	}
	return w.err
}

// typed is what a trainee would type for an intent.
func typed(i procedure.Intent) string {
	switch v := i.(type) {
	case procedure.Answer:
		if v.Text == "" {
			return "(an empty line)"
		}
		return v.Text
	case procedure.DoPutBack:
		return "put back"
	case procedure.DoHold:
		return "hold " + v.Reason
	case procedure.DoAct:
		return "do " + v.Text
	case procedure.DoDestination:
		return "to " + v.Path
	}
	return ""
}

// tell says what is new: the step with its reason, what happens outside, messages.
func (w *watcher) tell(ctx context.Context, v procedure.View) {
	if key := v.Step.Title; key != w.step {
		w.step = key
		head := v.Step.Title
		if v.Step.Number > 0 {
			head = fmt.Sprintf("step %d, %s", v.Step.Number, v.Step.Title)
		}
		if v.Step.Critical {
			head += ", critical: nothing else now"
		}
		w.line("")
		w.say(ctx, "-- %s", head)
		for _, h := range v.Step.Hands {
			w.say(ctx, "  hands: %s", h)
		}
		w.say(ctx, "  why: %s", v.Step.Why)
	}
	for _, l := range v.World {
		if !slices.Contains(w.world, l) {
			w.say(ctx, "  outside: %s", l)
		}
	}
	w.world = v.World
	for _, n := range v.Notices {
		if !slices.Contains(w.notice, n) {
			w.say(ctx, "  message: %s %s", n.What, n.Do)
		}
	}
	w.notice = v.Notices
	if s := strings.Join(v.Shown, ", "); s != w.shown {
		w.shown = s
		if s != "" {
			w.say(ctx, "  for the book: %s", s)
		}
	}
}

// say prints a line and gives the time to read it.
func (w *watcher) say(ctx context.Context, format string, a ...any) {
	text := fmt.Sprintf(format, a...)
	w.line("%s", text)
	w.read(ctx, text)
}
