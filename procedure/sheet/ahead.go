package sheet

import (
	"runtime"
	"sync"

	"twobin/guard"
	"twobin/procedure"
)

// loaded is a proof that was read ahead.
type loaded struct {
	proof *guard.Proof
	err   error
}

// ahead reads a shift's proofs in their order, a few at once and a few ahead of where they are used: reading them is
// most of the time that a long sheet takes, and all of them at once would not fit into memory. For every roll with a
// proof, in the shift's order, the channel has one channel with the proof. stop ends the reading and waits for it.
func (rd *Reader) ahead(s *procedure.Shift) (each <-chan chan loaded, stop func()) {
	if rd.load == nil {
		return nil, func() {}
	}
	window := runtime.GOMAXPROCS(0) * 2
	out := make(chan chan loaded, window)
	done := make(chan struct{})
	var wg sync.WaitGroup
	wg.Go(func() {
		defer close(out)
		for _, l := range s.Order {
			sha := s.Rolls[l].Proof
			if sha == "" {
				continue
			}
			one := make(chan loaded, 1)
			select {
			case out <- one:
			case <-done:
				return
			}
			wg.Go(func() {
				p, err := rd.load(sha)
				one <- loaded{p, err}
			})
		}
	})
	return out, func() { close(done); wg.Wait() }
}
