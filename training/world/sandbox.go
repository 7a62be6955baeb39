package world

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"twobin/training/dummy"
)

// Folders of a sandbox.
const (
	cardsDir  = "cards"
	readerDir = "reader"
	drivesDir = "drives"
	lostDir   = "lost"
	cardName  = "CARD" // the card's folder below the reader's
)

// make builds a new sandbox: marker first, so that whatever is left behind can be told.
func (w *World) make(ctx context.Context, below string) (err error) {
	dir, err := os.MkdirTemp(below, sandboxPrefix)
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, w.letGo(), os.RemoveAll(dir))
		}
	}()
	if dir, err = filepath.EvalSymlinks(dir); err != nil {
		return err
	}
	if w.dir, err = filepath.Abs(dir); err != nil {
		return err
	}
	if w.root, err = os.OpenRoot(w.dir); err != nil {
		return err
	}
	if err := w.mark(); err != nil {
		return err
	}
	for _, d := range []string{cardsDir, readerDir, drivesDir, lostDir} {
		if err := w.root.Mkdir(d, 0o755); err != nil {
			return err
		}
	}
	for name := range w.drives {
		if err := w.root.Mkdir(filepath.Join(drivesDir, name), 0o755); err != nil {
			return err
		}
	}
	return w.shoot(ctx)
}

// shoot fills every card with its first roll, and the decoy with a roll of nobody.
func (w *World) shoot(ctx context.Context) error {
	done := map[int]bool{}
	for i, r := range w.plan.Rolls {
		if done[r.Card] {
			continue
		}
		done[r.Card] = true
		at := w.shot.Add(-time.Duration(len(w.plan.Rolls)-i) * 20 * time.Minute)
		if err := w.fill(ctx, r.Card, dummy.Roll{Label: string(r.Label), Shape: r.Shape, Size: r.Size, Seed: uint64(w.plan.Seed), Shot: at}); err != nil {
			return err
		}
	}
	stranger := dummy.Roll{Label: "Z040", Shape: dummy.Clips, Size: w.plan.Stranger, Seed: uint64(w.plan.Seed), Shot: w.shot.Add(-48 * time.Hour)}
	return w.fill(ctx, w.scene.decoy(), stranger)
}

func (w *World) fill(ctx context.Context, card int, r dummy.Roll) error {
	if err := w.root.Mkdir(cardPath(card), 0o755); err != nil {
		return err
	}
	_, err := dummy.Fill(ctx, filepath.Join(w.dir, cardPath(card)), r)
	return err
}

func cardPath(card int) string { return filepath.Join(cardsDir, fmt.Sprintf("card-%03d", card)) }

// resume takes up a sandbox after the program ended: the card in the reader is taken out.
func (w *World) resume() error {
	root, err := os.OpenRoot(w.dir)
	if err != nil {
		return err
	}
	w.root = root
	if err := w.takeUp(); err != nil {
		return errors.Join(err, w.letGo())
	}
	cards := []int{w.scene.decoy()}
	for _, r := range w.plan.Rolls { // not every number has a card: a roll may come on the card of an earlier one
		cards = append(cards, r.Card)
	}
	for _, n := range cards {
		if _, err := root.Lstat(cardPath(n)); errors.Is(err, fs.ErrNotExist) {
			return root.Rename(filepath.Join(readerDir, cardName), cardPath(n))
		}
	}
	return nil
}

// Remove removes the sandbox and closes its handles. Only a folder with the marker is removed.
func (w *World) Remove() error {
	_, err := w.root.Lstat(SandboxName)
	if err = errors.Join(err, w.root.Close()); err != nil {
		return fmt.Errorf("remove drill sandbox: %w", errors.Join(err, free(w.lock)))
	}
	if err := errors.Join(free(w.lock), os.RemoveAll(w.dir)); err != nil {
		return fmt.Errorf("remove drill sandbox: %w", err)
	}
	return nil
}

// Close leaves the sandbox as it is, for a later run.
func (w *World) Close() error { return w.letGo() }

// letGo closes the handles, as far as they are open, and gives the sandbox free.
func (w *World) letGo() error {
	var err error
	if w.root != nil {
		err = w.root.Close()
	}
	return errors.Join(err, free(w.lock))
}
