package command

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/signal"
	"path/filepath"
	"strings"
	"syscall"

	"golang.org/x/term"

	"twobin/guard"
	"twobin/guard/watch"
	"twobin/procedure"
	"twobin/procedure/board"
	"twobin/procedure/clips"
	"twobin/procedure/journal"
	"twobin/procedure/media"
	"twobin/procedure/plain"
	"twobin/procedure/screen"
)

// Shift is the verb that works a shift: set-up, rolls, close. It goes on where it left off.
type Shift struct {
	Common
	Production string   `help:"Name of the production." placeholder:"NAME"`
	Day        int      `help:"Shoot day, as a number." placeholder:"N"`
	Operator   string   `help:"Your name." placeholder:"NAME"`
	Station    string   `help:"Name of this work place." placeholder:"NAME"`
	To         []string `help:"A destination; give it twice or more, on separate drives." placeholder:"PATH" sep:"none"`
	Reader     string   `help:"A folder that is the card when it appears or fills. Without it any newly mounted volume that is no destination is the card." placeholder:"PATH"`
	Brief      bool     `help:"One line a step, for the experienced. Order and lock stay."`
	Plain      bool     `help:"Line by line instead of full-screen. Chosen by itself where input or output is no terminal."`
}

// Run works the shift.
func (c *Shift) Run(a *App) error {
	home, err := c.home(a)
	if err != nil {
		return err
	}
	policy, err := c.policy()
	if err != nil {
		return err
	}
	if c.Day < 0 || c.Day > 9999 {
		return usage("--day %d: a shoot day is a number from 1 to 9999", c.Day)
	}
	log, closeLog, err := logger(home)
	if err != nil {
		return err
	}
	defer closeLog.Close() // nothing that counts is in it
	opt := watch.Options{Log: log}
	if c.Reader != "" {
		reader, err := filepath.Abs(c.Reader)
		if err != nil {
			return usage("--reader: %w", err)
		}
		c.Reader = reader
		opt.Readers = []string{reader}
	}
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	w, err := watch.New(opt)
	if err != nil {
		return fmt.Errorf("watch volumes: %w", err)
	}
	defer w.Close() // nothing was written through it
	cfg := procedure.Config{
		Policy: policy, Reader: c.Reader, Brief: c.Brief, Tool: "twobin " + Version, Now: a.Now, Log: log,
		Rand:    rand.New(rand.NewPCG(uint64(a.Now().UnixNano()), uint64(os.Getpid()))), //nolint:gosec // questions, not secrets
		Volumes: media.Watched(ctx, w), Media: media.New(media.Options{Ident: w, Proofs: filepath.Join(home, "proofs"), Policy: policy, Tool: "twobin", Version: Version, Log: log}),
		Given: procedure.Given{Production: c.Production, Day: c.Day, Operator: c.Operator, Station: c.Station, To: c.To},
		Known: func(p string) []procedure.Label { return known(home, p) },
		Questions: func(s *procedure.Shift, l procedure.Label, list guard.Listing) []string {
			var out []string
			for _, q := range clips.Listing(l, list, clips.FactsOf(s, s.Roll(l))) {
				out = append(out, q.Text)
			}
			return out
		},
		OpenBook: func(o procedure.ShiftOpened) (procedure.Book, []journal.Line, error) {
			return openBook(newJournal(home, o), o.Station, log)
		},
	}
	if err := c.resume(home, &cfg); err != nil {
		return err
	}
	return Work(a, cfg, c.Plain)
}

