package watch

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"path/filepath"
	"sync"
	"time"

	"twobin/guard"
)

// Change is one difference between what was mounted and what is. A volume that was replaced by another one at the same
// place is in Gone and in Arrived.
type Change struct {
	Arrived, Gone []guard.Volume
	// Changed has the new state of volumes that stayed, but turned read-only or writable.
	Changed []guard.Volume
	// Answered has volumes that were reported without identity and sizes, because their drive did not answer in time,
	// and are whole now.
	Answered []guard.Volume
	// At is when the difference was seen (wall and monotonic clock).
	At time.Time
}

// Tables is what a machine can be asked about its volumes. The answers are about the moment of the call.
type Tables interface {
	// Mounts is the mount table: every mount that is visible, also those that are no volumes.
	Mounts() ([]Mount, error)
	// Folder is what a reader folder's path leads to now. It may block on a dying drive.
	Folder(path string) (Folder, error)
	// Describe asks the volume mounted at m for name, identity, device and sizes. It may block on a dying drive. It
	// fails if another volume has taken m's place.
	Describe(m Mount) (guard.Volume, error)
	// Carrier describes the volume that carries a path. It may block on a dying drive.
	Carrier(path string) (guard.Volume, error)
	// Disk names the physical device of m, without asking the drive. Empty: unknown.
	Disk(m Mount) string
}

// System is what a Watcher asks of the machine. [NewSystem] gives the real one; tests have their own.
type System interface {
	Tables
	// Wait returns when mounts or reader folders may have changed, after d at the latest, or at once after Wake.
	// Changes between two calls make the later one return at once, where the system can tell.
	Wait(d time.Duration) error
	// Wake ends a Wait that is under way, or the next one.
	Wake()
	// Woken says whether the kernel ends Wait (true) or only time does (false).
	Woken() bool
	// Close gives back what the system holds. Wait must have returned.
	Close() error
}

// Options are the settings of a Watcher. The zero value watches the real system without reader folders.
type Options struct {
	// Readers are the reader folders, see the package comment. They need not exist.
	Readers []string
	// Log takes what is worked around; nil for none.
	Log *slog.Logger
	// Now stamps changes; nil for time.Now.
	Now func() time.Time
	// Answer is how long a drive may take to answer before its volume is reported without it; 0 for 150 ms
	// where the kernel wakes us and 500 ms elsewhere.
	Answer time.Duration
	// Patience is how long Identify waits for a drive; 0 for 3 s.
	Patience time.Duration
	// Every is the longest time between two looks; 0 for 1 s where the kernel wakes us and 500 ms elsewhere.
	Every time.Duration
	// System replaces the real machine; the Watcher closes it.
	System System
}

// Watcher reports which volumes come and go. Make one with [New] and end it with [Watcher.Close].
type Watcher struct {
	opt     Options
	sys     System
	readers []string
	ident   *Identifier
	folders map[string]*single[Folder]
	last    map[string]Folder // by reader, what it was when it last answered; owned by the looking goroutine

	out  chan Change
	done chan struct{}
	end  sync.Once
	wg   sync.WaitGroup
	err  error
}

// New starts watching. What is mounted now is not reported as arrived; [Watcher.Snapshot] has it. It fails if the
// mount table cannot be read, and takes no longer than the Answer limit if a drive does not answer.
func New(opt Options) (*Watcher, error) {
	opt, err := opt.filled()
	if err != nil {
		return nil, fmt.Errorf("watch volumes: %w", err)
	}
	w := &Watcher{
		opt: opt, sys: opt.System, readers: opt.Readers, folders: make(map[string]*single[Folder]),
		last: make(map[string]Folder), out: make(chan Change), done: make(chan struct{}),
	}
	w.ident = &Identifier{Readers: w.readers, Patience: opt.Patience, tables: w.sys}
	for _, r := range w.readers {
		w.folders[r] = &single[Folder]{}
	}
	first, err := w.look(nil)
	if err != nil {
		return nil, errors.Join(fmt.Errorf("watch volumes: %w", err), w.sys.Close())
	}
	jobs := make(chan job, 256)
	t := &teller{w: w, known: make(map[string]guard.Volume), late: make(chan told)}
	t.describe(first)
	w.wg.Add(2)
	go func() { defer w.wg.Done(); w.watch(first, jobs) }()
	go func() { defer w.wg.Done(); t.run(jobs) }()
	return w, nil
}

