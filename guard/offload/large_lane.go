package offload

import (
	"twobin/guard"
	"twobin/guard/device"
)

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
