package drill

import (
	"fmt"

	"twobin/procedure"
)

// trial is one incident before the entries. A judge is called once an entry, in order, from the entry with which the
// incident began; it gives a verdict as soon as there is one.
type trial struct {
	i    Planned
	plan *Plan
	// what the judge keeps between entries
	began    procedure.Moment
	answered bool
	asked    bool
	told     bool
	late     bool
	fixed    bool
	back     bool
	proven   bool
	count    int
	first    bool
	why      string
	// copies are the drives with a proven copy of the roll, in the order in which they are asked for; seen those that were
	// looked at rightly; lookedAt is the last one that was looked at.
	copies, seen []string
	lookedAt     string
	// past: the step that the incident is about was over before it began.
	past bool
}

// proves keeps which drives have a proven copy of the incident's roll.
func (t *trial) proves(e procedure.Entry) {
	ev, ok := e.Event.(procedure.CopyProven)
	if !ok || !t.mine(e) {
		return
	}
	t.copies, t.seen, t.lookedAt = nil, nil, ""
	for _, c := range ev.Copies {
		if c.Proven {
			t.copies = append(t.copies, c.Name)
		}
	}
}

// passes keeps whether the step of a call is over. The world drops such a call, but for the moment between its look and
// its word; older versions let it begin.
func (t *trial) passes(e procedure.Entry) {
	if !t.mine(e) {
		return
	}
	k := t.i.Kind
	switch e.Event.(type) {
	case procedure.TapeMoved, procedure.CardPulled, procedure.LockLooked:
		t.past = false
	case procedure.CopyBegan:
		t.past = k == CallStart
	case procedure.RollBinned:
		t.past = k == CallDesk || k == Wanted
	case procedure.EraseBegan:
		t.past = k == CallErase
	case procedure.PutBack, procedure.RollHeld:
		t.past = k == CallStart || k == CallDesk || k == Wanted || k == CallErase
	}
}

// is says a verdict with its reason.
func (t *trial) is(v Verdict, format string, a ...any) Verdict {
	t.why = fmt.Sprintf(format, a...)
	return v
}

// mine: the entry is about the incident's roll.
func (t *trial) mine(e procedure.Entry) bool { return e.Roll == t.i.Roll }

// act is the name of the trainee's act, empty for other entries.
func act(e procedure.Entry) string {
	if ev, ok := e.Event.(procedure.Incident); ok && ev.Kind == ActKind {
		return ev.ID
	}
	return ""
}

// asks: the trainee asked, and was told about this incident. In a journal that does not say about which, about any.
func (t *trial) asks(e procedure.Entry) bool {
	ev, ok := e.Event.(procedure.Incident)
	return ok && ev.Kind == ActKind && ev.ID == ActAsk && (!SaysWhich(ev.Text) || ev.Text == t.i.ID)
}

// left is Right, or Late when something was late already.
func (t *trial) left(format string, a ...any) Verdict {
	if t.late {
		return t.is(Late, format+", but late", a...)
	}
	return t.is(Right, format, a...)
}
