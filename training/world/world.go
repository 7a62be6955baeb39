package world

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"twobin/guard"
	"twobin/procedure"
	"twobin/training/drill"
	"twobin/training/dummy"
)

// SandboxName is the marker of a sandbox: a file in its top folder.
const SandboxName = "twobin-drill-sandbox"

// Folders of a sandbox.
const (
	cardsDir  = "cards"
	readerDir = "reader"
	drivesDir = "drives"
	lostDir   = "lost"
	cardName  = "CARD" // the card's folder below the reader's
)

// Desk is what a world needs of the runner.
type Desk interface {
	// Record journals an incident.
	Record(l procedure.Label, ev procedure.Event) error
	// Nudge shows that the world changed.
	Nudge()
}

// Options are what a world is built from.
type Options struct {
	Plan *drill.Plan
	Pace Pace
	// Dir is an existing sandbox to go on with; empty: a new one in the system's folder for temporary files.
	Dir string
	// Below is the folder in which a new sandbox is made; empty is that of the system.
	Below string
	// Shot is when the last roll was shot.
	Shot time.Time
	// Card is where a real practice card is mounted that plays the drill's cards; empty: they are simulated. Ident says
	// which volume is there.
	Card  string
	Ident guard.Identifier
	Log   *slog.Logger
}

// World is the outside of one drill. Make one with [Open], join it to a runner with [World.Begin].
type World struct {
	plan *drill.Plan
	pace Pace
	dir  string
	root *os.Root
	shot time.Time
	log  *slog.Logger

	changes chan procedure.VolumeChange
	wake    chan struct{}
	cut     chan struct{}
	cutOnce sync.Once
	wg      sync.WaitGroup

	mu     sync.Mutex
	ctx    context.Context // from Begin on; nil before
	desk   Desk
	scene  *Scene
	queue  []Deed
	in     int   // card in the reader, none for none
	slot   *slot // the real reader; nil: simulated
	drives map[string]*drive
	shown  []string // listing asked for
	sizes  map[string]measured
}

// drive is a simulated drive as it is now.
type drive struct {
	drill.Drive
	gone     bool
	readOnly bool
}

// Open makes the sandbox, or takes up one that is there: its marker must be.
func Open(ctx context.Context, o Options) (*World, error) {
	w := &World{
		plan: o.Plan, pace: o.Pace, dir: o.Dir, shot: o.Shot, log: o.Log, scene: NewScene(o.Plan, o.Pace), in: none,
		changes: make(chan procedure.VolumeChange), wake: make(chan struct{}, 1), cut: make(chan struct{}), drives: map[string]*drive{}, sizes: map[string]measured{},
	}
	if w.log == nil {
		w.log = slog.New(slog.DiscardHandler)
	}
	for _, d := range o.Plan.Drives {
		w.drives[d.Name] = &drive{Drive: d}
	}
	var err error
	if o.Card != "" {
		if w.slot, err = newSlot(o.Card, o.Ident); err != nil {
			return nil, fmt.Errorf("practice card: %w", err)
		}
	}
	if o.Dir == "" {
		err = w.make(ctx, o.Below)
	} else {
		err = w.resume()
	}
	if err != nil {
		return nil, fmt.Errorf("drill sandbox: %w", err)
	}
	return w, nil
}

// make builds a new sandbox: marker first, so that whatever is left behind can be told.
func (w *World) make(ctx context.Context, below string) (err error) {
	dir, err := os.MkdirTemp(below, "twobin_drill_") // no hyphen: a window breaks lines there
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.RemoveAll(dir))
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
	if err := w.root.WriteFile(SandboxName, []byte("everything in this folder belongs to a twobin drill and may be removed\n"), 0o644); err != nil {
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
	stranger := dummy.Roll{Label: "Z040", Shape: dummy.Clips, Seed: uint64(w.plan.Seed), Shot: w.shot.Add(-48 * time.Hour)}
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
	if st, err := root.Lstat(SandboxName); err != nil || !st.Mode().IsRegular() {
		return errors.Join(fmt.Errorf("%s is no sandbox of a drill", w.dir), err, root.Close())
	}
	w.root = root
	for n := range w.plan.Cards + 1 {
		if _, err := root.Lstat(cardPath(n)); errors.Is(err, fs.ErrNotExist) {
			return root.Rename(filepath.Join(readerDir, cardName), cardPath(n))
		}
	}
	return nil
}

