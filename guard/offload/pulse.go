package offload

import (
	"sync"
	"sync/atomic"
	"time"
)

// pulse says since when one goroutine has been inside a call to a drive. A goroutine whose call takes longer than its
// limit is stuck: whoever waits for it stops waiting.
type pulse struct {
	since atomic.Int64 // nanoseconds since the ward's start, plus one; 0: in no call
	limit time.Duration
	ward  *ward
	// onStuck is called once, in the ward's goroutine; stuck is closed afterwards.
	onStuck func()
	stuck   chan struct{}
}

// do makes a call that may block.
func (p *pulse) do(call func() error) error {
	p.renew()
	defer p.since.Store(0)
	return call()
}

// renew says, from inside a call that is made of many, that one more has ended.
func (p *pulse) renew() { p.since.Store(int64(time.Since(p.ward.start)) + 1) }

// ward watches all pulses of a run.
type ward struct {
	start time.Time
	mu    sync.Mutex
	all   map[*pulse]struct{}
	end   chan struct{}
	ended chan struct{}
}

// newWard starts watching, often enough to notice a limit of the given length within a tenth of it.
func newWard(limit time.Duration) *ward {
	w := &ward{start: time.Now(), all: map[*pulse]struct{}{}, end: make(chan struct{}), ended: make(chan struct{})}
	go w.run(min(max(limit/10, 5*time.Millisecond), time.Second))
	return w
}

// add begins to watch a goroutine. Its owner calls remove when it has ended.
func (w *ward) add(limit time.Duration, onStuck func()) *pulse {
	p := &pulse{limit: limit, ward: w, onStuck: onStuck, stuck: make(chan struct{})}
	w.mu.Lock()
	defer w.mu.Unlock()
	w.all[p] = struct{}{}
	return p
}

// remove ends watching one goroutine.
func (w *ward) remove(p *pulse) {
	w.mu.Lock()
	defer w.mu.Unlock()
	delete(w.all, p)
}

// run looks at every pulse at each tick.
func (w *ward) run(every time.Duration) {
	defer close(w.ended)
	tick := time.NewTicker(every)
	defer tick.Stop()
	last := time.Now()
	for {
		select {
		case <-w.end:
			return
		case <-tick.C:
		}
		if slept := time.Since(last) - 2*every; slept > 0 {
			w.forgive(slept)
		}
		last = time.Now()
		for _, p := range w.overdue() {
			p.onStuck()
			close(p.stuck)
		}
	}
}

// forgive gives everyone the time in which this process itself did not run (stopped, the computer asleep or overloaded):
// that was not the drive's doing.
func (w *ward) forgive(slept time.Duration) {
	w.mu.Lock()
	defer w.mu.Unlock()
	for p := range w.all {
		if since := p.since.Load(); since != 0 { // a call that ends or is renewed just now keeps its newer value
			p.since.CompareAndSwap(since, since+int64(slept))
		}
	}
}

// overdue takes out of the watch what is stuck now.
func (w *ward) overdue() []*pulse {
	w.mu.Lock()
	defer w.mu.Unlock()
	now := int64(time.Since(w.start))
	var late []*pulse
	for p := range w.all {
		if since := p.since.Load(); since != 0 && now-since > int64(p.limit) {
			late = append(late, p)
			delete(w.all, p)
		}
	}
	return late
}

// stop ends the watch and waits for it.
func (w *ward) stop() {
	close(w.end)
	<-w.ended
}

// worker is a goroutine with a pulse.
type worker struct {
	*pulse
	done chan struct{}
}

// spawn starts work in a goroutine of its own. When the work is stuck, onStuck is called (nil: nothing).
func (w *ward) spawn(limit time.Duration, onStuck func(), work func(p *pulse)) *worker {
	if onStuck == nil {
		onStuck = func() {}
	}
	k := &worker{pulse: w.add(limit, onStuck), done: make(chan struct{})}
	go func() {
		defer close(k.done)
		defer w.remove(k.pulse)
		work(k.pulse)
	}()
	return k
}

// wait returns when the work has ended (true) or is stuck (false).
func (k *worker) wait() bool {
	select {
	case <-k.done:
		return true
	case <-k.stuck:
	}
	select {
	case <-k.done: // it ended after all
		return true
	default:
		return false
	}
}

// aside makes one call that may block in a goroutine of its own; a stuck one yields errStalled.
func (w *ward) aside(limit time.Duration, call func() error) error {
	result := make(chan error, 1)
	k := w.spawn(limit, nil, func(p *pulse) { result <- p.do(call) })
	if !k.wait() {
		return errStalled
	}
	return <-result
}
