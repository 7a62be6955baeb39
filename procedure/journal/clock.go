package journal

import "time"

// JumpLimit is how far wall clock and monotonic clock may drift apart between two lines before that is noted.
const JumpLimit = 2 * time.Second

// Jump says by how much the wall clock has jumped between two lines of one journal, prev before next, and whether that
// is more than JumpLimit. Positive means forward.
//
// Within a run the two clocks are compared. Where the monotonic clock stands still while a computer sleeps (Linux,
// macOS), a closed lid shows as a jump forward by the time slept: true for durations too, since nobody worked on the
// machine. Across runs no monotonic clock is at hand; there only a clock that went back is seen.
func Jump(prev, next Line) (time.Duration, bool) {
	wall := next.Time.Sub(prev.Time)
	by := wall - (next.Mono - prev.Mono)
	if prev.Run != next.Run {
		by = min(wall, 0)
	}
	return by, by > JumpLimit || by < -JumpLimit
}