// Dir is the sandbox's folder.
func (w *World) Dir() string { return w.dir }

// Reader is the reader's folder, or where the real card is mounted: [procedure.Config.Reader].
func (w *World) Reader() string {
	if w.slot != nil {
		return w.slot.path
	}
	return filepath.Join(w.dir, readerDir)
}

// Drive is the folder of a simulated drive; of all drives for the empty name.
func (w *World) Drive(name string) string { return filepath.Join(w.dir, drivesDir, name) }

// Destinations are the folders with which a shift of this drill begins.
func (w *World) Destinations() []string {
	var out []string
	for _, d := range w.plan.Drives {
		if !d.Spare {
			out = append(out, w.Drive(d.Name))
		}
	}
	return out
}

// Changes implements [procedure.Volumes].
func (w *World) Changes() <-chan procedure.VolumeChange { return w.changes }

// Cut is closed when the power goes: the program has to end at once.
func (w *World) Cut() <-chan struct{} { return w.cut }

// Lines is what the trainee sees and hears: [procedure.Config.World].
func (w *World) Lines() []string {
	w.mu.Lock()
	defer w.mu.Unlock()
	out := append(slices.Clone(w.shown), w.scene.Lines(w.Drive)...) // what was asked for stands first: a window may be small
	if w.slot != nil {
		out = append(out, w.slotLines()...)
	}
	return out
}

// Heard takes an entry right after it was journaled: [procedure.Config.Heard]. Deeds wait for Begin.
func (w *World) Heard(e procedure.Entry) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if _, ok := e.Event.(procedure.Incident); !ok {
		w.shown = nil
	}
	w.plans(w.scene.Hear(e))
}

// Replay takes the entries of an earlier run of the program. What they set off is over; only the reader is put right.
func (w *World) Replay(es []procedure.Entry) {
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, e := range es {
		w.scene.Hear(e)
	}
}

// plans queues deeds. The state is locked.
func (w *World) plans(ds []Deed) {
	for _, d := range ds {
		if d.After <= 0 || w.ctx == nil {
			w.queue = append(w.queue, d)
			continue
		}
		time.AfterFunc(d.After, func() {
			w.mu.Lock()
			d.After = 0
			w.queue = append(w.queue, d)
			w.mu.Unlock()
			w.call()
		})
	}
	w.call()
}

func (w *World) call() {
	select {
	case w.wake <- struct{}{}:
	default:
	}
}

// Begin joins the runner and starts doing deeds. They end with ctx; Wait waits for that.
func (w *World) Begin(ctx context.Context, d Desk) {
	w.mu.Lock()
	w.ctx, w.desk = ctx, d
	w.mu.Unlock()
	w.wg.Add(1)
	go func() {
		defer w.wg.Done()
		var look <-chan time.Time // never without a real reader
		if w.slot != nil {
			t := time.NewTicker(everySlot)
			defer t.Stop()
			look = t.C
		}
		for {
			w.deeds(ctx)
			select {
			case <-ctx.Done():
				return
			case <-look:
				w.plansReader()
			case <-w.wake:
			}
		}
	}()
}

// plansReader queues a look at the real reader.
func (w *World) plansReader() {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.queue = append(w.queue, Deed{Do: DeedReader})
}

// Wait returns when all that Begin started has ended.
func (w *World) Wait() { w.wg.Wait() }

// Remove removes the sandbox and closes its handle. Only a folder with the marker is removed.
func (w *World) Remove() error {
	_, err := w.root.Lstat(SandboxName)
	if err = errors.Join(err, w.root.Close()); err != nil {
		return fmt.Errorf("remove drill sandbox: %w", err)
	}
	if err := os.RemoveAll(w.dir); err != nil {
		return fmt.Errorf("remove drill sandbox: %w", err)
	}
	return nil
}

// Close leaves the sandbox as it is, for a later run.
func (w *World) Close() error { return w.root.Close() }
