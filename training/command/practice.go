// Package command is the command line's verbs of the training wing: practice and dummy. They share streams, clock and
// exit codes with the verbs of package twobin/procedure/command.
//
// Practice writes below <home>/drills and into its own sandbox (see package practice); dummy writes onto the empty
// volume that it is given.
package command

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"os"
	"os/signal"
	"strings"
	"syscall"

	"github.com/charmbracelet/x/ansi"
	"golang.org/x/term"

	"twobin/guard"
	"twobin/guard/watch"
	"twobin/procedure"
	"twobin/procedure/board"
	"twobin/procedure/command"
	"twobin/procedure/media"
	"twobin/procedure/plain"
	"twobin/procedure/screen"
	"twobin/training/drill"
	"twobin/training/practice"
	"twobin/training/world"
)

// Practice is the verb that runs a drill.
type Practice struct {
	command.Common
	Drill   string  `arg:"" optional:"" help:"Which drill; without it the one that is proposed."`
	Trainee string  `help:"Your name: the program remembers what you have done." default:"trainee" placeholder:"NAME"`
	Coach   string  `help:"How much the program says beside its questions: full, brief or none." placeholder:"HOW"`
	Seed    int64   `help:"Which run of the drill; equal seeds give equal drills. Without it one is drawn." placeholder:"N"`
	Size    string  `help:"Bytes in all, like 64MB or 8GB (decimal), on the fullest card; the others have less. Without it small ones." placeholder:"SIZE"`
	List    bool    `help:"List the drills, what each teaches, and where you stand."`
	Reader  string  `help:"Practise with a real, marked practice card (see twobin dummy): where it is mounted. Another card is not touched." placeholder:"PATH"`
	Show    bool    `help:"The program plays, you watch; any key pauses."`
	Speed   float64 `help:"With --show: how fast; 2 is twice as fast." default:"1" placeholder:"TIMES"`
	Plain   bool    `help:"Line by line instead of full-screen. Chosen by itself where input or output is no terminal."`
}

// Run runs, shows or lists.
func (c *Practice) Run(a *command.App) error {
	home, err := dataHome(c.Home, a)
	if err != nil {
		return err
	}
	c.Trainee = strings.TrimSpace(c.Trainee)
	if c.Trainee == "" {
		return &command.Exit{Code: command.CodeUsage, Err: errors.New("--trainee: a name is needed")}
	}
	book, err := practice.ReadBook(home, c.Trainee)
	if err != nil {
		return err
	}
	if err := c.agree(); err != nil {
		return err
	}
	if c.List {
		return c.list(a, book)
	}
	policy, err := c.policy()
	if err != nil {
		return err
	}
	o := practice.Options{
		Trainee: c.Trainee, Home: home, Pace: world.Natural, Tool: "twobin " + command.Version, Now: a.Now,
		Policy: policy, Log: slog.New(slog.DiscardHandler),
	}
	o.Media = func(id guard.Identifier, proofs string) procedure.Media {
		return media.New(media.Options{Ident: id, Proofs: proofs, Policy: o.Policy, Tool: "twobin", Version: command.Version, Now: a.Now, Log: o.Log})
	}
	if err := c.choose(&o, book, a); err != nil {
		return err
	}
	if err := c.card(&o); err != nil {
		return err
	}
	if err := room(o, &watch.Identifier{Patience: watch.WakeUp}); err != nil {
		return err
	}
	return c.run(a, o, book)
}

func names() []string {
	var out []string
	for _, d := range drill.Drills() {
		out = append(out, d.Name)
	}
	return out
}

// run works the drill to its end and says what came of it.
func (c *Practice) run(a *command.App, o practice.Options, book practice.Book) error {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	if err := c.before(a, o, book); err != nil {
		return err
	}
	s, err := practice.Start(ctx, o)
	if err != nil && o.Again != nil {
		return fmt.Errorf("%w; this drill cannot go on. Start again: another one begins", err)
	}
	if err != nil {
		return err
	}
	ui, cancel := context.WithCancel(ctx)
	defer cancel()
	watched := make(chan struct{})
	go func() {
		defer close(watched)
		select {
		case <-s.Cut():
			cancel()
		case <-ui.Done():
		}
	}()
	if err := errors.Join(
		drill.Say(a.Out, "%s: %s. Trainee %s, coach %s, seed %d.", o.Drill.Name, o.Drill.Title, o.Trainee, o.Coach, o.Seed),
		printed(fmt.Fprintf(a.Out, "DRILL sandbox: %s\n", s.Dir())),
	); err != nil {
		return errors.Join(err, s.Leave())
	}
	if o.Coach == practice.Shown {
		if _, _, terminals := terminal(a); terminals && !c.Plain {
			err = showScreen(ui, a, s, c.Speed)
		} else {
			err = show(ui, a, s, c.Speed)
		}
	} else {
		err = c.work(ui, a, s)
	}
	cancel()
	<-watched
	if isClosed(s.Cut()) {
		err = errors.Join(err, s.Leave(), drill.Say(a.Out, "The power is gone; the program has ended. Start it again:"), c.hint(a, "", c.Show))
		return &command.Exit{Code: command.CodeFailed, Err: err}
	}
	r, endErr := s.End()
	err = errors.Join(err, endErr, c.tell(a, o, s, r, book))
	if err == nil && r.Outcome == drill.NotPassed && o.Coach != practice.Shown {
		return &command.Exit{Code: command.CodeFailed}
	}
	return err
}

