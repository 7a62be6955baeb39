package harbour

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"os"
	"path/filepath"

	"twobin/procedure"
)

// Save stores the day's proofs in dir under the names of package proofstore, and puts their real digests into the day's
// entries. Write the journal after it. Nothing is flushed: what a test writes need not survive a power cut.
func (d *Day) Save(dir string) error {
	for i, e := range d.Entries {
		ev, ok := e.Event.(procedure.CopyProven)
		if !ok || d.Proofs[ev.Proof] == nil {
			continue
		}
		var b bytes.Buffer
		if err := d.Proofs[ev.Proof].Write(&b); err != nil {
			return err
		}
		sum := sha256.Sum256(b.Bytes())
		ev.Proof = hex.EncodeToString(sum[:])
		if err := os.WriteFile(filepath.Join(dir, ev.Proof+".proof"), b.Bytes(), 0o644); err != nil {
			return err
		}
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
