package offload

import (
	"hash"

	"github.com/cespare/xxhash/v2"

	"twobin/guard"
	"twobin/guard/device"
	"twobin/guard/hashes"
)

// step is what a largePiece asks for.
type step int

const (
	stepInvalid step = iota
	stepBegin        // a file begins
	stepBlock        // n bytes, in buf; without buf they are a hole
	stepEnd          // the file has been read
)

// largePiece is a piece of a large file on its way to one destination or hash.
type largePiece struct {
	step    step
	file    int32
	buf     *buffer
	n       int64
	sparse  bool
	outcome *outcome
}

// outcome is what the reading of one file has come to. It is settled when done is closed.
type outcome struct {
	done chan struct{}
	good bool // the file is as listed and as expected: it may get its name
	read bool // set by the reader before the end piece is sent
	sum  uint64
	text []chan string // by extra format
}

// copyLarge copies the files with the given indices, one after the other, in blocks.
func (r *run) copyLarge(files []int32) {
	var lanes []*worker
	for _, t := range r.targets {
		lanes = append(lanes, t.spawn(t.largeLane))
	}
	hashing := make([]chan largePiece, 1+len(r.formats))
	hashed := make(chan struct{}, len(hashing))
	for k := range hashing {
		hashing[k] = make(chan largePiece, ring)
		go func() {
			r.hashLane(k, hashing[k])
			hashed <- struct{}{}
		}()
	}
	reader := r.ward.spawn(r.job.patience(), func() { r.stuckCard("read") }, func(p *pulse) {
		for _, i := range files {
			if !r.anyAlive() {
				r.cancel()
			}
			if r.ctx.Err() != nil {
				break
			}
			r.readLarge(p, int(i), hashing)
		}
		for _, t := range r.targets {
			close(t.large)
		}
		for _, h := range hashing {
			close(h)
		}
	})
	reader.wait()
	waitAll(lanes)
	for range hashing {
		<-hashed
	}
	for _, t := range r.targets {
		t.drain()
	}
	for _, h := range hashing {
		for len(h) > 0 {
			(<-h).buf.release()
		}
	}
}

// readLarge reads one file and sends it on. Whatever happens, a begun file is ended.
func (r *run) readLarge(p *pulse, i int, hashing []chan largePiece) {
	e := &r.proof.Files[i]
	r.prog.current.Store(&e.Path)
	out := &outcome{done: make(chan struct{}), text: make([]chan string, len(r.formats))}
	for k := range out.text {
		out.text[k] = make(chan string, 1)
	}
	begun := false
	err := r.withSeenFile(p, i, func(file *device.Reader) error {
		begun = true
		r.send(hashing, largePiece{step: stepBegin, file: int32(i), sparse: file.Sparse(), outcome: out})
		return r.readBlocks(p, i, file, hashing)
	})
	if err != nil && r.ctx.Err() == nil {
		r.cardFault(fault("read", card, e.Path, guard.KindSourceRead, err))
	}
	if begun {
		out.read = err == nil
		r.send(hashing, largePiece{step: stepEnd, file: int32(i), outcome: out})
	}
}

// withSeenFile is withFile for work that makes many calls, each seen by p.
func (r *run) withSeenFile(p *pulse, i int, read func(*device.Reader) error) error {
	return p.do(func() error { return r.withFile(i, read) })
}

// readBlocks sends data in blocks and holes as holes.
func (r *run) readBlocks(p *pulse, i int, file *device.Reader, hashing []chan largePiece) error {
	size := r.proof.Files[i].Size
	dataFrom, dataTo := int64(0), size
	if file.Sparse() {
		dataFrom, dataTo = file.NextData(0)
	}
	for off := int64(0); off < size; {
		n := min(device.BlockSize, size-off)
		if off >= dataTo {
			dataFrom, dataTo = file.NextData(off)
		}
		piece := largePiece{step: stepBlock, file: int32(i), n: n}
		if off+n > dataFrom { // not wholly in a hole
			p.since.Store(0) // waiting for a block is waiting for the destinations
			buf, err := r.pool.get(r.ctx, len(r.targets)+len(hashing))
			p.renew()
			if err != nil {
				return err
			}
			if _, err := file.ReadAt(buf.b[:n], off); err != nil {
				buf.refs.Store(1)
				buf.release()
				return err
			}
			clear(buf.b[n:device.AlignUp(n)])
			piece.buf = buf
		}
		p.since.Store(0)
		r.send(hashing, piece)
		p.renew()
		if err := r.ctx.Err(); err != nil {
			return err
		}
		off += n
		r.prog.bytes.Add(n)
	}
	return nil
}

// send gives a piece to every hash and every destination.
func (r *run) send(hashing []chan largePiece, c largePiece) {
	for _, h := range hashing {
		select {
		case h <- c:
		case <-r.ctx.Done():
			c.buf.release()
		}
	}
	for _, t := range r.targets {
		select {
		case <-t.ctx.Done():
			c.buf.release()
		case t.large <- c:
			if t.ctx.Err() != nil {
				t.drain()
			}
		}
	}
}

// zeros is what a hole reads as.
var zeros [64 << 10]byte

