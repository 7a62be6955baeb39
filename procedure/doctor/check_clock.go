package doctor

import (
	"context"
	"fmt"
	"time"
)

// Years that a clock can show without being wrong for certain: the program is not older, and no release will be in use
// later than that. A machine whose clock battery is empty starts in 1970, 1980 or 2000.
const (
	firstYear = 2025
	lastYear  = 2060
)

// The clocks are compared for compareFor; a difference over driftLook is a step, not the slow pull of a time service,
// which is at most 0.5 ms a second (adjtimex(2)).
const (
	compareFor = 300 * time.Millisecond
	driftLook  = 50 * time.Millisecond
)

// clock judges the wall clock: year, zone, whether it jumps while we look. It cannot know the right time; the operator
// has a watch.
func clock(ctx context.Context, env Env) Line {
	wall, steady := env.Clock()
	env.Wait(ctx, compareFor)
	wallAfter, steadyAfter := env.Clock()
	drift := (wallAfter.Round(0).Sub(wall.Round(0)) - (steadyAfter - steady)).Round(time.Millisecond)
	now := wallAfter.Format("2006-01-02 15:04:05 -07:00")
	l := Line{Subject: "clock", Mark: Fine}
	switch y := wallAfter.Year(); {
	case y < firstYear || y > lastYear:
		l.Mark, l.Seen, l.Do = Stop, now+": not this year.", "set the clock, then look again."
		return l
	case drift > driftLook || drift < -driftLook:
		l.Mark, l.Seen = Look, fmt.Sprintf("%s: it moved by %s while it was looked at.", now, drift)
		l.Do = "see what sets it. Steps are timed by another clock and stay right."
		return l
	}
	switch env.Synced() {
	case Yes:
		l.Seen = now + ", set by the network."
	case No:
		l.Seen = now + ", nothing sets it: compare with a watch."
	case Unknown:
		l.Seen = now + ", not known who sets it: compare with a watch."
	}
	return l
}
