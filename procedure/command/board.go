package command

import (
	"io"

	"twobin/guard/watch"
	"twobin/procedure/board"
)

// Board is the verb that shows where every roll is.
type Board struct {
	Common
	Journal string `help:"The journal to read; default: the shift that is open." placeholder:"FILE"`
	JSON    bool   `help:"JSON on stdout."`
	Follow  bool   `help:"Full-screen, redrawn as the shift goes on: for a second screen. q leaves."`
}

// Run prints the board once.
func (c *Board) Run(a *App) error {
	if c.Follow && c.Journal == "" { // it may be begun before the shift
		home, err := c.where(a)
		if err != nil {
			return err
		}
		return follow(a, home, "", true)
	}
	home, err := c.reading(a, c.Journal)
	if err != nil {
		return err
	}
	f, err := current(home, c.Journal)
	if err != nil {
		return err
	}
	if c.Follow {
		return follow(a, "", f.path, false)
	}
	f.warn(a)
	b := board.Of(f.shift, a.Now())
	if c.Journal == "" { // an older journal tells of drives as they were
		b = b.WithFree(freeNow(&watch.Identifier{}, f.shift))
	}
	if c.JSON {
		return a.JSON(b, "  ")
	}
	_, err = io.WriteString(a.Out, b.Text(80, 24))
	return err
}
