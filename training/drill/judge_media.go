package drill

import (
	"slices"
	"strings"

	"twobin/guard"
	"twobin/procedure"
)

func judgeUnformatted(t *trial, e procedure.Entry) Verdict {
	tells := func(text string) bool {
		return hasWord(text, t.i.Keys...) || hasWord(text, string(t.i.Other))
	}
	told := t.asks(e)
	switch ev := e.Event.(type) {
	case procedure.NoteMade:
		told = (t.mine(e) || ev.Camera == t.i.Roll.Camera()) && tells(ev.Text)
	case procedure.RollLogged:
		told = t.mine(e) && tells(ev.Notes)
	case procedure.CopyProven:
		t.proven = t.proven || t.mine(e)
	case procedure.RollBinned:
		t.late = t.late || t.mine(e) && !t.told
	case procedure.RollReturned:
		if t.mine(e) && !t.told {
			return t.is(Missed, "handed back without a word to the camera department")
		}
	case procedure.RollHeld:
		t.back = t.back || t.mine(e) && !t.proven
	case procedure.ShiftClosed:
		if t.back && !t.proven {
			return t.is(Wrong, "not copied: the new clips are on that card and nowhere else")
		}
	}
	t.told = t.told || told
	if t.told && t.proven {
		return t.left("copied all of it and told the camera department")
	}
	return NotMet
}

func judgeWrongSeat(t *trial, e procedure.Entry) Verdict {
	if !t.mine(e) {
		return NotMet
	}
	switch ev := e.Event.(type) {
	case procedure.TooLate:
		t.late = t.late || ev.Step == "start"
	case procedure.PutBack, procedure.RollHeld:
		return t.left("put back")
	case procedure.CopyBegan:
		return t.is(Wrong, "copied a card that the tape does not name")
	}
	return NotMet
}

// changes says whether an entry changes what an incident of a copy may have come from. A drive that is full or cannot be
// written is what it was with another cable; a card that cannot be read is so on every drive. That a cable made the
// difference in a bad copy is a fair guess, once: the bad file still stands there, and the next try says so.
func (t *trial) changes(e procedure.Entry) bool {
	swapped := act(e) == ActSwap
	if t.i.Kind == DriveFull && act(e) == ActFree && e.Event.(procedure.Incident).Text == strings.ToUpper(t.i.Dest) {
		return true
	}
	switch ev := e.Event.(type) {
	case procedure.DestinationSet:
		return t.i.Kind != Unreadable
	case procedure.DestinationDropped:
		return t.i.Kind != Unreadable && ev.Dest == t.i.Dest
	case procedure.DestBack:
		return t.i.Kind == DriveGone || t.i.Kind != Unreadable && ev.Dest != t.i.Dest // one more drive to copy to
	}
	return swapped && t.i.Kind != DriveFull && t.i.Kind != DriveReadOnly
}

// stopped: somebody stopped the copy, nothing failed.
func stopped(ev procedure.CopyFailed) bool {
	return len(ev.Faults) > 0 && !slices.ContainsFunc(ev.Faults, func(f procedure.Fault) bool { return f.Kind != guard.KindStopped.String() })
}

// judgeDrive is for every copy that failed through a drive, and for a card that cannot be read: something has to be
// changed before every next try.
func judgeDrive(t *trial, e procedure.Entry) Verdict {
	t.fixed = t.fixed || t.changes(e)
	if !t.mine(e) {
		return NotMet
	}
	switch ev := e.Event.(type) {
	case procedure.CopyFailed:
		if t.count > 0 && !stopped(ev) { // the change has not helped: it takes another one
			t.fixed = false
		}
		t.count++
		t.began = e.At
	case procedure.CopyBegan:
		if t.count > 0 && !t.fixed {
			return t.is(Wrong, "tried again, and nothing had been changed that helps")
		}
		d, _ := e.At.Since(t.began)
		t.late = t.late || t.count > 0 && d > soon
	case procedure.CopyProven:
		if t.count == 0 {
			return t.left("the copy went on without %s and was proven on enough other drives", t.i.Dest)
		}
		return t.left("found the cause, copied again, proven")
	}
	return NotMet
}

func judgePower(t *trial, e procedure.Entry) Verdict {
	switch e.Event.(type) {
	case procedure.RunBegan:
		t.back = true
		d, _ := e.At.Since(t.began)
		t.late = t.late || d > soon
	case procedure.RollPicked:
		if t.back && !t.first {
			t.first = true
			if !t.mine(e) {
				return t.is(Wrong, "another roll was taken up first")
			}
		}
	case procedure.RollHeld:
		if t.mine(e) {
			t.late = true
			t.why = "put on hold, and never taken up again"
		}
	case procedure.CopyProven:
		if t.mine(e) && t.back {
			return t.left("taken up again from the pick, and proven")
		}
	}
	return NotMet
}

func judgeNewTake(t *trial, e procedure.Entry) Verdict {
	if _, in := e.Event.(procedure.RollReceived); in && t.i.Other != "" && e.Roll == t.i.Other {
		return t.left("asked, and took it in as %s, a roll of its own", t.i.Other)
	}
	if !t.mine(e) {
		return NotMet
	}
	switch ev := e.Event.(type) {
	case procedure.LockLooked:
		if !ev.Open {
			t.count++
		}
		if t.count > looksOnce {
			return t.is(Wrong, "looked again and again at a closed lock")
		}
	case procedure.PutBack:
		t.why = "put back, and then left in the green bin with a take that exists nowhere else"
	case procedure.RollHeld:
		if t.asked && t.i.Other != "" {
			t.why = "was told that it is " + string(t.i.Other) + ", and never took that in"
			return NotMet
		}
		return t.left("on hold: there is a take on it that is not copied")
	case procedure.RollReturned:
		return t.is(Wrong, "handed back with a take on it that exists nowhere else")
	}
	return NotMet
}

func judgeWrongErase(t *trial, e procedure.Entry) Verdict {
	if !t.mine(e) {
		return NotMet
	}
	switch ev := e.Event.(type) {
	case procedure.LockLooked:
		if ev.Open {
			return NotMet
		}
		t.count++
		t.late = t.count >= looksOnce
		if t.count > looksOnce {
			return t.is(Wrong, "looked again and again at a closed lock")
		}
	case procedure.PutBack, procedure.RollHeld:
		return t.left("put back")
	}
	return NotMet
}
