package watch

import (
	"time"

	"twobin/guard"
)

// job is one difference on its way from the looking goroutine to the telling one.
type job struct {
	arrived, gone, changed []seen
	at                     time.Time
}

// told is a drive's answer about one volume.
type told struct {
	seen seen
	vol  guard.Volume
}

// teller describes volumes and sends changes. It is apart from the looking goroutine so that a drive that is slow to
// answer never makes the watcher miss the next mount.
type teller struct {
	w     *Watcher
	known map[string]guard.Volume // by key, volumes that are there, as last reported
	late  chan told
	queue []Change
}

// run sends changes until the watcher is closed and jobs has been closed by its sender.
func (t *teller) run(jobs <-chan job) {
	for {
		var out chan<- Change
		var next Change
		if len(t.queue) > 0 {
			out, next = t.w.out, t.queue[0]
		}
		select {
		case j, ok := <-jobs:
			if !ok {
				return
			}
			t.take(j)
		case l := <-t.late:
			t.takeLate(l)
		case out <- next:
			t.queue = t.queue[1:]
		case <-t.w.done:
			return
		}
	}
}

// take turns one difference into a change.
func (t *teller) take(j job) {
	c := Change{At: j.at}
	for _, s := range j.gone {
		c.Gone = append(c.Gone, t.known[s.key])
		delete(t.known, s.key)
	}
	c.Arrived = t.describe(j.arrived)
	for _, s := range j.changed {
		v := t.known[s.key]
		v.ReadOnly = s.mount.ReadOnly
		t.known[s.key] = v
		c.Changed = append(c.Changed, v)
	}
	t.queue = append(t.queue, c)
}

// takeLate reports what came after the limit, if the volume is still there.
func (t *teller) takeLate(l told) {
	v, ok := t.known[l.seen.key]
	if !ok || v == l.vol {
		return
	}
	l.vol.ReadOnly = v.ReadOnly // that may have changed since the question, and is reported for itself
	t.known[l.seen.key] = l.vol
	t.queue = append(t.queue, Change{Answered: []guard.Volume{l.vol}, At: t.w.opt.Now()})
}

// describe asks all volumes at once; what comes after the limit is reported later.
func (t *teller) describe(list []seen) []guard.Volume {
	vs, open := t.w.describe(list)
	for i, s := range list {
		t.known[s.key] = vs[i]
		if open[i] != nil {
			t.w.wg.Add(1)
			go t.forward(s, open[i])
		}
	}
	return vs
}

// forward waits for an answer that is late.
func (t *teller) forward(s seen, c <-chan answer[guard.Volume]) {
	defer t.w.wg.Done()
	select {
	case a := <-c:
		if a.err != nil {
			return
		}
		select {
		case t.late <- told{s, a.val}:
		case <-t.w.done:
		}
	case <-t.w.done:
	}
}

// describe asks all volumes at once and waits for them together, for at most the limit. A volume that fails or does not
// answer is given as the mount table tells; open has, for those that did not answer, where the answer will come.
func (w *Watcher) describe(list []seen) (vs []guard.Volume, open []<-chan answer[guard.Volume]) {
	vs = make([]guard.Volume, len(list))
	open = make([]<-chan answer[guard.Volume], len(list))
	for i, s := range list {
		open[i] = aside(func() (guard.Volume, error) { return describe(w.sys, s) })
	}
	end := time.Now().Add(w.opt.Answer)
	for i, s := range list {
		a, ok := within(open[i], time.Until(end))
		switch {
		case ok && a.err == nil:
			vs[i], open[i] = a.val, nil
		case ok:
			w.opt.Log.Warn("volume cannot be described", "mount", s.at(), "err", a.err)
			vs[i], open[i] = s.facts(w.sys.Disk(s.mount)), nil
		default:
			w.opt.Log.Warn("drive does not answer", "mount", s.at())
			vs[i] = s.facts(w.sys.Disk(s.mount))
		}
	}
	return vs, open
}

// describe asks the system about one volume and sets what only the watcher knows: the reader's path, and the identity
// of a reader folder that is no volume of its own. It may block.
func describe(sys Tables, s seen) (guard.Volume, error) {
	v, err := sys.Describe(s.mount)
	if err != nil {
		return v, err
	}
	v.Mount = s.at()
	if s.plain {
		v.ID, v.Name, v.Dev = s.folder.id(), "", s.folder.Dev
	}
	return v, nil
}
