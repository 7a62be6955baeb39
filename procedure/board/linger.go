package board

import (
	"cmp"
	"slices"
	"time"

	"twobin/procedure"
)

// How long a roll may wait in a place before the board names it (common practice, no source; the desk has the shift's
// own limit). The red bin's is about the time in which the next card of that camera is full.
const (
	redBinLimit = time.Hour
	handLimit   = 2 * time.Minute
	readerLimit = 10 * time.Minute // with no copy running
	deskLimit   = 3 * time.Minute  // where the shift has none
	greenLimit  = 4 * time.Hour
)

// limitOf is how long a roll may be where it is; 0 for as long as it takes.
func limitOf(s *procedure.Shift, r *procedure.Roll) time.Duration {
	switch r.Place {
	case procedure.PlaceRedBin:
		return redBinLimit
	case procedure.PlaceHand:
		return handLimit
	case procedure.PlaceReader:
		if r.Copy == procedure.CopyRunning {
			return 0
		}
		return readerLimit
	case procedure.PlaceDesk:
		if d := s.DeskLimit(); d > 0 {
			return d
		}
		return deskLimit
	case procedure.PlaceGreenBin:
		return greenLimit
	case procedure.PlaceReturned, procedure.PlaceUnknown:
	}
	return 0
}

// waits is since when a roll waits where it is. In the reader, the copy's own time is not waiting.
func waits(r *procedure.Roll) procedure.Moment {
	if r.Place == procedure.PlaceReader && r.Copy == procedure.CopyIsProven && !r.Binned {
		return r.ProvenAt
	}
	return r.Since
}

// lingers lists rolls over their limit, the one with the most time over it first, and behind them those on hold.
func lingers(s *procedure.Shift, now procedure.Moment) []Linger {
	out := []Linger{}
	for _, l := range s.Order {
		r := s.Rolls[l]
		d, _ := now.Since(waits(r))
		limit := limitOf(s, r)
		k := Linger{Label: string(l), Place: r.Place.String(), ForMS: max(0, d).Milliseconds(), LimitMS: limit.Milliseconds()}
		switch {
		case r.Held != nil:
			k.Place, k.LimitMS, k.Hold = "on hold", 0, procedure.Plain(r.Held.Reason)
			if k.Hold == "" {
				k.Hold = "no reason given"
			}
		case limit == 0 || d <= limit:
			continue
		}
		out = append(out, k)
	}
	slices.SortStableFunc(out, func(a, b Linger) int {
		if (a.Hold == "") != (b.Hold == "") {
			if a.Hold == "" {
				return -1
			}
			return 1
		}
		return cmp.Compare(b.ForMS-b.LimitMS, a.ForMS-a.LimitMS)
	})
	return out
}
