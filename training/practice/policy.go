package practice

import (
	"time"

	"twobin/guard"
	"twobin/procedure"
)

// Policy is p, but nowhere laxer than the policy under which the run was begun: a drill that is gone on with keeps its
// rules, as a shift does.
func (r Run) Policy(p guard.Policy) guard.Policy {
	for _, e := range r.Entries {
		o, ok := e.Event.(procedure.ShiftOpened)
		if !ok {
			continue
		}
		p.Destinations = max(p.Destinations, o.Policy.Destinations)
		if o.Policy.Recheck == guard.RecheckFull.String() {
			p.Recheck = guard.RecheckFull
		}
		for _, limit := range []struct {
			have *time.Duration
			ms   int64
		}{{&p.StartWithin, o.Policy.StartMS}, {&p.DeskWithin, o.Policy.DeskMS}, {&p.EraseWithin, o.Policy.EraseMS}} {
			if limit.ms > 0 {
				*limit.have = min(*limit.have, time.Duration(limit.ms)*time.Millisecond)
			}
		}
	}
	return p
}
