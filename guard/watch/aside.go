package watch

import (
	"sync"
	"time"
)

// answer is what a question asked aside came to.
type answer[T any] struct {
	val T
	err error
}

// aside runs f in a goroutine of its own and gives the channel on which its one answer comes. The channel has room, so
// an answer that nobody waits for any more does not keep the goroutine. A call that is stuck in the kernel stays there
// until the kernel lets go: no program can end it.
func aside[T any](f func() (T, error)) <-chan answer[T] {
	c := make(chan answer[T], 1)
	go func() {
		v, err := f()
		c <- answer[T]{v, err}
	}()
	return c
}

// within waits for the answer for at most limit. ok is false when it did not come. An answer that is there already is
// taken whatever the limit.
func within[T any](c <-chan answer[T], limit time.Duration) (a answer[T], ok bool) {
	select {
	case a = <-c:
		return a, true
	default:
	}
	t := time.NewTimer(limit)
	defer t.Stop()
	select {
	case a = <-c:
		return a, true
	case <-t.C:
		return a, false
	}
}

// single asks one question at a time: while an earlier one is still unanswered none is asked beside it, so that a dead
// drive holds one goroutine and not one for each look. An answer to an earlier question is thrown away and the question
// asked anew: what is given is never older than the call.
type single[T any] struct {
	mu   sync.Mutex
	open <-chan answer[T]
}

func (s *single[T]) ask(limit time.Duration, f func() (T, error)) (answer[T], bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	end := time.Now().Add(limit)
	if s.open != nil {
		if _, ok := within(s.open, limit); !ok {
			return answer[T]{}, false
		}
	}
	s.open = aside(f)
	a, ok := within(s.open, time.Until(end))
	if ok {
		s.open = nil
	}
	return a, ok
}
