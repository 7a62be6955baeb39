package command

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"syscall"
	"time"

	"twobin/procedure"
	"twobin/procedure/command"
	"twobin/procedure/sheet"
	"twobin/training/review/paper"
	"twobin/training/review/read"
	"twobin/training/review/report"
	"twobin/training/review/school"
	"twobin/training/review/term"
	"twobin/training/review/text"
)

// Review is the verb that says what the step timings of drills and shifts say.
type Review struct {
	Home      string   `help:"Data folder (journals, drills). Also TWOBIN_HOME." placeholder:"DIR"`
	Trainee   []string `help:"Only these; may be given more than once." placeholder:"NAME" sep:"none"`
	Since     string   `help:"Only drills and shifts from this day on, like 2031-05-06." placeholder:"DATE"`
	Step      []string `help:"Only the times of these steps; may be given more than once." placeholder:"ID"`
	Shifts    bool     `help:"Only shifts." xor:"mode"`
	Drills    bool     `help:"Only drills." xor:"mode"`
	Reference []string `help:"Whose median is the standard; may be given more than once." placeholder:"NAME" sep:"none"`
	Compare   string   `help:"Two trainees, or two periods of one: FROM..TO,FROM..TO." placeholder:"A,B"`
	JSON      bool     `help:"JSON on stdout."`
	CSV       string   `help:"Write every time of every run as CSV." placeholder:"FILE"`
	HTML      string   `help:"Write the review as one HTML file." placeholder:"FILE"`
	Plain     bool     `help:"Plain text instead of full-screen. Chosen by itself where input or output is no terminal."`
	Demo      bool     `help:"An invented school: six trainees over eight weeks."`
	Path      []string `arg:"" optional:"" help:"Journals, or folders with journals; default: the data folder."`
}

// Run reads, reckons and shows.
func (c *Review) Run(a *command.App) error {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	o, err := c.options()
	if err != nil {
		return &command.Exit{Code: command.CodeUsage, Err: err}
	}
	paths, done, err := c.paths(a, &o)
	if err != nil {
		return err
	}
	defer done()
	set, err := read.Read(ctx, paths)
	if err != nil {
		return &command.Exit{Code: command.CodeFailed, Err: err}
	}
	r, err := report.Make(set, o)
	if err != nil {
		return &command.Exit{Code: command.CodeUsage, Err: err}
	}
	r.Demo = c.Demo
	return c.show(ctx, a, r)
}

// options reads the flags.
func (c *Review) options() (report.Options, error) {
	o := report.Options{Trainees: c.Trainee, References: c.Reference}
	switch {
	case c.Shifts:
		o.Mode = report.Shifts
	case c.Drills:
		o.Mode = report.Drills
	}
	if c.Since != "" {
		var err error
		if o.Since, err = time.Parse(time.DateOnly, c.Since); err != nil {
			return o, fmt.Errorf("--since %q: a day like 2031-05-06", c.Since)
		}
	}
	for _, id := range c.Step {
		s, ok := procedure.StepByID(strings.ToLower(strings.TrimSpace(id)))
		if !ok {
			var ids []string
			for _, spec := range procedure.Routine() {
				ids = append(ids, spec.ID)
			}
			return o, fmt.Errorf("--step %q: %s", id, strings.Join(ids, ", "))
		}
		o.Steps = append(o.Steps, s)
	}
	if c.Compare != "" {
		var err error
		if o.Compare, err = report.ParseSides(c.Compare); err != nil {
			return o, fmt.Errorf("--compare: %w", err)
		}
	}
	if c.Demo && len(c.Path) > 0 {
		return o, errors.New("--demo shows an invented school; it takes no journals")
	}
	return o, nil
}

// paths finds the journals, or invents them. done takes the invented ones away.
func (c *Review) paths(a *command.App, o *report.Options) (paths []string, done func(), err error) {
	done = func() {}
	switch {
	case c.Demo:
		if len(o.References) == 0 {
			o.References = []string{school.Teacher}
		}
		dir, err := os.MkdirTemp("", "twobin-review-")
		if err != nil {
			return nil, done, fmt.Errorf("review --demo: %w", err)
		}
		done = func() { _ = os.RemoveAll(dir) } // invented, in the system's folder for such
		paths, _, err = school.Write(dir, school.Options{})
		if err != nil {
			done()
			return nil, func() {}, &command.Exit{Code: command.CodeFailed, Err: err}
		}
		return paths, done, nil
	case len(c.Path) > 0:
		paths, err = read.Find(c.Path...)
	default:
		var home string
		if home, err = dataHome(c.Home, a); err == nil {
			paths, err = read.Home(home)
		}
	}
	if err != nil {
		return nil, done, &command.Exit{Code: cmp.Or(command.CodeOf(err), command.CodeFailed), Err: err}
	}
	return paths, done, nil
}

// show writes what was asked for.
func (c *Review) show(ctx context.Context, a *command.App, r *report.Report) error {
	if err := c.files(r); err != nil {
		return &command.Exit{Code: command.CodeFailed, Err: err}
	}
	if c.JSON {
		return a.JSON(r, " ")
	}
	if in, out, both := terminal(a); both && !c.Plain && c.CSV == "" && c.HTML == "" {
		return term.Run(ctx, r, in, out)
	}
	return text.Write(a.Out, r)
}

// files writes what is to be kept; a file that is there already is left as it is.
func (c *Review) files(r *report.Report) error {
	for _, f := range []struct {
		name  string
		write func(io.Writer, *report.Report) error
	}{{c.CSV, paper.WriteCSV}, {c.HTML, paper.WriteHTML}} {
		if f.name == "" {
			continue
		}
		if err := sheet.Create(f.name, func(w io.Writer) error { return f.write(w, r) }); err != nil {
			return err
		}
	}
	return nil
}
