package command

import (
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"sync"
	"time"

	"golang.org/x/term"

	"twobin/procedure"
	"twobin/procedure/command"
	"twobin/procedure/screen"
	"twobin/training/practice"
)

// readCritical is the time to read the screen of a critical step: well below the limit between seating and starting.
const readCritical = 8 * time.Second

// stage is the desk that is shown full-screen while the program plays: the session, with what the hands do on top of
// what is to be seen around.
type stage struct {
	*practice.Session
	mu    sync.Mutex
	over  []string
	pause bool
}

// View is the session's view with the player's hands.
func (g *stage) View() procedure.View {
	v := g.Session.View()
	g.mu.Lock()
	defer g.mu.Unlock()
	over := slices.Clone(g.over)
	if g.pause {
		over = append(over, "PAUSED. Any key goes on.")
	}
	v.World = append(over, v.World...)
	return v
}

// says replaces what the hands do.
func (g *stage) says(lines ...string) {
	g.mu.Lock()
	g.over = lines
	g.mu.Unlock()
	g.Nudge()
}

func (g *stage) paused(on bool) {
	g.mu.Lock()
	g.pause = on
	g.mu.Unlock()
	g.Nudge()
}

// showScreen lets the program play on the very screens that the trainee will have. They get no keys: a key pauses.
func showScreen(ctx context.Context, a *command.App, s *practice.Session, speed float64) (err error) {
	in, out, _ := terminal(a)
	old, err := term.MakeRaw(int(in.Fd()))
	if err != nil {
		return fmt.Errorf("show: %w", err)
	}
	defer func() { err = errors.Join(err, term.Restore(int(in.Fd()), old)) }()
	silent, mute, err := os.Pipe() // the screen's keyboard, on which nobody types
	if err != nil {
		return fmt.Errorf("show: %w", err)
	}
	defer func() { err = errors.Join(err, mute.Close(), silent.Close()) }()
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	keys, wait := readKeys(ctx, in)
	defer wait()
	defer stop()
	g := &stage{Session: s}
	p := &showing{g: g, player: practice.NewPlayer(s, practice.Habits{}), pacer: pacer{keys: keys, stop: stop, speed: speed, paused: g.paused}}
	var wg sync.WaitGroup
	wg.Go(func() { p.play(ctx) })
	err = screen.Run(ctx, g, screen.Options{In: silent, Out: out, NoColor: a.Env("NO_COLOR") != "", Now: a.Now})
	stop()
	wg.Wait()
	return err
}

// showing plays on a stage at a pace that can be read.
type showing struct {
	pacer
	g      *stage
	player *practice.Player
	step   procedure.Step
	seen   []string
}

// play goes on until the drill has ended, or ctx.
func (p *showing) play(ctx context.Context) {
	p.g.says("The program plays, you watch. Any key pauses, any key goes on, ctrl+c ends.")
	p.read(ctx, "The program plays, you watch. Any key pauses, any key goes on, ctrl+c ends.")
	for ctx.Err() == nil {
		v := p.g.Session.View()
		if v.Ended {
			return
		}
		p.look(ctx, v)
		m := practice.Move{}
		if v.Prompt != nil || v.Away {
			m = p.player.Next(v)
		}
		if m.Intent == nil {
			p.g.says()
			p.rest(ctx, lookAgain)
			continue
		}
		hands := "The hands: " + m.Hands
		if v.Prompt != nil && strings.HasPrefix(m.Hands, v.Prompt.Question) {
			hands = "The hands answer what is asked."
		}
		lines := []string{hands}
		if t := typed(m.Intent); t != "" {
			lines = append(lines, "Typed: "+t)
		}
		p.g.says(lines...)
		p.read(ctx, strings.Join(lines, " "))
		if ctx.Err() != nil {
			return
		}
		if err := p.g.Do(ctx, m.Intent); err != nil {
			p.g.says("Refused: " + refused(err))
			p.read(ctx, refused(err))
		}
	}
}

// refused is the routine's no in words.
func refused(err error) string {
	var no *procedure.Refusal
	if errors.As(err, &no) {
		return procedure.Plain(no.Why)
	}
	return procedure.Plain(err.Error())
}

// look gives the time to read what is new on the screen: a step with its hands and reason, and what happens around.
func (p *showing) look(ctx context.Context, v procedure.View) {
	var text []string
	if v.Step.Step != p.step || p.seen == nil {
		p.step = v.Step.Step
		text = append(append(text, v.Step.Hands...), v.Step.Why)
	}
	for _, l := range v.World {
		if !slices.Contains(p.seen, l) {
			text = append(text, l)
		}
	}
	for _, n := range v.Notices {
		if l := n.What + " " + n.Do; !slices.Contains(p.seen, l) {
			text = append(text, l)
		}
	}
	p.seen = append([]string{""}, v.World...)
	for _, n := range v.Notices {
		p.seen = append(p.seen, n.What+" "+n.Do)
	}
	if len(text) == 0 {
		return
	}
	p.g.says()
	if v.Step.Critical { // its screen has no room for reasons, and its clock runs
		p.g.says("Why: " + v.Step.Why)
		quick := p.pacer
		quick.speed = max(quick.speed, 1)
		quick.rest(ctx, readCritical)
		return
	}
	p.read(ctx, strings.Join(append(text, v.Shown...), " "))
}
