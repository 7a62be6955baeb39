package offload

import (
	"hash"
	"sync/atomic"

	"github.com/cespare/xxhash/v2"

	"twobin/guard"
	"twobin/guard/device"
	"twobin/guard/hashes"
)

// Limits of the way for small files: what is small, how many are in flight on the card and on each destination, and how
// much is flushed at once (copying measured: a flush a file takes 1.15 to 1.9 times as long).
const (
	smallSize  = 1 << 20
	smallLanes = 4
	groupFiles = 2000
	groupBytes = 256 << 20
)

// group is a set of small files that are flushed together.
type group struct {
	files []int32
	left  []atomic.Int32 // by destination: files not yet handled
}

// smallPiece is one small file on its way to one destination.
type smallPiece struct {
	group *group
	file  int32
	buf   *buffer // nil for an empty file
}

// smallJob is one small file to be read.
type smallJob struct {
	group *group
	file  int32
}

// copySmall copies the files with the given indices, which are sorted.
func (r *run) copySmall(files []int32) {
	var lanes, commits []*worker
	for _, t := range r.targets {
		t.commits = make(chan *group, len(files)+1)
		for range smallLanes {
			lanes = append(lanes, t.spawn(t.smallLane))
		}
		commits = append(commits, t.spawn(t.commitLane))
	}
	jobs := make(chan smallJob)
	var readers []*worker
	for range smallLanes {
		readers = append(readers, r.ward.spawn(r.job.patience(), func() { r.stuckCard("read") }, func(p *pulse) { r.smallReader(p, jobs) }))
	}
	r.feed(files, jobs)
	close(jobs)
	waitAll(readers)
	for _, t := range r.targets {
		if !r.cardStuck.Load() { // a stuck reader could still send: then the lanes end by their context
			close(t.small)
		}
	}
	waitAll(lanes)
	for _, t := range r.targets {
		if !t.stuck.Load() && !r.cardStuck.Load() {
			close(t.commits)
		}
	}
	waitAll(commits)
	for _, t := range r.targets {
		t.drain()
	}
}

func waitAll(ks []*worker) {
	for _, k := range ks {
		k.wait()
	}
}

// feed forms the groups and hands out their files.
func (r *run) feed(files []int32, jobs chan<- smallJob) {
	for len(files) > 0 {
		n, bytes := 0, int64(0)
		for n < len(files) && n < groupFiles && bytes < groupBytes {
			bytes += r.proof.Files[files[n]].Size
			n++
		}
		g := &group{files: files[:n], left: make([]atomic.Int32, len(r.targets))}
		for i := range g.left {
			g.left[i].Store(int32(n))
		}
		for _, i := range g.files {
			select {
			case jobs <- smallJob{g, i}:
			case <-r.ctx.Done():
				return
			}
			if !r.anyAlive() {
				r.cancel()
			}
		}
		files = files[n:]
	}
}

// smallReader reads files and passes them on.
func (r *run) smallReader(p *pulse, jobs <-chan smallJob) {
	extra := r.newHashes()
	for j := range jobs {
		buf, err := r.readSmall(p, int(j.file), extra)
		if r.ctx.Err() != nil {
			if buf != nil {
				buf.refs.Store(1)
				buf.release()
			}
			continue
		}
		if err != nil {
			r.cardFault(err)
		}
		for _, t := range r.targets {
			if err != nil {
				t.handled(j.group)
			} else {
				t.sendSmall(smallPiece{j.group, j.file, buf})
			}
		}
	}
}

// readSmall reads one file, compares it with the listing and notes its hashes.
func (r *run) readSmall(p *pulse, i int, extra []hash.Hash) (*buffer, *guard.Error) {
	e := &r.proof.Files[i]
	r.prog.current.Store(&e.Path)
	var buf *buffer
	var data []byte
	if e.Size > 0 {
		var err error
		if buf, err = r.pool.get(r.ctx, len(r.targets)); err != nil {
			return nil, fault("read", card, e.Path, guard.KindSourceRead, err)
		}
		data = buf.b[:e.Size]
	}
	drop := func(err *guard.Error) (*buffer, *guard.Error) {
		if buf != nil {
			buf.refs.Store(1)
			buf.release()
		}
		return nil, err
	}
	err := p.do(func() error {
		return r.withFile(i, func(file *device.Reader) error {
			_, err := file.ReadAt(data, 0)
			return err
		})
	})
	if err != nil {
		return drop(fault("read", card, e.Path, guard.KindSourceRead, err))
	}
	if buf != nil {
		clear(buf.b[e.Size:device.AlignUp(e.Size)])
	}
	if r.ctx.Err() != nil {
		return buf, nil
	}
	sums := make([]string, len(extra))
	for k, h := range extra {
		h.Reset()
		_, _ = h.Write(data)
		sums[k] = hashes.Text(r.formats[k], h.Sum(nil))
	}
	if err := r.note(i, xxhash.Sum64(data), sums); err != nil {
		return drop(err)
	}
	return buf, nil
}

