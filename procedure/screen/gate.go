package screen

import "time"

// The pauses that keys must make after a prompt has been drawn before they count. A burst (type-ahead, pasted text)
// has its bytes within a few milliseconds; one frame is 33 ms. A person's next key after Enter comes after 80 ms and
// more (own figures, common practice, no source); in a critical step the eyes come first.
const (
	pauseUsual    = 40 * time.Millisecond
	pauseCritical = 300 * time.Millisecond
)

// gate drops keys that were pressed before their prompt could be seen. It opens with the first key that comes at least
// pause after the drawing and after every earlier key; then it stays open until the next prompt. The zero value is
// open.
type gate struct {
	drawn  time.Time
	last   time.Time
	pause  time.Duration
	closed bool
}

// shut closes the gate for a prompt that is drawn now.
func (g *gate) shut(now time.Time, pause time.Duration) {
	g.drawn, g.pause, g.closed = now, pause, true
}

// pass takes note of a key and says whether it counts.
func (g *gate) pass(now time.Time) bool {
	since := g.drawn
	if g.last.After(since) {
		since = g.last
	}
	g.last = now
	if g.closed && now.Sub(since) >= g.pause {
		g.closed = false
	}
	return !g.closed
}
