package offload

import (
	"errors"
	"sync/atomic"
	"time"

	"twobin/guard"
	"twobin/guard/device"
)

// stagePatience is how many times the patience of one call the recorder may take: a hash list of a million files is
// many calls that are not seen one by one.
const stagePatience = 20

// errCopyDiffers is the cause of KindMismatch on a destination.
var errCopyDiffers = errors.New("the bytes read back are not the card's")

// proven is what the read-back of one destination gave.
type proven struct {
	back      []guard.Back
	honesty   guard.Honesty
	lastWrite time.Time
	readFrom  time.Time
	staged    Staged
	complete  bool
}

// prove ends the writing and reads everything back. A second reading of the card, if asked for, runs beside.
func (r *run) prove() {
	results := make([]*proven, len(r.targets))
	var reread *worker
	if r.job.Reread {
		reread = r.ward.spawn(r.job.patience(), func() { r.stuckCard("read again") }, r.readAgain)
	}
	r.each(func(t *target, p *pulse) *guard.Error {
		res := &proven{}
		results[t.index] = res
		return t.prove(p, res)
	})
	if reread != nil {
		reread.wait()
	}
	for i, res := range results {
		t := r.targets[i]
		if res == nil || t.stuck.Load() {
			continue
		}
		if t.ctx.Err() == nil && r.cardGood() && res.complete {
			c := &r.proof.Copies[i]
			c.Back, c.Honesty, c.LastWrite, c.ReadFrom = res.back, res.honesty, res.lastWrite, res.readFrom
			t.publish(res.staged)
		} else if res.staged != nil {
			t.discard(res.staged)
		}
	}
}

// cardGood says that nothing was found wrong with the card.
func (r *run) cardGood() bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	return len(r.errs) == 0
}

// publish gives the recorder's files their names.
func (t *target) publish(s Staged) {
	if s == nil {
		return
	}
	if err := t.run.ward.aside(stagePatience*t.run.job.patience(), s.Publish); err != nil {
		t.stuck.Store(t.stuck.Load() || errors.Is(err, errStalled))
		t.condemn(t.fault("record", "", guard.KindRecord, err))
	}
}

// discard takes them away. The error is logged only: the copy is condemned already, or the run stopped.
func (t *target) discard(s Staged) {
	if err := t.run.ward.aside(stagePatience*t.run.job.patience(), s.Discard); err != nil {
		t.stuck.Store(t.stuck.Load() || errors.Is(err, errStalled))
		t.run.job.log().Warn("hash lists left under temporary names", "destination", t.Name, "err", err)
	}
}

// prove sets the folders' times, stages the hash lists, flushes everything, and only then reads back.
func (t *target) prove(p *pulse, res *proven) *guard.Error {
	if err := t.lastWrites(p, res); err != nil {
		return err
	}
	if !t.here() {
		return fault("flush", t.Name, "", guard.KindGone, errGone)
	}
	res.lastWrite = t.run.job.now()
	t.run.prog.phase.Store(int32(Proving))
	res.readFrom = t.run.job.now()
	t.run.prog.proving.CompareAndSwap(0, res.readFrom.UnixNano())
	if err := t.readBack(res); err != nil {
		return err
	}
	if t.ctx.Err() != nil {
		return nil
	}
	if !t.here() {
		return fault("read back", t.Name, "", guard.KindGone, errGone)
	}
	res.complete = true
	return nil
}

// lastWrites does everything that still writes to the destination.
func (t *target) lastWrites(p *pulse, res *proven) *guard.Error {
	for i := len(t.run.dirs) - 1; i >= 0; i-- {
		parent, name := split(t.run.dirs[i])
		err := p.do(func() error {
			return t.folders.with(parent, func(f *device.Folder) error { return f.SetTime(name, t.run.times[i]) })
		})
		if err != nil {
			return t.fault("set time", t.run.dirs[i], guard.KindWrite, err)
		}
	}
	if rec := t.run.job.Recorder; rec != nil {
		err := t.run.ward.aside(stagePatience*t.run.job.patience(), func() (err error) {
			res.staged, err = rec.Stage(t.ctx, t.root.OS(), t.Folder, &t.run.proof, t.index)
			return err
		})
		if errors.Is(err, errStalled) {
			t.stuck.Store(true)
		}
		if err != nil {
			return t.fault("record", "", guard.KindRecord, err)
		}
	}
	if err := p.do(t.root.FlushAll); err != nil {
		return t.fault("flush", "", guard.KindWrite, err)
	}
	if t.root.GroupFlush() {
		return nil
	}
	for _, dir := range t.run.dirs {
		if err := p.do(func() error { return t.folders.with(dir, (*device.Folder).Flush) }); err != nil {
			return t.fault("flush", dir, guard.KindWrite, err)
		}
	}
	return t.fault("flush", "", guard.KindWrite, p.do(t.roll.Flush))
}

