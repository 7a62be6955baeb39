package offload

import (
	"encoding/binary"
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
		out.sum = binary.BigEndian.Uint64(sum)
		if err := r.note(i, out.sum, texts); err != nil {
			r.cardFault(err)
		} else {
			out.good = true
		}
	}
	close(out.done)
	return true
}
