package command

import (
	"errors"
	"fmt"
	"strings"

	"twobin/guard"
	"twobin/guard/watch"
	"twobin/procedure"
	"twobin/procedure/command"
	"twobin/training/drill"
	"twobin/training/dummy"
	"twobin/training/practice"
	"twobin/training/world"
)

// agree refuses flags that would be ignored.
func (c *Practice) agree() error {
	asked := map[string]bool{"a drill": c.Drill != "", "--coach": c.Coach != "", "--seed": c.Seed != 0, "--size": c.Size != "", "--config": c.Config != "",
		"--reader": c.Reader != "", "--show": c.Show, "--speed": c.Speed != 1 && c.Speed != 0, "--plain": c.Plain}
	no := func(with, why string, flags ...string) error {
		for _, f := range flags {
			if asked[f] {
				return &command.Exit{Code: command.CodeUsage, Err: fmt.Errorf("%s does not go with %s: %s", f, with, why)}
			}
		}
		return nil
	}
	switch {
	case c.List:
		return no("--list", "it lists every drill; leave one of them out", "a drill", "--coach", "--seed", "--size", "--config", "--reader", "--show", "--speed", "--plain")
	case c.Show:
		return no("--show", "the program plays and says everything itself; leave one of them out", "--coach")
	}
	return no("a drill that you do yourself", "it is for --show", "--speed")
}

// policy is what --config says, as for a shift, or the default.
func (c *Practice) policy() (guard.Policy, error) {
	if c.Config == "" {
		return guard.DefaultPolicy(), nil
	}
	p, err := guard.ReadPolicyFile(c.Config)
	if err != nil {
		return p, &command.Exit{Code: command.CodeUsage, Err: fmt.Errorf("--config: %w", err)}
	}
	return p, nil
}

// card takes the real practice card, if one is named: it has to be there, marked, and hold nothing else.
func (c *Practice) card(o *practice.Options) error {
	if c.Reader == "" {
		return nil
	}
	usage := func(format string, v ...any) error {
		return &command.Exit{Code: command.CodeUsage, Err: fmt.Errorf("--reader %s: "+format, append([]any{procedure.Plain(c.Reader)}, v...)...)}
	}
	if c.Show {
		return usage("--show plays on a simulated card only: leave one of them out")
	}
	ident := &watch.Identifier{Patience: watch.WakeUp}
	switch err := world.UsableCard(c.Reader, ident); {
	case errors.Is(err, dummy.ErrNotMarked):
		return usage("this is no practice card, nothing on it was touched; an empty card becomes one with: twobin dummy %s", procedure.Plain(c.Reader))
	case errors.Is(err, dummy.ErrForeign):
		return usage("it holds something that twobin has not written, nothing was touched; look at it, then format it and make it a practice card again: %w", err)
	case err != nil:
		return usage("%w", err)
	}
	if err := wholeVolume(ident, c.Reader); err != nil {
		return usage("this is %w", err)
	}
	o.Card, o.Ident = c.Reader, ident
	return nil
}

// leastSize is the least that a drill's fullest card may be asked to have, in bytes: its files have to differ.
const leastSize = 1000

// choose settles drill, coaching and seed: what was asked for, what waits, or what is proposed.
func (c *Practice) choose(o *practice.Options, book practice.Book, a *command.App) error {
	usage := func(format string, v ...any) error {
		return &command.Exit{Code: command.CodeUsage, Err: fmt.Errorf(format, v...)}
	}
	coach := practice.Coach(c.Coach)
	switch coach {
	case "", practice.Full, practice.Brief, practice.Silent:
	default:
		return usage("--coach %q: full, brief or none", c.Coach)
	}
	if c.Speed <= 0 || c.Speed > 1000 {
		return usage("--speed %g: a number above 0, at most 1000", c.Speed)
	}
	if c.Seed < 0 {
		return usage("--seed %d: a number from 1", c.Seed)
	}
	if c.Size != "" {
		var err error
		if o.Size, err = parseSize(c.Size); err != nil {
			return usage("--size: %w", err)
		}
		if o.Size < leastSize {
			return usage("--size %s: at least %s", c.Size, procedure.SizeText(leastSize))
		}
	}
	if r, ok := c.waiting(book); ok {
		o.Drill, _ = drill.Find(r.Drill)
		o.Seed, o.Coach, o.Again, o.Policy = r.Seed, r.Coach, &r, r.Policy(o.Policy)
		if c.Show {
			o.Pace = o.Pace.Faster(c.Speed)
		}
		return nil
	}
	next, how := book.Next()
	o.Drill, o.Coach = next, how
	if c.Drill != "" {
		d, ok := drill.Find(c.Drill)
		if !ok {
			return usage("no drill %q: %s", c.Drill, strings.Join(names(), ", "))
		}
		o.Drill = d
		if d.Name != next.Name {
			o.Coach = practice.Full
		}
	}
	if coach != "" {
		o.Coach = coach
	}
	if c.Show {
		o.Coach = practice.Shown
		o.Pace = o.Pace.Faster(c.Speed)
	}
	const draw = 1_000_000 // seeds that are drawn are short enough to be typed
	if o.Seed = c.Seed; o.Seed == 0 {
		o.Seed = 1 + a.Now().UnixNano()%draw
	}
	return nil
}
