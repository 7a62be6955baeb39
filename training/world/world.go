package world

import (
	"context"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"twobin/guard"
	"twobin/procedure"
	"twobin/training/drill"
)

// Desk is what a world needs of the runner.
type Desk interface {
	// Record journals an incident.
	Record(l procedure.Label, ev procedure.Event) error
	// Nudge shows that the world changed. View is what is shown.
	Nudge()
	View() procedure.View
}

// Options are what a world is built from.
type Options struct {
	Plan *drill.Plan
	Pace Pace
	// Dir is an existing sandbox to go on with; empty: a new one in the system's folder for temporary files.
	Dir string
	// Below is the folder in which a new sandbox is made; empty is that of the system.
	Below string
	// Size is what the plan was fitted to, see [drill.Plan.Fit]: kept in the sandbox for a later run.
	Size int64
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
	lock *os.File // the sandbox's marker, locked while this process uses it
	size int64
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
		plan: o.Plan, pace: o.Pace, dir: o.Dir, size: o.Size, shot: o.Shot, log: o.Log, scene: NewScene(o.Plan, o.Pace), in: none,
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

// Dir is the sandbox's folder.
func (w *World) Dir() string { return w.dir }

// Empty says whether there is no card in the reader.
func (w *World) Empty() bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.in == none
}

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
