package recheck

import (
	"sync"
	"time"
)

// fileCost is how many bytes' worth of time a file takes beside its contents (open, look, close): an estimate that
// keeps the time left honest on folders of small files. From memory of such runs, not measured.
const fileCost = 64 << 10

// Meter is the progress of a recheck, to be sampled by a screen whenever it likes. The zero value is ready.
type Meter struct {
	mu   sync.Mutex
	snap Snapshot
}

// Snapshot is the progress at one moment.
type Snapshot struct {
	// Roll is the folder under way.
	Roll string
	// The totals are known once all rolls are found and counted; until then Counting is true.
	Counting                bool
	RollsDone, Rolls        int
	FilesDone, Files        int
	BytesDone, Bytes        int64
	Changed, Missing, Other int
	began                   time.Time
}

// Snapshot gives a copy.
func (m *Meter) Snapshot() Snapshot {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.snap
}

// Left is the time that the rest will take at the pace so far, at the moment now (of the same clock as Options.Now). ok
// is false while there is nothing to judge by.
func (s Snapshot) Left(now time.Time) (left time.Duration, ok bool) {
	done := s.BytesDone + int64(s.FilesDone)*fileCost
	all := s.Bytes + int64(s.Files)*fileCost
	spent := now.Sub(s.began)
	if s.Counting || done <= 0 || spent <= 0 || s.began.IsZero() {
		return 0, false
	}
	if done >= all {
		return 0, true
	}
	return time.Duration(float64(spent) * float64(all-done) / float64(done)), true
}

func (m *Meter) change(f func(*Snapshot)) {
	if m == nil {
		return
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	f(&m.snap)
}
