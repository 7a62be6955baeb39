package harbour

import (
	"os"
	"path/filepath"

	"twobin/guard/proofstore"
	"twobin/procedure"
)

// Save stores the day's proofs in dir, as a real shift does, and puts their real digests into the day's entries. Write
// the journal after it.
func (d *Day) Save(dir string) error {
	for i, e := range d.Entries {
		ev, ok := e.Event.(procedure.CopyProven)
		if !ok || d.Proofs[ev.Proof] == nil {
			continue
		}
		sha, err := proofstore.Save(dir, d.Proofs[ev.Proof])
		if err != nil {
			return err
		}
		ev.Proof = sha
		d.Entries[i].Event = ev
	}
	return nil
}

// Home writes days into a data folder, proofs and journals; names are those of the journals' files, below the folder
// journals.
func Home(dir string, days []*Day, names ...string) error {
	proofs := filepath.Join(dir, "proofs")
	if err := os.MkdirAll(proofs, 0o755); err != nil {
		return err
	}
	for i, d := range days {
		path := filepath.Join(dir, "journals", names[i])
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			return err
		}
		if err := d.Save(proofs); err != nil {
			return err
		}
		if _, err := d.WriteJournal(path); err != nil {
			return err
		}
	}
	return nil
}
