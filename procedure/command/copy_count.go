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
// too. A roll of no open shift, or a copy that is not fully the roll's proof, changes nothing there.
func (c *Copy) count(a *App, home string, s *source, q *guard.Proof) error {
	if s.label == "" {
		return nil
	}
	f, err := current(home, "")
	if err != nil || f.shift.Closed {
		return nil //nolint:nilerr // no open shift: nothing to count in
	}
	roll := f.shift.Roll(s.label)
	if roll == nil || roll.Copy != procedure.CopyIsProven || roll.Partly || roll.Erased {
		return nil
	}
	proofs := filepath.Join(home, "proofs")
	old, err := proofstore.Load(proofs, roll.Proof)
	if err != nil {
		return fmt.Errorf("proof of %s: %w", s.label, err)
	}
	notes := merge(old, q)
	if len(notes) == 0 {
		return nil
	}
	sha, err := proofstore.Save(proofs, old)
	if err != nil {
		return fmt.Errorf("proof of %s: %w", s.label, err)
	}
	err = appendEvent(f, s.label, procedure.CopyAdded{Proof: sha, Copies: notes})
	var busy *journal.Busy
	if errors.As(err, &busy) {
		_, werr := fmt.Fprintf(a.Out, "look: the shift is worked by another twobin (%v); this copy does not count there\n", busy)
		return werr
	}
	if err == nil {
		_, err = fmt.Fprintf(a.Out, "%s: counted in the open shift, one more proven destination\n", s.label)
	}
	return err
}

// merge adds to old the proven copies of q, if q has the same files, and names them.
func merge(old, q *guard.Proof) []procedure.CopyNote {
	if len(old.Files) != len(q.Files) || old.Card.Simulated {
		return nil
	}
	for i := range old.Files {
		if old.Files[i] != q.Files[i] {
			return nil
		}
	}
	var notes []procedure.CopyNote
	for i := range q.Copies {
		n := q.Copies[i]
		if !q.Proven(&n) || has(old, n.Name) {
			continue
		}
		old.Copies = append(old.Copies, n)
		notes = append(notes, procedure.CopyNote{Name: n.Name, Path: n.Path, Folder: n.Folder, Proven: true, Honesty: n.Honesty.String()})
	}
	return notes
}

func has(p *guard.Proof, name string) bool {
	for i := range p.Copies {
		if p.Copies[i].Name == name {
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
