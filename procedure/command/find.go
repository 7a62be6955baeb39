package command

import (
	"fmt"
	"io"
	"strings"

	"twobin/procedure"
	"twobin/procedure/archive"
)

// Find is the verb that finds rolls and clips over all days, a card's history, and all rolls of a drive.
type Find struct {
	Common
	Words []string `arg:"" optional:"" help:"A label, part of a clip's name, a whole serial number, or the beginning of a hash; all words must fit."`
	Card  string   `help:"The history of the card with this serial number." placeholder:"SERIAL" xor:"what"`
	Drive string   `help:"All rolls of a drive, by its name or identity." placeholder:"NAME" xor:"what"`
	JSON  bool     `help:"JSON on stdout."`
}

// mostHits bounds what one search shows.
const mostHits = 200

// Run searches; exit code 1 if nothing was found.
func (c *Find) Run(a *App) error {
	asked := 0
	for _, set := range []bool{len(c.Words) > 0, c.Card != "", c.Drive != ""} {
		if set {
			asked++
		}
	}
	if asked != 1 {
		return usage("find: give words, or --card SERIAL, or --drive NAME")
	}
	home, err := c.reading(a, "")
	if err != nil {
		return err
	}
	ar, err := archive.Open(home)
	if err != nil {
		return &Exit{Code: CodeFailed, Err: err}
	}
	switch {
	case c.Card != "":
		return c.card(a, ar)
	case c.Drive != "":
		return c.drive(a, ar)
	}
	f, err := ar.Find(c.Words, mostHits)
	if err != nil {
		return usage("%w", err)
	}
	if err := c.show(a, f, f.Text()); err != nil {
		return err
	}
	if len(f.Hits) == 0 {
		return &Exit{Code: CodeFailed}
	}
	return nil
}

// show writes the answer in the form asked for.
func (c *Find) show(a *App, v any, text string) error {
	if c.JSON {
		return a.JSON(v, "  ")
	}
	_, err := io.WriteString(a.Out, text)
	return err
}

// warn says on stderr what could not be read.
func warn(a *App, ar *archive.Archive) {
	for _, w := range ar.Warnings() {
		fmt.Fprintln(a.Err, "look: "+procedure.Plain(w))
	}
}

func (c *Find) card(a *App, ar *archive.Archive) error {
	warn(a, ar)
	k, ok := ar.Card(c.Card)
	if !ok {
		var there []string
		for _, o := range ar.Cards() {
			if o.Serial != "" {
				there = append(there, o.Serial)
			}
		}
		return notThere("card with the serial number", c.Card, there)
	}
	return c.show(a, k, k.Text())
}

func (c *Find) drive(a *App, ar *archive.Archive) error {
	warn(a, ar)
	ds := ar.Drive(c.Drive)
	if len(ds) == 0 {
		var there []string
		for _, d := range ar.Drives() {
			there = append(there, d.Name)
		}
		return notThere("drive", c.Drive, there)
	}
	var text strings.Builder
	for _, d := range ds {
		text.WriteString(d.Text())
	}
	return c.show(a, ds, text.String())
}

// notThere says that nothing of a name is in the record, and which names are.
func notThere(what, name string, there []string) error {
	const most = 12
	list := "none is"
	if n := len(there) - most; n > 0 {
		there = append(there[:most:most], fmt.Sprintf("and %d more", n))
	}
	if len(there) > 0 {
		list = "there is " + strings.Join(there, ", ")
	}
	return &Exit{Code: CodeFailed, Err: fmt.Errorf("no %s %q is in the record; %s", what, procedure.Plain(name), procedure.Plain(list))}
}
