package command

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"
	"time"

	"twobin/guard/manifest"
	"twobin/guard/recheck"
	"twobin/procedure"
)

// Recheck is the verb that reads drives again and compares them with their hash lists.
type Recheck struct {
	Paths    []string `arg:"" name:"path" help:"A drive, or any folder with rolls below it; also one written by other programs with ASC MHL."`
	ReadOnly bool     `help:"Write nothing; otherwise each roll's history gets a new generation."`
	Operator string   `help:"Your name, for the new generation." placeholder:"NAME"`
	JSON     bool     `help:"JSON on stdout."`
}

// Run rechecks each path in turn; exit code 1 if anything is not intact.
func (c *Recheck) Run(a *App) error {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM, syscall.SIGHUP)
	defer stop()
	host, _ := os.Hostname() // for people; a computer without a name is no reason to stop
	var reports []recheck.Report
	var errs []error
	ok := true
	for _, p := range c.Paths {
		meter := &recheck.Meter{}
		done := make(chan struct{})
		told := make(chan struct{})
		go func() {
			defer close(told)
			if !c.JSON {
				tell(a, meter, done)
			}
		}()
		rep, err := recheck.Run(ctx, p, recheck.Options{
			ReadOnly: c.ReadOnly, Meter: meter, Now: a.Now,
			Info: manifest.Info{Tool: "twobin", Version: Version, Hostname: host, Operator: c.Operator, Now: a.Now},
		})
		close(done)
		<-told
		reports = append(reports, rep)
		ok = ok && rep.OK()
		if !c.JSON {
			if err := printRecheck(a.Out, &rep); err != nil {
				return err
			}
		}
		if err != nil { // the other drives are read all the same, unless it was told to stop
			errs = append(errs, fmt.Errorf("%s: %w", p, err))
			if ctx.Err() != nil {
				break
			}
		}
	}
	if err := c.json(a, reports); err != nil {
		return err
	}
	if !ok || len(errs) > 0 {
		return &Exit{Code: CodeFailed, Err: errors.Join(errs...)}
	}
	return nil
}

func (c *Recheck) json(a *App, reports []recheck.Report) error {
	if !c.JSON {
		return nil
	}
	return a.JSON(reports, "  ")
}

// tell writes a line of progress to stderr now and then.
func tell(a *App, m *recheck.Meter, done <-chan struct{}) {
	const every = 2 * time.Second
	t := time.NewTicker(every)
	defer t.Stop()
	for {
		select {
		case <-done:
			return
		case <-t.C:
			s := m.Snapshot()
			if s.Counting {
				continue
			}
			left := ""
			if d, ok := s.Left(a.Now()); ok {
				left = ", " + procedure.Clockface(d) + " left"
			}
			fmt.Fprintf(a.Err, "recheck: %s, %s of %s, %d of %d files%s\n", procedure.Plain(s.Roll), procedure.SizeText(s.BytesDone),
				procedure.SizeText(s.Bytes), s.FilesDone, s.Files, left)
		}
	}
}

// maxListed is how many files of a roll are named in text; JSON has all.
const maxListed = 20

func printRecheck(w io.Writer, rep *recheck.Report) error {
	p := func(format string, v ...any) { fmt.Fprintf(w, format+"\n", v...) }
	if len(rep.Rolls) == 0 {
		p("%s: no roll with a hash list was found.", procedure.Plain(rep.Path))
	}
	for i := range rep.Rolls {
		r := &rep.Rolls[i]
		word := "intact"
		if !r.OK() {
			word = "NOT intact"
		}
		n := r.Counts
		p("%s: %s. %d intact, %d changed, %d missing, %d extra, %d unreadable, %d unchecked, %d renamed; %s; %s.", procedure.Plain(r.Folder), word, n.Intact,
			n.Changed, n.Missing, n.Extra, n.Unreadable, n.Unchecked, n.Renamed, procedure.SizeText(r.Bytes), r.Reading)
		for j, f := range r.Files {
			if j == maxListed {
				p("  and %d more; --json has all", len(r.Files)-maxListed)
				break
			}
			from := ""
			if f.From != "" {
				from = " (was " + procedure.Plain(f.From) + ")"
			}
			p("  %s: %s%s %s", f.Class, procedure.Plain(f.Path), from, procedure.Plain(f.Cause))
		}
		for _, t := range r.Faults {
			p("  fault: %s", procedure.Plain(t))
		}
		for _, t := range r.Warnings {
			p("  look: %s", procedure.Plain(t))
		}
	}
	for _, u := range rep.Unread {
		p("not listed: %s", procedure.Plain(u))
	}
	if !rep.Complete {
		p("The recheck did not come to its end.")
	}
	return nil
}