// resume opens the newest journal that is not ended and fits the flags.
func (c *Shift) resume(home string, cfg *procedure.Config) error {
	all, err := journals(home)
	if err != nil {
		return err
	}
	for _, f := range all {
		if f.shift == nil || f.shift.Opened == nil || f.ended() || !c.fits(f.shift.Opened) {
			continue
		}
		if bad := f.unusable(); bad != nil {
			return &Exit{Code: CodeFailed, Err: fmt.Errorf("%s is damaged: %w. Safe: it was left as it is. Now: keep it for the record, begin a new one with another --station or --home", f.path, bad)}
		}
		b, lines, err := journal.Open(f.path, journal.Options{Station: f.shift.Opened.Station, Program: "twobin " + Version, Log: cfg.Log})
		if err != nil {
			var busy *journal.Busy
			if errors.As(err, &busy) {
				return &Exit{Code: CodeFailed, Err: fmt.Errorf("another twobin works on this shift: %w", err)}
			}
			return err
		}
		cfg.Book, cfg.Lines = b, lines
		return nil
	}
	return nil
}

// fits: the flags, as far as given, name this shift.
func (c *Shift) fits(o *procedure.ShiftOpened) bool {
	return o.Drill == "" && (c.Production == "" || c.Production == o.Production) && (c.Day == 0 || c.Day == o.Day) &&
		(c.Station == "" || c.Station == o.Station)
}

func openBook(path, station string, log any) (procedure.Book, []journal.Line, error) {
	_ = log
	return journal.Open(path, journal.Options{Station: station, Program: "twobin " + Version})
}

// Work runs a configured runner behind the full screen or line by line, until it ends or a signal stops it.
func Work(a *App, cfg procedure.Config, plainMode bool) error {
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	r, err := procedure.Start(ctx, cfg)
	if err != nil {
		if cfg.Book != nil {
			err = errors.Join(err, cfg.Book.Close())
		}
		return err
	}
	in, inTerm := a.In.(*os.File)
	out, outTerm := a.Out.(*os.File)
	inTerm = inTerm && term.IsTerminal(int(in.Fd()))
	outTerm = outTerm && term.IsTerminal(int(out.Fd()))
	showBoard := func(w io.Writer) error {
		_, err := io.WriteString(w, board.Of(r.Shift(), a.Now()).Text(80, 24))
		return err
	}
	if plainMode || !inTerm || !outTerm {
		sig, stop := signal.NotifyContext(ctx, os.Interrupt, syscall.SIGTERM, syscall.SIGHUP)
		err = plain.Run(sig, r, plain.Options{In: a.In, Out: a.Out, Bell: outTerm, Board: showBoard})
		stop()
	} else {
		err = screen.Run(ctx, r, screen.Options{In: in, Out: out, NoColor: a.Env("NO_COLOR") != "", Log: cfg.Log,
			Board: func(w, h int) string { return board.Of(r.Shift(), a.Now()).Text(w, h) }})
	}
	err = errors.Join(err, r.Close())
	return errors.Join(err, ending(a, r))
}

// ending says how things stand when the program is left, and gives the exit code.
func ending(a *App, r *procedure.Runner) error {
	s := r.Shift()
	word := "shift"
	if s.Opened != nil && s.Opened.Drill != "" {
		word = "DRILL"
	}
	var line string
	var err error
	switch {
	case r.Broken() != nil:
		return &Exit{Code: CodeFailed, Err: r.Broken()}
	case s.Opened == nil:
		line = "Nothing was begun."
	case s.Closed && len(s.OpenPoints) > 0:
		line = fmt.Sprintf("The %s is closed with open points: %s.", word, strings.Join(s.OpenPoints, "; "))
		err = &Exit{Code: CodeClosed}
	case s.Closed:
		line = fmt.Sprintf("The %s is closed. Everything adds up.", word)
	case word == "DRILL":
		line = "The DRILL was left before its end."
	default:
		line = fmt.Sprintf("The shift stays open: %d rolls not done. It goes on with: twobin shift", len(s.Open()))
	}
	_, werr := fmt.Fprintln(a.Out, procedure.Plain(line))
	return errors.Join(err, werr)
}

func dayName(day int) string { return fmt.Sprintf("day%03d", day) }

func suffix(n int) string {
	if n == 1 {
		return ""
	}
	return fmt.Sprintf("_%d", n)
}
