package look

import (
	"context"
	"errors"
	"fmt"

	"twobin/guard"
)

// Stand says whether every proven copy stands as the proof has it: its own volume at its path, every file there at its
// size. Nothing is hashed, so it takes moments also on a full card. It is what an erase asks right before its first
// removal ([guard.EraseJob]); the hashes were asked by the fresh look, less than a minute before.
//
// A copy that was overwritten since with the same size is not noticed here.
func Stand(ctx context.Context, req Request) error {
	if req.Proof == nil || req.Ident == nil {
		return errLacking
	}
	if req.Patience <= 0 {
		req.Patience = patience
	}
	if req.open == nil {
		req.open = openDrive
	}
	var copies []work
	for i := range req.Proof.Copies {
		if c := &req.Proof.Copies[i]; req.Proof.Proven(c) {
			copies = append(copies, work{Copy: c})
		}
	}
	if len(copies) == 0 {
		return errors.New("no copy is proven")
	}
	return errors.Join(each(copies, func(i int) error {
		found := req.lookAt(ctx, copies[i])
		if err := stands(copies[i].Copy, &found, len(req.Proof.Files)); err != nil {
			return fmt.Errorf("%s: %w", copies[i].Name, err)
		}
		return req.sameStill(ctx, copies[i].Path, found)
	})...)
}

// stands judges what was found of one copy.
func stands(c *guard.Copy, found *guard.CopyLook, files int) error {
	switch {
	case found.Err != "":
		return errors.New(found.Err)
	case !found.Mounted:
		return errors.New("not there")
	case found.Volume.ID == "" || found.Volume.ID != c.Volume.ID || found.Volume.Simulated != c.Volume.Simulated:
		return errChanged
	case found.Missing != 0 || found.WrongSize != 0 || found.Held != files:
		return fmt.Errorf("%d of %d files at their size; the first that is not: %q", found.Held, files, found.First)
	}
	return nil
}