// readBack reads all files: small ones several at a time (four took four fifths of the time of two), large ones one after
// the other.
func (t *target) readBack(res *proven) *guard.Error {
	small, large := t.run.bySize()
	back := make([]guard.Back, len(t.run.proof.Files))
	var weak atomic.Bool
	var next atomic.Int64
	read := func(files []int32) func(p *pulse) {
		return func(p *pulse) {
			var scratch device.Scratch
			defer scratch.Free()
			for t.ctx.Err() == nil {
				n := next.Add(1) - 1
				if n >= int64(len(files)) {
					return
				}
				honesty, err := t.readBackOne(p, int(files[n]), &scratch, back)
				if err != nil {
					t.condemn(err)
					return
				}
				if honesty == guard.NotPastCache {
					weak.Store(true)
				}
			}
		}
	}
	var readers []*worker
	for range smallLanes {
		readers = append(readers, t.spawn(read(small)))
	}
	allRead := true
	for _, k := range readers {
		allRead = k.wait() && allRead
	}
	next.Store(0)
	if allRead && t.ctx.Err() == nil {
		t.spawn(read(large)).wait()
	}
	if t.ctx.Err() != nil {
		return nil
	}
	res.back, res.honesty = back, guard.FromDevice
	switch {
	case t.Volume.Simulated:
		res.honesty = guard.FromSimulated
	case weak.Load(), !t.root.Local():
		res.honesty = guard.NotPastCache
	}
	return nil
}

// readBackOne reads one file back and compares.
func (t *target) readBackOne(p *pulse, i int, scratch *device.Scratch, back []guard.Back) (guard.Honesty, *guard.Error) {
	f := &t.run.proof.Files[i]
	dir, name := split(f.Path)
	var read device.Read
	err := p.do(func() error {
		return t.folders.with(dir, func(folder *device.Folder) (err error) {
			read, err = folder.ReadBack(t.ctx, name, device.ReadOptions{
				Simulated: t.Volume.Simulated, Flushed: true, Scratch: scratch,
				Progress: func(n int64) { p.renew(); t.shown.back.Add(n) },
			})
			return err
		})
	})
	if err != nil {
		return 0, t.fault("read back", f.Path, guard.KindReadBack, err)
	}
	if read.Sum != f.Hash || read.Stat.Size != f.Size {
		return 0, &guard.Error{Op: "compare", Item: t.Name, Path: f.Path, Kind: guard.KindMismatch, Err: errCopyDiffers}
	}
	back[i] = guard.Back{Hash: read.Sum, OK: true}
	return read.Honesty, nil
}

// readAgain reads the card a second time: a reader or cable that gives wrong bytes without an error shows only so.
func (r *run) readAgain(p *pulse) {
	var scratch device.Scratch
	defer scratch.Free()
	for i := range r.proof.Files {
		if r.ctx.Err() != nil {
			return
		}
		f := &r.proof.Files[i]
		var sum uint64
		err := r.withSeenFile(p, i, func(file *device.Reader) (err error) {
			sum, err = file.Sum(r.ctx, device.ReadOptions{Scratch: &scratch, Progress: func(int64) { p.renew() }})
			return err
		})
		switch {
		case r.ctx.Err() != nil:
			return
		case err != nil:
			r.cardFault(fault("read again", card, f.Path, guard.KindSourceRead, err))
		case sum != f.Hash:
			r.cardFault(&guard.Error{Op: "read again", Item: card, Path: f.Path, Kind: guard.KindReread, Err: errors.New("the second reading gave other bytes")})
		}
	}
}
