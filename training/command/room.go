package command

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"twobin/guard"
	"twobin/procedure"
	"twobin/procedure/command"
	"twobin/training/practice"
	"twobin/training/world"
)

// room says whether what the drill makes fits: its cards and copies into the folder for temporary files, its fullest card
// onto the practice card. A volume that tells no size is tried. One that does not answer is tried with the small cards of
// a drill without --size only: large ones could fill the system's disk.
func room(o practice.Options, ident guard.Identifier) error {
	if o.Again != nil {
		return nil // its cards are there
	}
	below := o.Below
	if below == "" {
		below = os.TempDir()
	}
	refuse := func(now, format string, v ...any) error {
		what := fmt.Sprintf(format, v...) + ". Nothing was written. Now: "
		if o.Size > 0 {
			what += "a smaller --size, "
		}
		return &command.Exit{Code: command.CodeUsage, Err: errors.New(what + now)}
	}
	p := o.NewPlan()
	v, err := ident.Identify(below)
	if err != nil && o.Size > 0 {
		return &command.Exit{Code: command.CodeUsage, Err: fmt.Errorf("--size: the room in %s, the folder for temporary files, is not known: %w. Nothing was written. Now: try again, or leave --size out",
			procedure.Plain(below), err)}
	}
	if need := p.Room(); err == nil && v.Size > 0 && v.Free < need {
		return refuse("make room there, or name a folder with more room in TMPDIR (Windows: TMP)",
			"the cards of %s and their copies take up to %s; %s, the folder for temporary files, has %s free",
			o.Drill.Name, procedure.SizeText(need), procedure.Plain(below), procedure.SizeText(v.Free))
	}
	if o.Card == "" {
		return nil
	}
	v, err = ident.Identify(o.Card)
	if need := p.Fullest(); err == nil && v.Size > 0 && v.Size-v.Size/16 < need {
		return refuse("take another card", "the fullest card of %s has %s; the practice card at %s holds %s in all",
			o.Drill.Name, procedure.SizeText(need), procedure.Plain(o.Card), procedure.SizeText(v.Size))
	}
	return nil
}

// sweep removes sandboxes that killed drills have left, and names them.
func sweep(o practice.Options, say func(line string) error) error {
	gone, err := world.Sweep(o.Below)
	if err != nil {
		o.Log.Warn("drill sandboxes", "err", err)
	}
	for _, dir := range gone {
		if err := say("A drill that was killed had left its sandbox; it is removed: " + procedure.Plain(filepath.Clean(dir))); err != nil {
			return err
		}
	}
	return nil
}