func isClosed(c <-chan struct{}) bool {
	select {
	case <-c:
		return true
	default:
		return false
	}
}

// work shows the drill full-screen, or line by line.
func (c *Practice) work(ctx context.Context, a *command.App, s *practice.Session) error {
	in, out, terminals := terminal(a)
	if !c.Plain && terminals {
		return screen.Run(ctx, s, screen.Options{In: in, Out: out, NoColor: a.Env("NO_COLOR") != "", Now: a.Now,
			Board: func(w, h int) string { return board.Of(s.Shift(), a.Now()).Text(w, h) }})
	}
	fmt.Fprintln(a.Out, "DRILL besides answers and commands: do answer, do ask, do give, do swap, do free DRIVE, do open DRIVE.")
	return plain.Run(ctx, s, plain.Options{In: a.In, Out: a.Out, Bell: terminals, Board: func(w io.Writer) error {
		_, err := io.WriteString(w, "DRILL board\n"+board.Of(s.Shift(), a.Now()).Text(80, 24))
		return err
	}})
}

// terminal gives the streams as terminals, and whether both are.
func terminal(a *command.App) (in, out *os.File, both bool) {
	in, inOK := a.In.(*os.File)
	out, outOK := a.Out.(*os.File)
	return in, out, inOK && outOK && term.IsTerminal(int(in.Fd())) && term.IsTerminal(int(out.Fd()))
}

// tell prints debrief, where things are, and what is proposed next.
func (c *Practice) tell(a *command.App, o practice.Options, s *practice.Session, r drill.Result, book practice.Book) error {
	if o.Coach != practice.Shown {
		if err := drill.Debrief(a.Out, o.Drill, r, book.Earlier(s.Path())); err != nil {
			return err
		}
	}
	if s.Path() != "" {
		fmt.Fprintln(a.Out, "DRILL\nDRILL journal: "+procedure.Plain(s.Path()))
	}
	if _, err := os.Lstat(s.Dir()); errors.Is(err, fs.ErrNotExist) {
		fmt.Fprintln(a.Out, "DRILL the sandbox is removed.")
	}
	now, err := practice.ReadBook(o.Home, o.Trainee)
	if err != nil {
		return err
	}
	return c.proposes(a, now, "DRILL ")
}

// printed is the error of printing.
func printed(_ int, err error) error { return err }

// list prints every drill.
func (c *Practice) list(a *command.App, book practice.Book) error {
	var b strings.Builder
	fmt.Fprintf(&b, "DRILLS for %s\n", procedure.Plain(c.Trainee))
	fmt.Fprintln(&b, ansi.Wordwrap("A drill is passed by: "+drill.Common+".", 78, ""))
	for _, d := range drill.Drills() {
		fmt.Fprintf(&b, "\n%-12s stage %d  %s\n", d.Name, d.Stage, d.Title)
		fmt.Fprintf(&b, "  standing: %s\n", book.Of(d.Name).Line())
		for _, r := range book {
			if r.Drill == d.Name && waits(r) {
				fmt.Fprintf(&b, "  waits:    seed %d, since its power cut%s\n", r.Seed, map[bool]string{true: ", watched"}[r.Coach == practice.Shown])
			}
		}
		for n, l := range strings.Split(ansi.Wordwrap(strings.Join(d.Teaches, "; "), 64, ""), "\n") {
			fmt.Fprintf(&b, "  %-9s %s\n", map[bool]string{true: "teaches:"}[n == 0], l)
		}
		fmt.Fprintf(&b, "  allowed:  %s\n", d.Allows())
	}
	fmt.Fprintln(&b)
	if _, err := io.WriteString(a.Out, b.String()); err != nil {
		return err
	}
	return c.proposes(a, book, "")
}

// proposes prints the command that the program proposes, on a line of its own, and what it does.
func (c *Practice) proposes(a *command.App, book practice.Book, mark string) error {
	p := Practice{Common: c.Common, Trainee: c.Trainee, Reader: c.Reader, Plain: c.Plain, Speed: 1}
	if r, ok := p.waiting(book); ok {
		return printed(fmt.Fprintf(a.Out, "%snext: %s\n%s  (goes on with %s, seed %d, which waits since its power cut)\n", mark, p.typed(false), mark, r.Drill, r.Seed))
	}
	next, how := book.Next()
	if err := printed(fmt.Fprintf(a.Out, "%snext: %s\n%s  (%s)\n", mark, p.typed(false, next.Name, "--coach", string(how)), mark, next.Title)); err != nil {
		return err
	}
	if s := book.Of(next.Name); s.Shown == 0 && s.Done == 0 {
		watch := Practice{Common: c.Common, Trainee: c.Trainee, Plain: c.Plain, Speed: 1}
		return printed(fmt.Fprintf(a.Out, "%swatch it first: %s\n", mark, watch.typed(true, next.Name)))
	}
	return nil
}
