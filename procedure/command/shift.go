package command

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"os"
	"os/signal"
	"path/filepath"
	"strings"
	"syscall"
	"time"

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
	if err := c.readerApart(a); err != nil {
		return err
	}
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
	f, err := c.pick(home)
	if err != nil {
		return err
	}
	if f != nil {
		policy = f.shift.Opened.Policy.Over(policy)
	}
	log, closeLog, err := logger(home)
	if err != nil {
		return err
	}
	defer closeLog.Close() // nothing that counts is in it
	opt := watch.Options{Log: log}
	if c.Reader != "" {
		opt.Readers = []string{c.Reader}
	}
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	w, err := watch.New(opt)
	if err != nil {
		return fmt.Errorf("watch volumes: %w", err)
	}
	defer w.Close() // nothing was written through it
	cfg := c.runner(a, home, policy, log)
	cfg.Volumes = media.Watched(ctx, w)
	cfg.Media = media.New(media.Options{Ident: w, Proofs: filepath.Join(home, "proofs"), Policy: policy, Tool: "twobin", Version: Version, Log: log})
	if f != nil {
		if cfg.Book, cfg.Lines, err = openAgain(f, log); err != nil {
			return err
		}
	}
	return Work(a, cfg, c.Plain)
}

// readerApart makes the reader's path absolute, and refuses a data folder in it before anything is made there.
func (c *Shift) readerApart(a *App) error {
	if c.Reader == "" {
		return nil
	}
	home, err := c.where(a)
	if err != nil {
		return err
	}
	if c.Reader, err = filepath.Abs(c.Reader); err != nil {
		return usage("--reader: %w", err)
	}
	if procedure.LiesIn(home, c.Reader) {
		return usage("the data folder %s lies in the reader %s: journals would be written to the card. Safe: nothing was written. Now: give another --home", home, c.Reader)
	}
	return nil
}

// runner is the part of the runner's configuration that needs no device.
func (c *Shift) runner(a *App, home string, policy guard.Policy, log *slog.Logger) procedure.Config {
	return procedure.Config{
		Policy: policy, Reader: c.Reader, Brief: c.Brief, Tool: "twobin " + Version, Now: a.Now, Log: log,
		Rand:      rand.New(rand.NewPCG(rand.Uint64(), rand.Uint64())),
		Given:     procedure.Given{Production: c.Production, Day: c.Day, Operator: c.Operator, Station: c.Station, To: c.To},
		Known:     func(p string) []procedure.Label { return known(home, p) },
		Elsewhere: func(o procedure.ShiftOpened, since time.Time) []procedure.Label { return elsewhere(home, o, since) },
		Sheet:     closeSheet(home, a.Now),
		Questions: func(s *procedure.Shift, l procedure.Label, list guard.Listing) []string {
			var out []string
			for _, q := range clips.Listing(l, list, clips.FactsOf(s, s.Roll(l))) {
				out = append(out, q.Text)
			}
			return out
		},
		Twins: (&twins{home: home, log: log}).find,
		Shelf: newShelf(home, log),
		OpenBook: func(o procedure.ShiftOpened) (procedure.Book, []journal.Line, error) {
			return journal.Open(newJournal(home, o), journal.Options{Station: o.Station, Program: "twobin " + Version, Log: log})
		},
	}
}

// pick finds the newest journal that is not ended and fits the flags; nil for none.
func (c *Shift) pick(home string) (*found, error) {
	all, err := journals(home)
	if err != nil {
		return nil, err
	}
	for _, f := range all { // it may be of any day, the newest too
		if f.shift == nil {
			return nil, &Exit{Code: CodeFailed, Err: fmt.Errorf("%s cannot be read, so nobody knows whose shift it is: %w. Safe: it was left as it is, nothing was begun. Now: make it readable; if it is lost, keep it for the record in another folder, then begin a new one", f.path, f.unusable())}
		}
	}
	for _, f := range all {
		if f.shift.Opened == nil && f.unusable() != nil {
			return nil, &Exit{Code: CodeFailed, Err: fmt.Errorf("%s is damaged at its beginning, so nobody knows whose shift it is: %w. Safe: it was left as it is. Now: keep it for the record in another folder, then begin a new one", f.path, f.unusable())}
		}
		if f.shift.Opened == nil || f.ended() || !c.fits(f.shift.Opened) {
			continue
		}
		if bad := f.unusable(); bad != nil {
			return nil, &Exit{Code: CodeFailed, Err: fmt.Errorf("%s is damaged: %w. Safe: it was left as it is. Now: keep it for the record, begin a new one with another --station or --home", f.path, bad)}
		}
		return f, nil
	}
	return nil, nil
}

// openAgain opens the journal of a shift to go on with it.
func openAgain(f *found, log *slog.Logger) (procedure.Book, []journal.Line, error) {
	b, lines, err := journal.Open(f.path, journal.Options{Station: f.shift.Opened.Station, Program: "twobin " + Version, Log: log})
	var busy *journal.Busy
	if errors.As(err, &busy) {
		return nil, nil, &Exit{Code: CodeFailed, Err: fmt.Errorf("another twobin works on this shift: %w", err)}
	}
	if err != nil {
		return nil, nil, err
	}
	return b, lines, nil
}

// fits: the flags, as far as given, name this shift.
func (c *Shift) fits(o *procedure.ShiftOpened) bool {
	return o.Drill == "" && (c.Production == "" || c.Production == o.Production) && (c.Day == 0 || c.Day == o.Day) &&
		(c.Station == "" || c.Station == o.Station)
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
		line = fmt.Sprintf("The shift stays open; points that are open: %d; green cards not handed back: %d. It goes on with: twobin shift", len(s.Open()), len(s.At(procedure.PlaceGreenBin)))
	}
	_, werr := fmt.Fprintln(a.Out, procedure.Plain(line))
	if s.Closed && s.Sheet != nil && len(s.Sheet.Files) > 0 {
		_, serr := fmt.Fprintln(a.Out, procedure.Plain("Log sheet: "+strings.Join(s.Sheet.Files, ", ")+". The hand-over: twobin handover FOLDER"))
		werr = errors.Join(werr, serr)
	}
	return errors.Join(err, werr)
}

func dayName(day int) string { return fmt.Sprintf("day%03d", day) }

func suffix(n int) string {
	if n == 1 {
		return ""
	}
	return fmt.Sprintf("_%d", n)
}
