package command

import (
	"fmt"
	"io"
	"path/filepath"
	"runtime/debug"
	"slices"

	"twobin/guard"
	"twobin/guard/proofstore"
	"twobin/procedure"
	"twobin/procedure/archive"
	"twobin/procedure/handover"
	"twobin/procedure/paper"
	"twobin/procedure/pocket"
	"twobin/procedure/sheet"
)

// Which narrows the record down; empty fields ask for everything.
type Which struct {
	Production string `help:"Only this production." placeholder:"NAME"`
	Day        int    `help:"Only this shoot day." placeholder:"N"`
	Station    string `help:"Only this station." placeholder:"NAME"`
}

func (w Which) query() sheet.Query {
	return sheet.Query{Production: w.Production, Day: w.Day, Station: w.Station}
}

// Sheet is the verb that writes the log sheet for post.
type Sheet struct {
	Common
	Which
	CSV  string `name:"csv" help:"Write as CSV (RFC 4180)." placeholder:"FILE"`
	XLSX string `name:"xlsx" help:"Write as a spreadsheet." placeholder:"FILE"`
	HTML string `name:"html" help:"Write as a page to print." placeholder:"FILE"`
}

// collectLess lets the heap of a long sheet grow to three times what is in use instead of twice: ten thousand rolls are
// read in an eighth less time, and the process ends right after.
const collectLess = 200

// Run writes each form asked for; without one, CSV goes to standard output. A file that is there is not overwritten.
func (c *Sheet) Run(a *App) error {
	defer debug.SetGCPercent(debug.SetGCPercent(collectLess))
	s, err := c.sheet(a)
	if err != nil {
		return err
	}
	for _, w := range s.Warnings {
		fmt.Fprintln(a.Err, "look: "+procedure.Plain(w))
	}
	if c.CSV == "" && c.XLSX == "" && c.HTML == "" {
		return s.WriteCSV(a.Out)
	}
	var forms []sheet.Form
	for _, f := range []sheet.Form{{Path: c.CSV, Write: s.WriteCSV}, {Path: c.XLSX, Write: s.WriteXLSX}, {Path: c.HTML, Write: s.WriteHTML}} {
		if f.Path != "" {
			forms = append(forms, f)
		}
	}
	done, err := sheet.CreateAll(forms...)
	for _, path := range done {
		if _, err := fmt.Fprintf(a.Out, "%s: %s\n", procedure.Plain(path), rollsText(len(s.Rows))); err != nil {
			return err
		}
	}
	return failed(err)
}

func rollsText(n int) string {
	if n == 1 {
		return "1 roll"
	}
	return fmt.Sprintf("%d rolls", n)
}

func (c *Sheet) sheet(a *App) (*sheet.Sheet, error) {
	home, err := c.reading(a, "")
	if err != nil {
		return nil, err
	}
	ar, err := archive.Open(home)
	if err != nil {
		return nil, &Exit{Code: CodeFailed, Err: err}
	}
	s, err := ar.Sheet(c.query(), a.Now(), "twobin "+Version)
	if err != nil {
		return nil, &Exit{Code: CodeFailed, Err: err}
	}
	return s, nil
}

// Card is the verb that prints the routine on one page and as strips of label tape.
type Card struct {
	Strips bool   `help:"Strips for 12 mm label tape instead of the page."`
	PDF    string `name:"pdf" help:"Write as PDF." placeholder:"FILE"`
	Size   string `help:"Paper: a4 or letter." default:"a4"`
}

// Run prints the card.
func (c *Card) Run(a *App) error {
	k := pocket.Of()
	size, err := paper.ParseSize(c.Size)
	if err != nil {
		return usage("--size: %w", err)
	}
	if c.PDF != "" {
		return failed(sheet.Create(c.PDF, func(w io.Writer) error {
			if c.Strips {
				return paper.Strips(w, k, a.Now())
			}
			return paper.Card(w, k, size, a.Now())
		}))
	}
	text := k.Text(80)
	if c.Strips {
		text = k.StripText()
	}
	_, err = io.WriteString(a.Out, text)
	return err
}

// failed gives an error the exit code of a failure.
func failed(err error) error {
	if err == nil {
		return nil
	}
	return &Exit{Code: CodeFailed, Err: err}
}

// earlier is a reader of rows that knows the earlier shifts of a production, as far as they can be read: equal files are
// asked about over all of its days.
func earlier(home string, f *found, load func(string) (*guard.Proof, error)) *sheet.Reader {
	if ar, err := archive.Open(home); err == nil && f.shift.Opened != nil && f.shift.Opened.Drill == "" {
		return ar.Before(f.shift)
	}
	return sheet.NewReader(load)
}

// sheetWarnings is what the reader of a shift's sheet must know: the same as in the sheet of the archive.
func sheetWarnings(home string, f *found, rows []sheet.Row) []string {
	ar, err := archive.Open(home)
	if err != nil {
		return []string{procedure.Plain("the other shifts could not be read: " + oneLine(err.Error()))}
	}
	out := ar.WarningsFor(f.shift.Opened.Production, rows)
	if bad := f.unusable(); bad != nil && !slices.ContainsFunc(ar.Journals, func(j archive.Journal) bool { return j.Path == f.path }) { // named with --journal, from elsewhere
		out = append(out, procedure.Plain(fmt.Sprintf("%s is damaged: %s; the %d lines before it are used", f.path, oneLine(bad.Error()), len(f.entries))))
	}
	return out
}

// Handover is the verb that writes the hand-over of a shift.
type Handover struct {
	Common
	Dir     string `arg:"" help:"The folder to write into; made if it is not there."`
	Journal string `help:"The journal of the shift; default: the one that is open, else the newest." placeholder:"FILE"`
	Size    string `help:"Paper: a4 or letter." default:"a4"`
}

// Run writes hand-over, drive labels and log sheet.
func (c *Handover) Run(a *App) error {
	size, err := paper.ParseSize(c.Size)
	if err != nil {
		return usage("--size: %w", err)
	}
	home, err := c.reading(a, c.Journal)
	if err != nil {
		return err
	}
	f, err := current(home, c.Journal)
	if err != nil {
		return err
	}
	f.warn(a)
	load := func(sha string) (*guard.Proof, error) { return proofstore.Load(filepath.Join(home, "proofs"), sha) }
	rows := earlier(home, f, load).Rows(f.shift, f.entries)
	doc := handover.Of(f.shift, f.entries, rows, handover.RecordOf(f.lines, f.damage), a.Now(), "twobin "+Version)
	s := &sheet.Sheet{Made: a.Now(), Tool: "twobin " + Version, Rows: rows, Warnings: sheetWarnings(home, f, rows)}
	for _, w := range s.Warnings {
		fmt.Fprintln(a.Err, "look: "+procedure.Plain(w))
	}
	names, err := handover.Write(c.Dir, doc, s, func(w io.Writer, d handover.Doc) error { return paper.HandOver(w, d, size) })
	if err != nil {
		return &Exit{Code: CodeFailed, Err: err}
	}
	for _, n := range names {
		if _, err := fmt.Fprintln(a.Out, procedure.Plain(n)); err != nil {
			return err
		}
	}
	return nil
}
