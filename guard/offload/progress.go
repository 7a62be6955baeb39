package offload

import (
	"sync/atomic"
	"time"
)

// Phase is what a run is at. The zero value: not begun.
type Phase int32

const (
	// Waiting is the zero value.
	Waiting Phase = iota
	// Preparing: looking at what is there, making folders.
	Preparing
	// Copying: reading the card and writing.
	Copying
	// Flushing: last writes, hash lists.
	Flushing
	// Proving: reading back.
	Proving
	// Done: Run has returned or is about to.
	Done
)

// String is the phase in words.
func (p Phase) String() string {
	switch p {
	case Waiting:
		return "waiting"
	case Preparing:
		return "preparing"
	case Copying:
		return "copying"
	case Flushing:
		return "flushing"
	case Proving:
		return "reading back"
	case Done:
		return "done"
	}
	return "unknown"
}

// Progress is what a run tells while it works. The zero value is ready; it is used for one Run. Snapshot may be called
// from any goroutine at any time, and never waits.
type Progress struct {
	phase   atomic.Int32
	began   atomic.Int64 // wall nanoseconds, of the job's clock; differences only
	proving atomic.Int64
	files   atomic.Int64
	bytes   atomic.Int64
	current atomic.Pointer[string]
	totals  atomic.Pointer[totals]
	targets atomic.Pointer[[]*targetProgress]
}

type totals struct {
	files int64
	bytes int64
}

type targetProgress struct {
	name    string
	written atomic.Int64
	back    atomic.Int64
	fault   atomic.Bool
}

// Snapshot is one look at a run.
type Snapshot struct {
	Phase Phase
	// Files and Bytes were read from the card so far, of FilesTotal and BytesTotal.
	Files, FilesTotal int64
	Bytes, BytesTotal int64
	// Current is the path of a file that is being read, "" if none.
	Current string
	Targets []TargetSnapshot
	// Elapsed is since the copying began. Left is an estimate; negative while there is none.
	Elapsed, Left time.Duration
}

// TargetSnapshot is one destination's part, in bytes: Written counts what was written or found in its place, Back what
// was read back. Fault: it is condemned and no longer worked on.
type TargetSnapshot struct {
	Name    string
	Written int64
	Back    int64
	Fault   bool
}

// Snapshot gathers the numbers. now is the time of the job's clock.
func (p *Progress) Snapshot(now time.Time) Snapshot {
	s := Snapshot{Phase: Phase(p.phase.Load()), Files: p.files.Load(), Bytes: p.bytes.Load(), Left: -1}
	if c := p.current.Load(); c != nil {
		s.Current = *c
	}
	if t := p.totals.Load(); t != nil {
		s.FilesTotal, s.BytesTotal = t.files, t.bytes
	}
	slowest := int64(-1)
	if ts := p.targets.Load(); ts != nil {
		for _, t := range *ts {
			one := TargetSnapshot{Name: t.name, Written: t.written.Load(), Back: t.back.Load(), Fault: t.fault.Load()}
			s.Targets = append(s.Targets, one)
			if !one.Fault && (slowest < 0 || one.Back < slowest) {
				slowest = one.Back
			}
		}
	}
	if began := p.began.Load(); began != 0 {
		s.Elapsed = max(now.Sub(time.Unix(0, began)), 0)
		s.Left = left(s, slowest, now.UnixNano()-p.proving.Load(), p.proving.Load() != 0)
	}
	return s
}

// left estimates from the average rate so far: first what is still to be read, then one read-back of everything, for
// which, until it has a rate of its own, the rate of the copying stands.
func left(s Snapshot, back, provingFor int64, proving bool) time.Duration {
	const least = int64(time.Second) // an average over less says nothing
	switch {
	case s.Phase == Done:
		return 0
	case proving && back > 0 && provingFor >= least:
		return time.Duration(float64(provingFor) * float64(s.BytesTotal-back) / float64(back))
	case proving || s.Bytes == 0 || int64(s.Elapsed) < least:
		return -1
	}
	return time.Duration(float64(s.Elapsed) * float64(2*s.BytesTotal-s.Bytes) / float64(s.Bytes))
}

// begin sets what is known before the first byte.
func (p *Progress) begin(j *Job, bytes int64) []*targetProgress {
	ts := make([]*targetProgress, len(j.Targets))
	for i, t := range j.Targets {
		ts[i] = &targetProgress{name: t.Name}
	}
	p.totals.Store(&totals{files: int64(len(j.Listing.Files)), bytes: bytes})
	p.targets.Store(&ts)
	p.phase.Store(int32(Preparing))
	return ts
}
