package command

import (
	"context"
	"io"
	"os"

	"twobin/procedure/doctor"
)

// Doctor is the verb that says what would stop a shift on this computer.
type Doctor struct {
	Common
	To     []string `help:"A destination to look at too." placeholder:"PATH" sep:"none"`
	Reader string   `help:"The reader folder that will be used." placeholder:"PATH"`
	JSON   bool     `help:"JSON on stdout."`
}

// Run looks and reports; exit code 1 if something would stop a shift.
func (c *Doctor) Run(a *App) error {
	if _, err := c.policy(); err != nil {
		return err
	}
	h, err := c.where(a)
	if err != nil {
		return err
	}
	o := doctor.Options{Home: h, To: c.To}
	if c.Reader != "" {
		o.Readers = []string{c.Reader}
	}
	o.In, _ = a.In.(*os.File) // nil: no terminal, which the report then says
	o.Out, _ = a.Out.(*os.File)
	rep := doctor.Check(context.Background(), doctor.System(o))
	if c.JSON {
		err = a.JSON(rep, "  ")
	} else {
		_, err = io.WriteString(a.Out, rep.Text())
	}
	if err == nil && rep.Stops() {
		return &Exit{Code: CodeFailed}
	}
	return err
}