// sendSmall hands a piece to the destination, or drops it when that is condemned.
func (t *target) sendSmall(c smallPiece) {
	select {
	case <-t.ctx.Done():
		c.buf.release()
	case t.small <- c:
		if t.ctx.Err() != nil {
			t.drain()
		}
	}
}

// smallLane writes small files until there are no more.
func (t *target) smallLane(p *pulse) {
	var scratch device.Scratch
	defer scratch.Free()
	for {
		select {
		case <-t.ctx.Done():
			return
		case c, more := <-t.small:
			if !more {
				return
			}
			err := p.do(func() error { return t.putSmall(p, c, &scratch) })
			c.buf.release()
			if err != nil {
				t.condemn(t.fault("copy", t.run.proof.Files[c.file].Path, guard.KindWrite, err))
				return
			}
			t.handled(c.group)
		}
	}
}

// handled counts one file of a group; the last one lets the group be flushed. The channel has room for all groups.
func (t *target) handled(g *group) {
	if g.left[t.index].Add(-1) == 0 {
		t.commits <- g
	}
}

// putSmall writes one file under its temporary name, or finds it in its place.
func (t *target) putSmall(p *pulse, c smallPiece, scratch *device.Scratch) error {
	e := &t.run.proof.Files[c.file]
	dir, _ := split(e.Path)
	return t.folders.with(dir, func(f *device.Folder) error {
		found, err := t.stands(p, f, int(c.file), scratch, func() (uint64, bool) { return e.Hash, true })
		if found || err != nil {
			return err
		}
		w, err := f.CreateSmall(device.TempName(e.Path), e.Size)
		if err != nil {
			return err
		}
		if c.buf != nil {
			err = w.Write(c.buf.b[:e.Size])
		}
		if err == nil {
			err = w.Finish(e.MTime)
		}
		if err == nil && !t.root.GroupFlush() {
			err = w.Flush()
		}
		if err != nil {
			_ = w.Abort() // the first error tells; a temporary file that stays is taken away by the next run
			return err
		}
		if err := w.Close(); err != nil {
			return err
		}
		t.state[c.file] = written
		t.shown.written.Add(e.Size)
		return nil
	})
}

// commitLane makes groups durable, one after the other, while the next is being written.
func (t *target) commitLane(p *pulse) {
	for {
		select {
		case <-t.ctx.Done():
			return
		case g, more := <-t.commits:
			if !more {
				return
			}
			if err := t.commit(p, g); err != nil {
				t.condemn(err)
				return
			}
		}
	}
}

// commit flushes a group's data, gives the files their names, and flushes the names. The root's handle was opened
// before the first write, so the flush reports every failed write since.
func (t *target) commit(p *pulse, g *group) *guard.Error {
	if t.root.GroupFlush() {
		if err := p.do(t.root.FlushAll); err != nil {
			return t.fault("flush", "", guard.KindWrite, err)
		}
	}
	for start := 0; start < len(g.files); {
		dir, _ := split(t.run.proof.Files[g.files[start]].Path)
		end := start + 1
		for end < len(g.files) {
			if d, _ := split(t.run.proof.Files[g.files[end]].Path); d != dir {
				break
			}
			end++
		}
		err := p.do(func() error {
			return t.folders.with(dir, func(f *device.Folder) error {
				for _, i := range g.files[start:end] {
					p.renew()
					if t.state[i] == written {
						if err := t.place(f, int(i)); err != nil {
							return err
						}
					}
				}
				return f.Flush()
			})
		})
		if err != nil {
			return t.fault("flush", dir, guard.KindWrite, err)
		}
		start = end
	}
	return nil
}
