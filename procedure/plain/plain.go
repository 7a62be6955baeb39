// Package plain is the routine line by line: the same runner as the full screen, for screen readers, terminals that can
// do nothing else, scripts and tests.
//
// Rules of this surface:
//
//   - Every prompt is one line that begins with its id in square brackets: "[pick.card] Label as written on the card?".
//     In a drill the word DRILL stands before everything else on every line.
//   - A line is printed only when something changed; nothing is overwritten, no colour, no control character.
//   - An input line answers the prompt that was printed last: the text, or for a choice its key or its whole words.
//     The erase takes "erase LABEL" and nothing else, and no line that was typed before it was asked.
//   - A line may instead be a command, see [Commands]. A command never answers a prompt.
//   - The end of input is quit: the shift stays open, nothing is lost.
//
// Plain mode decides nothing and writes nothing but its output. One Run at a time.
package plain

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"twobin/procedure"
)

// maxLine is the longest input line, in bytes; a longer one ends the reading with an error.
const maxLine = 16 << 10

// Options are what plain mode needs besides the desk.
type Options struct {
	In  io.Reader
	Out io.Writer
	// Board prints the board, for the command "board".
	Board func(w io.Writer) error
	// Bell writes the bell character with words that ring; off where no terminal listens.
	Bell bool
}

// Run prints what is asked and hands every line to the desk until the shift ends, input ends or ctx is done. It waits
// with the next line until the desk asks something or says why it does not, so a script may be piped in whole.
// Its error is one of reading or writing; refusals are told on Out.
func Run(ctx context.Context, desk procedure.Desk, o Options) error {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	p := &printer{w: bufio.NewWriter(o.Out), bell: o.Bell}
	lines := read(ctx, o.In)
	changed := watch(ctx, desk)
	tick := time.NewTicker(progressEvery)
	defer tick.Stop()
	var next *line // read and not taken yet
	for {
		v := desk.View()
		if q := v.Prompt; q != nil && q.Kind == procedure.PromptErase && q.Seq != p.seq {
			next = tooEarly(p, lines, next)
		}
		p.show(v)
		if err := p.w.Flush(); err != nil {
			return fmt.Errorf("plain output: %w", err)
		}
		if v.Ended {
			return nil
		}
		if next != nil && next.ready(v) {
			if next.err != nil {
				return fmt.Errorf("plain input: %w", next.err)
			}
			take(ctx, desk, p, v, next.text, o)
			next = nil
			continue
		}
		in := lines
		if next != nil {
			in = nil
		}
		select {
		case <-ctx.Done():
			return nil
		case <-changed:
		case <-tick.C:
		case l := <-in:
			next = &l
		}
	}
}

// quietBefore is how long no line may come before the erase is asked.
const quietBefore = 200 * time.Millisecond

// tooEarly drops every line that was typed before the erase is asked, and says so: fingers that ran ahead, or a script
// that does not look, erase nothing. The end of input stays.
func tooEarly(p *printer, lines <-chan line, next *line) *line {
	dropped := 0
	keep := func(l *line) bool { return l.end || l.err != nil }
	for {
		if next != nil && keep(next) {
			break
		}
		if next != nil {
			dropped++
			next = nil
		}
		select {
		case l := <-lines:
			next = &l
			continue
		case <-time.After(quietBefore):
		}
		break
	}
	if dropped > 0 {
		p.line(fmt.Sprintf("typed too early, not taken: lines dropped: %d", dropped))
	}
	return next
}

// progressEvery is how often a running copy prints a line when it has moved on.
const progressEvery = 500 * time.Millisecond

// line is one line of input, or what ended it.
type line struct {
	text string
	end  bool
	err  error
}

// ready: a line that answers waits until something is asked, so a script may be piped in whole and cannot run ahead of
// a volume or a proof. A command is taken at once. The end of input lets machine work finish first.
func (l *line) ready(v procedure.View) bool {
	switch {
	case l.err != nil:
		return true
	case l.end:
		return !v.Busy
	case v.Prompt != nil || v.Away:
		return true
	}
	_, answer := procedure.ParseLine(v, strings.TrimSpace(l.text)).(procedure.Answer)
	return !answer
}

// read delivers input lines, then the end.
func read(ctx context.Context, in io.Reader) <-chan line {
	out := make(chan line)
	send := func(l line) bool {
		select {
		case out <- l:
			return true
		case <-ctx.Done():
			return false
		}
	}
	go func() {
		sc := bufio.NewScanner(in)
		sc.Buffer(make([]byte, 0, 4096), maxLine)
		for sc.Scan() {
			if !send(line{text: sc.Text()}) {
				return
			}
		}
		if err := sc.Err(); err != nil && !errors.Is(err, io.ErrClosedPipe) {
			send(line{err: err})
			return
		}
		send(line{text: "quit", end: true})
	}()
	return out
}

// watch signals when the desk shows something new.
func watch(ctx context.Context, desk procedure.Desk) <-chan struct{} {
	out := make(chan struct{}, 1)
	go func() {
		var ver uint64
		for {
			n, err := desk.Wait(ctx, ver)
			if err != nil {
				return
			}
			ver = n
			select {
			case out <- struct{}{}:
			default:
			}
		}
	}()
	return out
}

// take makes an intent of a line and hands it over; what comes of it is in the next view.
func take(ctx context.Context, desk procedure.Desk, p *printer, v procedure.View, l string, o Options) {
	t := strings.TrimSpace(l)
	p.again = true
	switch word := strings.ToLower(t); {
	case word == "why" || word == "?":
		p.line("why: " + v.Step.Why)
		return
	case word == "help":
		p.help()
		return
	case word == "board":
		if o.Board != nil {
			if err := o.Board(p.w); err != nil {
				p.line("the board cannot be shown: " + procedure.Plain(err.Error()))
			}
		}
		return
	case word == "cause":
		for _, n := range v.Notices {
			if n.Cause != "" {
				p.line("cause: " + n.Cause)
			}
		}
		return
	}
	i := procedure.ParseLine(v, t)
	_, answer := i.(procedure.Answer)
	p.again = !answer
	if err := desk.Do(ctx, i); err != nil && !p.told(desk.View()) {
		p.refused(err)
	}
}
