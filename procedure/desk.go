package procedure

import "context"

// Desk is what a screen or plain mode talks to: a [Runner], or a fake in tests. All methods may be called from any
// goroutine.
type Desk interface {
	// View is the state now, with clocks and progress as of this moment. It does not block on any drive.
	View() View
	// Wait blocks until the state is newer than after, or ctx ends, and gives the state's version.
	Wait(ctx context.Context, after uint64) (uint64, error)
	// Do hands an intent to the runner and waits until it is journaled or refused. A [*Refusal] is the routine's no;
	// the notice that explains it is in the next View.
	Do(ctx context.Context, i Intent) error
}