// hashLane computes one hash of every file: lane 0 XXH64, the others the extra formats. Lane 0 settles the outcome.
func (r *run) hashLane(k int, pieces <-chan largePiece) {
	var h hash.Hash = xxhash.New()
	if k > 0 {
		h = r.newHashes()[k-1]
	}
	for {
		var c largePiece
		var more bool
		select {
		case c, more = <-pieces:
		case <-r.ctx.Done():
		}
		if !more {
			return
		}
		switch c.step {
		case stepBegin:
			h.Reset()
		case stepBlock:
			if c.buf != nil {
				_, _ = h.Write(c.buf.b[:c.n])
			}
			for left := c.n; c.buf == nil && left > 0; left -= int64(len(zeros)) {
				_, _ = h.Write(zeros[:min(left, int64(len(zeros)))])
			}
			c.buf.release()
		case stepEnd:
			if k > 0 {
				c.outcome.text[k-1] <- hashes.Text(r.formats[k-1], h.Sum(nil))
			} else if !r.settle(int(c.file), c.outcome, h.Sum(nil)) {
				return
			}
		case stepInvalid:
		}
	}
}

// settle notes a file's hashes and says whether it may be placed. False: the run has ended.
func (r *run) settle(i int, out *outcome, sum []byte) bool {
	texts := make([]string, len(out.text))
	for k, text := range out.text {
		select {
		case texts[k] = <-text:
		case <-r.ctx.Done():
			return false
		}
	}
	if out.read {
		out.sum = uint64FromSum(sum)
		if err := r.note(i, out.sum, texts); err != nil {
			r.cardFault(err)
		} else {
			out.good = true
		}
	}
	close(out.done)
	return true
}

// largeLane writes large files, one at a time.
func (t *target) largeLane(p *pulse) {
	l := largeFile{target: t, pulse: p}
	defer l.end()
	for {
		select {
		case <-t.ctx.Done():
			return
		case c, more := <-t.large:
			if !more {
				return
			}
			err := l.take(c)
			c.buf.release()
			if err != nil {
				t.condemn(t.fault("copy", t.run.proof.Files[c.file].Path, guard.KindWrite, err))
				return
			}
		}
	}
}

// largeFile is the file that a lane is at.
type largeFile struct {
	*target
	pulse   *pulse
	folder  *held
	w       *device.Writer
	compare *worker // reads the file that stands in its place, if one does
	result  error
	scratch device.Scratch
}

// take does what one piece asks for.
func (l *largeFile) take(c largePiece) error {
	switch c.step {
	case stepBegin:
		return l.pulse.do(func() error { return l.begin(c) })
	case stepBlock:
		if l.w == nil {
			return nil
		}
		l.shown.written.Add(c.n)
		if c.buf == nil {
			l.w.Skip(c.n)
			return nil
		}
		return l.pulse.do(func() error { return l.w.Write(c.buf.b[:c.n]) })
	case stepEnd:
		return l.finish(c)
	case stepInvalid:
	}
	return nil
}

// begin opens the temporary file; or, if the name is taken, begins to compare what has it.
func (l *largeFile) begin(c largePiece) error {
	e := &l.run.proof.Files[c.file]
	dir, name := split(e.Path)
	var err error
	if l.folder, err = l.folders.get(dir); err != nil {
		return err
	}
	if !l.fresh {
		if _, err := l.folder.Stat(name); err == nil {
			folder := l.folder
			l.compare = l.spawn(func(p *pulse) {
				_, l.result = l.standsAside(p, folder.Folder, c)
			})
			return nil
		}
	}
	l.w, err = l.folder.Create(device.TempName(e.Path), e.Size, c.sparse)
	return err
}

// standsAside compares while the card is being read.
func (l *largeFile) standsAside(p *pulse, f *device.Folder, c largePiece) (found bool, err error) {
	err = p.do(func() error {
		found, err = l.stands(p, f, int(c.file), &l.scratch, func() (uint64, bool) {
			p.since.Store(0)
			defer p.renew()
			select {
			case <-c.outcome.done:
				return c.outcome.sum, c.outcome.good
			case <-l.ctx.Done():
				return 0, false
			}
		})
		return err
	})
	return found, err
}

// finish makes the file durable, waits for the verdict on the card's bytes, and places it.
func (l *largeFile) finish(c largePiece) error {
	if l.compare != nil {
		k := l.compare
		if !k.wait() {
			return errStalled
		}
		l.compare = nil
		l.letGo()
		return l.result
	}
	if l.w == nil {
		return nil
	}
	if !c.outcome.read {
		return l.pulse.do(l.abort)
	}
	err := l.pulse.do(func() error {
		if err := l.w.Finish(l.run.proof.Files[c.file].MTime); err != nil {
			return err
		}
		return l.w.Flush()
	})
	if err != nil {
		return err
	}
	select {
	case <-c.outcome.done:
	case <-l.ctx.Done():
		return nil
	}
	if !c.outcome.good {
		return l.pulse.do(l.abort)
	}
	return l.pulse.do(func() error {
		if err := l.w.Close(); err != nil {
			return err
		}
		l.w = nil
		if err := l.place(l.folder.Folder, int(c.file)); err != nil {
			return err
		}
		defer l.letGo()
		return l.folder.Flush()
	})
}

// abort takes the temporary file away.
func (l *largeFile) abort() error {
	defer l.letGo()
	w := l.w
	l.w = nil
	return w.Abort()
}

// letGo gives the folder back.
func (l *largeFile) letGo() {
	if l.folder != nil {
		l.folders.put(l.folder)
		l.folder = nil
	}
}

// end cleans up after the last file, or after a fault. A temporary file that cannot be removed now is taken away by
// the next run.
func (l *largeFile) end() {
	if l.compare != nil {
		if !l.compare.wait() {
			return
		}
	}
	if l.w != nil {
		_ = l.pulse.do(l.abort)
	}
	l.letGo()
	l.scratch.Free()
}
