package command

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"

	"twobin/guard/watch"
	"twobin/procedure"
	"twobin/procedure/command"
	"twobin/training/dummy"
)

// Dummy is the verb that prepares a real, spare, empty card for practising with real hands.
type Dummy struct {
	Path  string `arg:"" help:"The empty card: its mount point."`
	Label string `help:"The roll's label." default:"A001"`
	Shape string `help:"clips, frames, long-take or system." default:"clips"`
	Size  string `help:"Bytes in all, like 64MB or 8GB (decimal)." default:"64MB"`
	Seed  uint64 `help:"Equal seeds give equal contents." default:"1"`
}

// Run writes the marker and the files, or refuses.
func (c *Dummy) Run(a *command.App) error {
	usage := func(err error) error { return &command.Exit{Code: command.CodeUsage, Err: err} }
	label, err := procedure.ParseLabel(c.Label)
	if err != nil {
		return usage(fmt.Errorf("--label: %w", err))
	}
	shape, err := dummy.ParseShape(c.Shape)
	if err != nil {
		return usage(fmt.Errorf("--shape: %w", err))
	}
	size, err := parseSize(c.Size)
	if err != nil {
		return usage(fmt.Errorf("--size: %w", err))
	}
	if st, err := os.Stat(c.Path); err == nil && st.IsDir() { // else Prepare says what it is
		if err := wholeVolume(&watch.Identifier{Patience: watch.WakeUp}, c.Path); err != nil {
			return usage(fmt.Errorf("%s is %w", procedure.Plain(c.Path), err))
		}
	}
	files, err := dummy.Prepare(context.Background(), c.Path, dummy.Roll{Label: string(label), Shape: shape, Size: size, Seed: c.Seed, Shot: a.Now()})
	if err != nil {
		if errors.Is(err, dummy.ErrNotEmpty) {
			err = fmt.Errorf("%w. Nothing was written. Now: take a spare card and format it, or empty it yourself", err)
		}
		return &command.Exit{Code: command.CodeFailed, Err: err}
	}
	_, err = fmt.Fprintf(a.Out, "%s is a practice card now: %d files, %s, marker %s. Write %s on card and tape.\nPractise with it: twobin practice --reader %s\n",
		procedure.Plain(c.Path), len(files), procedure.SizeText(size), dummy.MarkerName, label, procedure.Plain(c.Path))
	return err
}

// sizeUnits are decimal (IEC 80000-13).
var sizeUnits = []struct {
	name string
	n    float64
}{{"TB", 1e12}, {"GB", 1e9}, {"MB", 1e6}, {"KB", 1e3}, {"B", 1}, {"", 1}}

// parseSize reads "64MB".
func parseSize(s string) (int64, error) {
	t := strings.ToUpper(strings.ReplaceAll(strings.TrimSpace(s), " ", ""))
	for _, u := range sizeUnits {
		num, ok := strings.CutSuffix(t, u.name)
		var v float64
		var rest string
		if n, _ := fmt.Sscanf(num, "%g%s", &v, &rest); !ok || n != 1 {
			continue
		}
		if b := v * u.n; b >= 1 && b <= 16e12 {
			return int64(b), nil
		}
	}
	return 0, fmt.Errorf("%q is no size: a number and kB, MB, GB or TB, up to 16TB", s)
}
