package watch

import "time"

// polled is the part of a System that waits by time alone.
type polled struct {
	wake chan struct{}
}

func newPolled() polled { return polled{wake: make(chan struct{}, 1)} }

// Wait returns after d, or earlier if woken.
func (p polled) Wait(d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
	case <-p.wake:
	}
	return nil
}

// Wake ends a Wait.
func (p polled) Wake() {
	select {
	case p.wake <- struct{}{}:
	default:
	}
}

// Woken is false: nothing but time ends Wait.
func (p polled) Woken() bool { return false }

// Close has nothing to give back.
func (p polled) Close() error { return nil }
