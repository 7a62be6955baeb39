package command

import (
	"fmt"
	"time"

	"twobin/procedure"
	"twobin/procedure/journal"
)

// Journal is the verb that shows or checks a journal.
type Journal struct {
	Common
	Verify bool   `help:"Check every line and the chain; show the closing code."`
	JSON   bool   `help:"JSON on stdout."`
	Path   string `arg:"" optional:"" help:"The journal; default: the shift that is open, else the newest."`
}

// verified is the check's result as JSON.
type verified struct {
	journal.Report
	// ClosingCode is that of the line that closed the shift; it stands in the paper book. Empty while it is open.
	ClosingCode string `json:"closing_code,omitempty"`
	Closed      bool   `json:"closed"`
	// Order is why the events do not follow the routine although the chain is whole; empty when they do.
	Order string `json:"order,omitempty"`
}

// Run checks or lists. A journal that is not whole is exit code 1.
func (c *Journal) Run(a *App) error {
	home, err := c.reading(a, c.Path)
	if err != nil {
		return err
	}
	path := c.Path
	if path == "" {
		f, err := current(home, "")
		if f == nil {
			return err
		}
		f.warnNewer(a)
		path = f.path
	}
	if !c.Verify {
		return c.list(a, path)
	}
	rep, err := journal.Verify(path)
	if err != nil {
		return &Exit{Code: CodeFailed, Err: err}
	}
	v := verified{Report: rep}
	if f := readJournal(path); f.err != nil {
		v.Order = oneLine(f.err.Error())
	} else {
		v.Closed = f.shift.Closed
		for _, l := range f.lines {
			if l.Event == (procedure.ShiftClosed{}).Name() {
				v.ClosingCode = journal.CodeOf(l)
			}
		}
	}
	if err := c.print(a, v); err != nil {
		return err
	}
	if !rep.Whole || v.Order != "" {
		return &Exit{Code: CodeFailed}
	}
	return nil
}

func (c *Journal) print(a *App, v verified) error {
	if c.JSON {
		return a.JSON(v, "  ")
	}
	said := v.Report.String()
	if v.Whole { // the code of the last line would be taken for the closing code
		said = fmt.Sprintf("%s: whole, %d lines", v.Path, v.Lines)
	}
	if _, err := fmt.Fprintln(a.Out, procedure.Plain(said)); err != nil {
		return err
	}
	switch {
	case v.Order != "":
		_, err := fmt.Fprintln(a.Out, "its events do not follow the routine: "+procedure.Plain(v.Order))
		return err
	case v.ClosingCode != "":
		_, err := fmt.Fprintln(a.Out, "closing code "+v.ClosingCode+"; compare it with the paper book")
		return err
	case v.Whole:
		_, err := fmt.Fprintln(a.Out, "the shift is open")
		return err
	}
	return nil
}

func (c *Journal) list(a *App, path string) error {
	lines, damage, err := journal.ReadFile(path)
	if err != nil {
		return &Exit{Code: CodeFailed, Err: err}
	}
	if c.JSON {
		for _, l := range lines {
			if err := a.JSON(l, ""); err != nil {
				return err
			}
		}
	} else {
		for _, l := range lines {
			if _, err := fmt.Fprintf(a.Out, "%5d %s %-18s %-5s %-12s %s\n", l.Seq, l.Time.Format(time.DateTime), l.Event, l.Roll, procedure.Plain(l.Operator), procedure.Plain(string(l.Data))); err != nil {
				return err
			}
		}
	}
	if damage != nil {
		return &Exit{Code: CodeFailed, Err: fmt.Errorf("%s is damaged: %s", path, damage)}
	}
	return nil
}
