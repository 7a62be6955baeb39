package drill

import (
	"slices"
	"strings"

	"twobin/procedure"
)

// asksFor is the drive that the sighted check asks for: the first proven copy that was not looked at rightly. Empty: none.
func (t *trial) asksFor() string {
	for _, d := range t.copies {
		if !slices.Contains(t.seen, d) {
			return d
		}
	}
	return ""
}

// names: the hold is for what does not show on the incident's drive. Its reason says so, or the last look was there, or
// it was opened, or it is the drive that was asked for.
func (t *trial) names(ev procedure.RollHeld) bool {
	return hasWord(ev.Reason, t.i.Dest) || t.lookedAt == t.i.Dest || t.told || ev.By == "operator" && t.asksFor() == t.i.Dest
}

func judgeNoFolder(t *trial, e procedure.Entry) Verdict {
	if act(e) == ActOpen {
		t.told = t.told || strings.EqualFold(e.Event.(procedure.Incident).Text, t.i.Dest)
	}
	if !t.mine(e) {
		return NotMet
	}
	switch ev := e.Event.(type) {
	case procedure.TooLate:
		t.late = t.late || ev.Step == "desk"
	case procedure.DestLooked:
		if ev.Dest == t.i.Dest && ev.Right {
			return t.is(Wrong, "answered for %s without having looked: nothing was there", ev.Dest)
		}
		if t.lookedAt = ev.Dest; ev.Right {
			t.seen = append(t.seen, ev.Dest)
		}
	case procedure.RollHeld:
		if !t.names(ev) {
			return t.is(Missed, "on hold for something else; that %s does not show the roll was not seen", t.i.Dest)
		}
		return t.left("on hold: %s does not show the roll", t.i.Dest)
	}
	return NotMet
}
