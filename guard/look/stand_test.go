package look

import (
	"os"
	"path/filepath"
	"testing"

	"twobin/guard"
)

// Each thing that can end a copy between the fresh look and the erase, and that needs no hashing to be seen.
func TestStand(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name   string
		change func(r *rig) error
		ok     bool
	}{
		{"as proven", func(*rig) error { return nil }, true},
		{"all files of one copy gone", func(r *rig) error { return os.RemoveAll(r.in("RAID", "P/A003")) }, false},
		{"one file gone", func(r *rig) error {
			return os.Remove(r.in("SHUTTLE", filepath.Join("P/A003", r.proof.Files[0].Path)))
		}, false},
		{"one file longer", func(r *rig) error {
			return os.WriteFile(r.in("RAID", filepath.Join("P/A003", r.proof.Files[0].Path)), make([]byte, 9999), 0o600)
		}, false},
		{"another volume there", func(r *rig) error {
			r.vols.set(r.in("RAID", ""), func(v *guard.Volume) { v.ID = "sim:other" })
			return nil
		}, false},
		{"not simulated any more", func(r *rig) error {
			r.vols.set(r.in("RAID", ""), func(v *guard.Volume) { v.Simulated = false })
			return nil
		}, false},
		{"no copy proven", func(r *rig) error {
			for i := range r.proof.Copies {
				r.proof.Copies[i].Fault = "condemned"
			}
			return nil
		}, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			r := newRig(t)
			if err := c.change(r); err != nil {
				t.Fatal(err)
			}
			if err := Stand(t.Context(), r.req); (err == nil) != c.ok {
				t.Errorf("Stand = %v, want ok %v", err, c.ok)
			}
		})
	}
	if err := Stand(t.Context(), Request{}); err == nil {
		t.Error("a request without proof stands")
	}
}