// filled sets defaults and makes reader paths absolute.
func (o Options) filled() (Options, error) {
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	readers := make([]string, len(o.Readers))
	for i, r := range o.Readers {
		abs, err := filepath.Abs(r)
		if err != nil {
			return o, fmt.Errorf("reader folder %q: %w", r, err)
		}
		readers[i] = abs
	}
	o.Readers = readers
	if o.System == nil {
		s, err := NewSystem(o.Log, readers...)
		if err != nil {
			return o, err
		}
		o.System = s
	}
	if o.Answer <= 0 {
		o.Answer = 500 * time.Millisecond
		if o.System.Woken() {
			o.Answer = 150 * time.Millisecond
		}
	}
	if o.Every <= 0 {
		o.Every = 500 * time.Millisecond
		if o.System.Woken() {
			o.Every = time.Second
		}
	}
	return o, nil
}

// Changes is where changes are reported, in the order in which they happened. It is closed by Close. The watcher goes
// on looking while nobody receives, and loses nothing.
func (w *Watcher) Changes() <-chan Change { return w.out }

// Woken says whether the kernel reports mounts (true) or the watcher looks every now and then (false).
func (w *Watcher) Woken() bool { return w.sys.Woken() }

// Close ends the watching and closes the channel of changes. It may be called more than once. It does not wait for
// questions to a drive that does not answer.
func (w *Watcher) Close() error {
	w.end.Do(func() {
		close(w.done)
		w.sys.Wake()
		w.wg.Wait()
		close(w.out)
		w.err = w.sys.Close()
	})
	return w.err
}

// Snapshot is what is mounted at this moment, described. A volume in it may also be reported as arrived a moment
// later: take Mount and ID as its name and the second report changes nothing. Volumes that do not answer within the
// Answer limit are there with what the mount table tells.
func (w *Watcher) Snapshot(ctx context.Context) ([]guard.Volume, error) {
	c := aside(w.snapshot)
	select {
	case a := <-c:
		return a.val, a.err
	case <-ctx.Done():
		return nil, fmt.Errorf("list volumes: %w", ctx.Err())
	}
}

func (w *Watcher) snapshot() ([]guard.Volume, error) {
	ms, err := w.sys.Mounts()
	if err != nil && len(ms) == 0 {
		return nil, fmt.Errorf("list volumes: %w", err)
	}
	var looks []look
	for _, r := range w.readers {
		a, ok := w.folders[r].ask(w.opt.Answer, func() (Folder, error) { return w.sys.Folder(r) })
		if ok && a.err == nil {
			looks = append(looks, look{r, a.val})
		}
	}
	vs, _ := w.describe(gather(ms, looks, nil))
	return vs, nil
}

// watch looks whenever something may have changed and hands each difference on.
func (w *Watcher) watch(was []seen, jobs chan<- job) {
	defer close(jobs)
	for {
		if err := w.sys.Wait(w.opt.Every); err != nil {
			w.opt.Log.Warn("waiting for mounts failed, looking by time", "err", err)
			select {
			case <-w.done:
			case <-time.After(w.opt.Every):
			}
		}
		select {
		case <-w.done:
			return
		default:
		}
		is, err := w.look(was)
		if err != nil {
			w.opt.Log.Warn("reading the mount table failed", "err", err)
			continue
		}
		j := job{at: w.opt.Now()}
		j.arrived, j.gone, j.changed = difference(was, is)
		was = is
		if len(j.arrived)+len(j.gone)+len(j.changed) == 0 {
			continue
		}
		select {
		case jobs <- j:
		case <-w.done:
			return
		}
	}
}

// look reads the mount table and the reader folders once. A reader folder that does not answer counts as unchanged.
func (w *Watcher) look(was []seen) ([]seen, error) {
	looks := make([]look, 0, len(w.readers))
	for _, r := range w.readers {
		a, ok := w.folders[r].ask(w.opt.Answer/2, func() (Folder, error) { return w.sys.Folder(r) })
		switch {
		case !ok:
			w.opt.Log.Warn("reader folder does not answer", "path", r)
		case a.err != nil:
			w.opt.Log.Warn("reader folder cannot be looked at", "path", r, "err", a.err)
		default:
			w.last[r] = a.val
		}
		looks = append(looks, look{r, w.last[r]})
	}
	ms, err := w.sys.Mounts()
	if err != nil && len(ms) == 0 {
		return nil, err
	}
	if err != nil {
		w.opt.Log.Warn("mount table", "err", err)
	}
	return gather(ms, looks, was), nil
}
