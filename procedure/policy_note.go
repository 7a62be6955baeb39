package procedure

import (
	"time"

	"twobin/guard"
)

// PolicyNote is the policy that a shift runs under, as journaled.
type PolicyNote struct {
	Destinations int    `json:"destinations"`
	Recheck      string `json:"recheck,omitempty"`
	StartMS      int64  `json:"start_ms"`
	DeskMS       int64  `json:"desk_ms"`
	EraseMS      int64  `json:"erase_ms"`
}

// Over is p, but nowhere laxer than the policy under which the shift was opened: leaving a policy out when a shift or a
// drill is gone on with opens nothing.
func (n PolicyNote) Over(p guard.Policy) guard.Policy {
	p.Destinations = max(p.Destinations, n.Destinations)
	if n.Recheck == guard.RecheckFull.String() {
		p.Recheck = guard.RecheckFull
	}
	least := func(have time.Duration, ms int64) time.Duration {
		if d := time.Duration(ms) * time.Millisecond; d > 0 && d < have {
			return d
		}
		return have
	}
	p.StartWithin, p.DeskWithin, p.EraseWithin = least(p.StartWithin, n.StartMS), least(p.DeskWithin, n.DeskMS), least(p.EraseWithin, n.EraseMS)
	return p
}
