package offload

import (
	"context"
	"errors"
	"io/fs"
	"sync"
	"sync/atomic"

	"twobin/guard"
	"twobin/guard/device"
)

// What a destination has of one file.
const (
	absent  uint8 = iota
	written       // complete under its temporary name
	placed        // under its name
	kept          // stood there before, and is equal
)

// target is one destination in work.
type target struct {
	Target
	run     *run
	index   int
	shown   *targetProgress
	ctx     context.Context // ends when the destination is condemned, or the run
	cancel  context.CancelFunc
	root    *device.Root
	roll    *device.Folder
	folders *folders
	fresh   bool // the roll's folder was made by this run: nothing can stand in the way
	state   []uint8
	small   chan smallPiece
	large   chan largePiece
	commits chan *group
	stuck   atomic.Bool

	mu     sync.Mutex
	reason *guard.Error
}

func newTarget(r *run, index int, t Target, shown *targetProgress) *target {
	d := &target{
		Target: t, run: r, index: index, shown: shown, state: make([]uint8, len(r.job.Listing.Files)),
		small: make(chan smallPiece, smallLanes), large: make(chan largePiece, ring),
	}
	d.ctx, d.cancel = context.WithCancel(r.ctx)
	return d
}

// spawn starts work on this destination. If it is stuck, the destination is condemned, and one block is made up for.
func (t *target) spawn(work func(p *pulse)) *worker {
	return t.run.ward.spawn(t.run.job.patience(), t.onStuck, work)
}

func (t *target) onStuck() {
	t.stuck.Store(true)
	t.condemn(fault("copy", t.Name, "", guard.KindStalled, errStalled))
	t.run.pool.grow()
}

// condemn gives the destination up; the first reason stays. The order matters: senders look at ctx after they have sent,
// so a piece that was sent too late is drained by them, one sent earlier here.
func (t *target) condemn(err *guard.Error) {
	if err.Kind == guard.KindStopped {
		t.cancel()
		return
	}
	t.mu.Lock()
	first := t.reason == nil
	if first {
		t.reason = err
	}
	t.mu.Unlock()
	t.shown.fault.Store(true)
	t.cancel()
	t.drain()
	if first {
		t.run.job.log().Error("destination condemned", "label", t.run.job.Label, "destination", t.Name, "err", err)
	}
}

// condemned is the reason, or nil.
func (t *target) condemned() *guard.Error {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.reason
}

// drain releases the blocks that wait for this destination.
func (t *target) drain() {
	small, large := t.small, t.large
	for {
		select {
		case c, more := <-small:
			if c.buf.release(); !more {
				small = nil
			}
		case c, more := <-large:
			if c.buf.release(); !more {
				large = nil
			}
		default:
			return
		}
	}
}

// fault makes an error of this destination. A drive that was pulled fails in many ways: the path tells.
func (t *target) fault(op, path string, kind guard.Kind, err error) *guard.Error {
	if err == nil {
		return nil
	}
	e := fault(op, t.Name, path, kind, err)
	switch e.Kind {
	case guard.KindWrite, guard.KindReadBack:
		if t.root != nil && !t.here() {
			e.Kind = guard.KindGone
		}
	default: // says enough
	}
	return e
}

// here says whether the path still leads to this volume; false also when the drive does not answer that.
func (t *target) here() bool {
	return nil == t.run.ward.aside(t.run.job.patience(), func() error {
		if !t.root.SameAs(t.Path) {
			return errGone
		}
		return nil
	})
}

// open opens the top, the roll's folder, and locks it.
func (t *target) open(p *pulse) *guard.Error {
	var root *device.Root
	if err := p.do(func() (err error) { root, err = device.OpenRoot(t.Path); return err }); err != nil {
		return &guard.Error{Op: "open", Item: t.Name, Kind: goneOr(err), Err: err}
	}
	if t.ctx.Err() != nil { // given up while it hung
		_ = root.Close()
		return nil
	}
	t.root = root
	err := p.do(func() (err error) {
		t.roll, err = root.Open(t.Folder)
		if errors.Is(err, fs.ErrNotExist) {
			t.fresh = true
			t.roll, err = root.Make(t.Folder)
		}
		return err
	})
	if err != nil {
		return t.fault("make folder", "", guard.KindWrite, err)
	}
	t.folders = newFolders(root, t.Folder)
	if err := p.do(t.roll.Lock); err != nil {
		return t.fault("lock folder", "", busyOr(guard.KindWrite, err), err)
	}
	return nil
}

