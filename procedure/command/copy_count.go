package command

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"

	"twobin/guard"
	"twobin/guard/proofstore"
	"twobin/procedure"
	"twobin/procedure/journal"
)

// count journals a further copy of a roll of the open shift: one more proven destination, which the lock then asks for
// too. A shift that is at work takes it itself, within seconds. Why a copy does not count is said; a roll of no open
// shift has nothing to count in.
func (c *Copy) count(a *App, home string, s *source, q *guard.Proof) error {
	if s.label == "" || !anyProven(q) {
		return nil
	}
	f, err := current(home, "")
	if err != nil || f.shift.Closed || f.shift.Roll(s.label) == nil {
		return nil //nolint:nilerr // no open shift that has the roll: nothing to count in
	}
	roll := f.shift.Roll(s.label)
	if roll.Copy != procedure.CopyIsProven || roll.Partly || roll.Erased {
		return c.notCounted(a, s, "the roll has no proven copy there now, or was erased")
	}
	proofs := filepath.Join(home, "proofs")
	old, err := proofstore.Load(proofs, roll.Proof)
	if err != nil {
		return fmt.Errorf("proof of %s: %w", s.label, err)
	}
	joined, notes, why := procedure.Join(old, q)
	if why != "" {
		return c.notCounted(a, s, why)
	}
	if len(notes) == 0 {
		return c.notCounted(a, s, "it counts already")
	}
	sha, err := proofstore.Save(proofs, joined)
	if err != nil {
		return fmt.Errorf("proof of %s: %w", s.label, err)
	}
	err = appendEvent(f, s.label, procedure.CopyAdded{Proof: sha, Copies: notes})
	var busy *journal.Busy
	if errors.As(err, &busy) {
		if sha, err = proofstore.Save(proofs, q); err != nil {
			return fmt.Errorf("proof of the copy of %s: %w", s.label, err)
		}
		if err := newShelf(home, nil).Add(procedure.Further{Shift: f.shift.Opened.Key(), Roll: s.label, Proof: sha}); err != nil {
			return err
		}
		_, err = fmt.Fprintf(a.Out, "%s: left for the shift that is at work; it says when the copy counts\n", s.label)
		return err
	}
	if err == nil {
		_, err = fmt.Fprintf(a.Out, "%s: counted in the open shift, one more proven destination\n", s.label)
	}
	return err
}

func (c *Copy) notCounted(a *App, s *source, why string) error {
	_, err := fmt.Fprintf(a.Out, "look: this copy of %s does not count in the open shift: %s\n", s.label, why)
	return err
}

func anyProven(p *guard.Proof) bool {
	for i := range p.Copies {
		if p.Proven(&p.Copies[i]) {
			return true
		}
	}
	return false
}

// appendEvent opens the journal for one event.
func appendEvent(f *found, l procedure.Label, ev procedure.Event) error {
	name, data, err := procedure.EncodeEvent(ev)
	if err != nil {
		return err
	}
	b, lines, err := journal.Open(f.path, journal.Options{Station: f.shift.Opened.Station, Program: "twobin " + Version})
	if err != nil {
		return err
	}
	s, _, err := procedure.Fold(lines)
	if err == nil {
		last := lines[len(lines)-1]
		err = s.May(procedure.Entry{At: procedure.Moment{Wall: last.Time, Run: last.Run, Mono: last.Mono}, Roll: l, Operator: s.Operator, Event: ev})
	}
	if err == nil {
		_, err = b.Append(context.Background(), journal.Line{Event: name, Roll: string(l), Operator: s.Operator, Data: data})
	}
	return errors.Join(err, b.Close())
}
