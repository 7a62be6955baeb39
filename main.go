// Twobin is a terminal checklist coach and procedure enforcer for the person who handles camera cards on a set.
// See README.md for its use and DEVELOPERS.md for its house.
package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"github.com/alecthomas/kong"

	"twobin/procedure"
	"twobin/procedure/command"
	"twobin/procedure/screen/unasked"
	training "twobin/training/command"
)

// verbs is the command line.
type verbs struct {
	Practice training.Practice `cmd:"" help:"Practise the routine on a simulated card. Begin here."`
	Dummy    training.Dummy    `cmd:"" help:"Prepare a real, spare, empty card for practising with real hands."`
	Review   training.Review   `cmd:"" help:"What the step timings of drills and shifts say: for trainers."`
	Shift    command.Shift     `cmd:"" help:"Work a shift: set-up, rolls, close. Goes on where it left off."`
	Board    command.Board     `cmd:"" help:"Where every roll is, and since when."`
	Lock     command.Lock      `cmd:"" help:"What keeps a roll's erase step closed."`
	Journal  command.Journal   `cmd:"" help:"Show or check the journal."`
	Doctor   command.Doctor    `cmd:"" help:"What would stop a shift on this computer."`
	Sheet    command.Sheet     `cmd:"" help:"The log sheet for post: CSV, spreadsheet or page."`
	Handover command.Handover  `cmd:"" help:"The hand-over of a shift, with drive labels and log sheet."`
	Find     command.Find      `cmd:"" help:"Find rolls and clips over all days, a card's history, all rolls of a drive."`
	Card     command.Card      `cmd:"" help:"The routine on one page, or as strips of label tape."`
	Copy     command.Copy      `cmd:"" help:"A further proven copy of a roll or folder."`
	Recheck  command.Recheck   `cmd:"" help:"Read a drive again and compare it with its hash lists."`
	Version  versionVerb       `cmd:"" help:"The program's version."`
}

type versionVerb struct{}

// Run prints the version.
func (versionVerb) Run(a *command.App) error {
	_, err := fmt.Fprintln(a.Out, "twobin "+command.Version)
	return err
}

func main() {
	unasked.Restore()
	os.Exit(run(os.Args[1:], &command.App{In: os.Stdin, Out: os.Stdout, Err: os.Stderr, Env: os.Getenv, Now: time.Now}))
}

// run parses, hands over, and maps the error to an exit code.
func run(args []string, a *command.App) int {
	exit := -1
	k, err := kong.New(&verbs{}, kong.Name("twobin"), kong.Writers(a.Out, a.Err), kong.Exit(func(c int) { exit = c }),
		kong.Description("A checklist coach and procedure enforcer for camera cards: every card copied, proven, logged, and never erased before its copies are safe."),
		kong.UsageOnError())
	if err != nil {
		return fail(a.Err, err, command.CodeUsage)
	}
	if len(args) == 0 {
		args = []string{"--help"}
	}
	ctx, err := k.Parse(args)
	if exit >= 0 { // --help has printed
		return exit
	}
	if err != nil {
		return fail(a.Err, allowed(err), command.CodeUsage)
	}
	if err := ctx.Run(a); err != nil {
		return fail(a.Err, err, command.CodeOf(err))
	}
	return 0
}

// allowed adds to an error of usage where it is said what is allowed.
func allowed(err error) error {
	var p *kong.ParseError
	where := ""
	if errors.As(err, &p) && p.Context != nil && p.Context.Command() != "" {
		where, _, _ = strings.Cut(p.Context.Command(), " ")
		return fmt.Errorf("%w; see: twobin %s --help", err, where)
	}
	k, kerr := kong.New(&verbs{})
	if kerr != nil {
		return err
	}
	var names []string
	for _, n := range k.Model.Children {
		names = append(names, n.Name)
	}
	return fmt.Errorf("%w; allowed are: %s", err, strings.Join(names, ", "))
}

// fail writes the error as one line, without what a terminal would obey: it may name files, and words of the command line. An
// Exit without a cause has said everything already.
func fail(w io.Writer, err error, code int) int {
	var x *command.Exit
	if errors.As(err, &x) && x.Err == nil {
		return code
	}
	fmt.Fprintln(w, procedure.Plain("twobin: "+strings.Join(strings.Fields(err.Error()), " ")))
	return code
}
