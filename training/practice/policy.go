package practice

import (
	"twobin/guard"
	"twobin/procedure"
)

// Policy is p, but nowhere laxer than the policy under which the run was begun: a drill that is gone on with keeps its
// rules, as a shift does.
func (r Run) Policy(p guard.Policy) guard.Policy {
	for _, e := range r.Entries {
		if o, ok := e.Event.(procedure.ShiftOpened); ok {
			p = o.Policy.Over(p)
		}
	}
	return p
}
