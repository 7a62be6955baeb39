package offload

import (
	"context"
	"errors"
	"io/fs"
	"time"

	"twobin/guard"
	"twobin/guard/device"
)

// open opens the card and the destinations, all at once.
func (r *run) open() {
	r.prog.phase.Store(int32(Preparing))
	var root *device.Root
	err := r.ward.aside(r.job.patience(), func() (err error) { root, err = device.OpenRoot(r.job.SourcePath); return err })
	if err != nil {
		r.fail(&guard.Error{Op: "open", Item: card, Kind: goneOr(err), Err: err})
		return
	}
	r.source, r.cardDir = root, newFolders(root, "")
	if err := r.ward.aside(r.job.patience(), root.Lock); err != nil {
		r.fail(fault("lock", card, "", busyOr(guard.KindSourceRead, err), err))
		return
	}
	r.sentry = append(r.sentry, r.guardCard())
	r.each(func(t *target, p *pulse) *guard.Error { return t.open(p) })
}

// goneOr is the kind of a failure to open a volume's top.
func goneOr(err error) guard.Kind {
	switch {
	case errors.Is(err, errStalled):
		return guard.KindStalled
	case errors.Is(err, fs.ErrPermission):
		return guard.KindDenied
	}
	return guard.KindGone
}

// busyOr is the kind of a failure to lock a folder.
func busyOr(kind guard.Kind, err error) guard.Kind {
	if holder := (*guard.Holder)(nil); errors.As(err, &holder) {
		return guard.KindBusy
	}
	return kind
}

// every is how often the sentries look whether paths still lead to the volumes.
const every = 500 * time.Millisecond

// guardCard ends the run when the card goes away.
func (r *run) guardCard() *worker {
	stuck := func() { r.stuckCard("read") }
	return r.ward.spawn(r.job.patience(), stuck, func(p *pulse) {
		watchPath(r.ctx, p, r.source, r.job.SourcePath, func() { r.fail(fault("read", card, "", guard.KindGone, errGone)) })
	})
}

// stuckCard ends the run because the card does not answer.
func (r *run) stuckCard(op string) {
	r.cardStuck.Store(true)
	r.fail(fault(op, card, "", guard.KindStalled, errStalled))
}

// watchPath looks again and again whether path leads to root.
func watchPath(ctx context.Context, p *pulse, root *device.Root, path string, gone func()) {
	tick := time.NewTicker(every)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		same := true
		_ = p.do(func() error { same = root.SameAs(path); return nil })
		if !same && ctx.Err() == nil {
			gone()
			return
		}
	}
}

// onCard makes a longer piece of work on the card in a watched goroutine.
func (r *run) onCard(op string, work func(p *pulse) error) {
	var err error
	k := r.ward.spawn(r.job.patience(), func() { r.stuckCard(op) }, func(p *pulse) { err = work(p) })
	if k.wait() && err != nil {
		r.fail(fault(op, card, "", guard.KindSourceRead, err))
	}
}

// prepare compares the card with the listing, notes the folders' times, and makes the folders.
func (r *run) prepare() {
	r.compareCard()
	if !r.goingOn() {
		return
	}
	times := make([]int64, len(r.dirs))
	r.onCard("look", func(p *pulse) error {
		for i, dir := range r.dirs {
			err := p.do(func() error {
				return r.cardDir.with(dir, func(f *device.Folder) error {
					st, err := f.Self()
					times[i] = st.MTime
					return err
				})
			})
			if err != nil {
				return fault("look", card, dir, guard.KindSourceRead, err)
			}
		}
		return nil
	})
	r.times = times
	if r.goingOn() {
		r.each(func(t *target, p *pulse) *guard.Error { return t.prepare(p) })
	}
}

// lookAgain compares once more when everything is read.
func (r *run) lookAgain() {
	r.prog.phase.Store(int32(Flushing))
	r.compareCard()
}

// compareCard looks for anything that is not as listed. The sizes and times of single files are also compared before
// and after each is read.
func (r *run) compareCard() {
	if r.job.Partial {
		return
	}
	r.onCard("look", func(p *pulse) error {
		list, err := scan(r.ctx, r.source, p)
		if err != nil {
			return err
		}
		if path := firstChange(r.job.Listing, list); path != "" {
			return &guard.Error{Op: "look", Item: card, Path: path, Kind: guard.KindSourceChanged, Err: errors.New("not as it was listed")}
		}
		return nil
	})
}

// firstChange is the first path in which two listings differ; "" if they are equal.
func firstChange(was, is guard.Listing) string {
	for i := range max(len(was.Files), len(is.Files)) {
		switch {
		case i >= len(was.Files):
			return is.Files[i].Path
		case i >= len(is.Files):
			return was.Files[i].Path
		case was.Files[i] != is.Files[i]:
			return min(was.Files[i].Path, is.Files[i].Path)
		}
	}
	for _, pair := range [][2][]string{{was.Dirs, is.Dirs}, {was.Odd, is.Odd}} {
		for i := range max(len(pair[0]), len(pair[1])) {
			switch {
			case i >= len(pair[0]):
				return pair[1][i]
			case i >= len(pair[1]):
				return pair[0][i]
			case pair[0][i] != pair[1][i]:
				return min(pair[0][i], pair[1][i])
			}
		}
	}
	return ""
}

// withFile opens a file of the card, looks that it is as listed, before and after it is read.
func (r *run) withFile(i int, read func(*device.Reader) error) error {
	e := &r.proof.Files[i]
	dir, name := split(e.Path)
	return r.cardDir.with(dir, func(f *device.Folder) error {
		file, err := f.OpenRead(name)
		if err != nil {
			return err
		}
		defer file.Close()
		if err := r.asListed(i, file.Stat()); err != nil {
			return err
		}
		if err := read(file); err != nil {
			return err
		}
		st, err := file.StatNow()
		if err != nil {
			return err
		}
		return r.asListed(i, st)
	})
}

// asListed compares size and time.
func (r *run) asListed(i int, st device.Stat) error {
	e := &r.proof.Files[i]
	if st.Type == device.File && st.Size == e.Size && st.MTime == e.MTime {
		return nil
	}
	return &guard.Error{Op: "read", Item: card, Path: e.Path, Kind: guard.KindSourceChanged, Err: errChanged}
}

// withSeenFile is withFile for work that makes many calls, each seen by p.
func (r *run) withSeenFile(p *pulse, i int, read func(*device.Reader) error) error {
	return p.do(func() error { return r.withFile(i, read) })
}