// prepare makes the folders, takes away what an interrupted run left, and sets the sentry.
func (t *target) prepare(p *pulse) *guard.Error {
	sentry := t.spawn(func(p *pulse) {
		watchPath(t.ctx, p, t.root, t.Path, func() { t.condemn(fault("copy", t.Name, "", guard.KindGone, errGone)) })
	})
	t.run.mu.Lock()
	t.run.sentry = append(t.run.sentry, sentry)
	t.run.mu.Unlock()
	if err := t.namesFit(p); err != nil {
		return err
	}
	if err := t.clean(p, ""); err != nil {
		return err
	}
	for _, dir := range t.run.dirs {
		parent, name := split(dir)
		made := false
		err := p.do(func() error {
			return t.folders.with(parent, func(f *device.Folder) (err error) {
				if made, err = f.Make(name); made && err == nil && !t.root.GroupFlush() {
					err = f.Flush()
				}
				return err
			})
		})
		if err != nil {
			return t.fault("make folder", dir, guard.KindWrite, err)
		}
		if !made {
			if err := t.clean(p, dir); err != nil {
				return err
			}
		}
		if t.ctx.Err() != nil {
			return nil
		}
	}
	return nil
}

// clean removes the temporary files in one folder of the roll.
func (t *target) clean(p *pulse, dir string) *guard.Error {
	if t.fresh {
		return nil
	}
	err := p.do(func() error {
		return t.folders.with(dir, func(f *device.Folder) error {
			var old []string
			err := f.List(func(name string, st device.Stat) error {
				p.renew()
				if st.Type == device.File && device.IsTemp(name) {
					old = append(old, name)
				}
				return t.ctx.Err()
			})
			for _, name := range old {
				if err == nil {
					err = f.RemoveTemp(name)
				}
			}
			return err
		})
	})
	return t.fault("clean up", dir, guard.KindWrite, err)
}

// namesFit asks the volume itself, when names of the card differ only in case or in the form of their accents.
func (t *target) namesFit(p *pulse) *guard.Error {
	pairs := collisions(t.run.job.Listing)
	if len(pairs) == 0 {
		return nil
	}
	var found *guard.Error
	err := p.do(func() (err error) { found, err = tryNames(t.root, t.Name, nil, pairs); return err })
	if err != nil {
		return t.fault("try names", "", guard.KindWrite, err)
	}
	return found
}

// stands compares what stands under a file's name. found false: nothing does. Equal files are kept; anything else is an
// error. sum is asked for only when there is something to compare.
func (t *target) stands(p *pulse, f *device.Folder, i int, scratch *device.Scratch, sum func() (uint64, bool)) (found bool, err error) {
	if t.fresh {
		return false, nil
	}
	e := &t.run.proof.Files[i]
	_, name := split(e.Path)
	st, err := f.Stat(name)
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	different := &guard.Error{Op: "compare", Item: t.Name, Path: e.Path, Kind: guard.KindExists, Err: errDifferent}
	if st.Type != device.File || st.Size != e.Size {
		return true, different
	}
	read, err := f.ReadBack(t.ctx, name, device.ReadOptions{
		Simulated: t.Volume.Simulated, Scratch: scratch, Progress: func(int64) { p.renew() },
	})
	if err != nil {
		return true, err
	}
	want, ok := sum()
	if !ok {
		return true, nil
	}
	if read.Sum != want {
		return true, different
	}
	t.state[i] = kept
	t.shown.written.Add(e.Size)
	return true, nil
}

// errDifferent is the cause of KindExists.
var errDifferent = errors.New("a different file of that name stands there")

// place gives a file its name.
func (t *target) place(f *device.Folder, i int) error {
	path := t.run.proof.Files[i].Path
	_, name := split(path)
	err := f.Place(device.TempName(path), name)
	if errors.Is(err, fs.ErrExist) {
		return &guard.Error{Op: "place", Item: t.Name, Path: path, Kind: guard.KindExists, Err: errDifferent}
	}
	if err == nil {
		t.state[i] = placed
	}
	return err
}

// close lets the handles go, unless a stuck call may still use them.
func (t *target) close() {
	t.cancel()
	if t.stuck.Load() || t.root == nil {
		return
	}
	if t.folders != nil {
		t.folders.close()
	}
	if t.roll != nil {
		_ = t.roll.Close()
	}
	_ = t.root.Close()
}
