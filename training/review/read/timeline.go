package read

import (
	"fmt"
	"strings"
	"time"

	"twobin/procedure"
	"twobin/procedure/journal"
)

// Moment is one event of a run's timeline.
type Moment struct {
	Line int64
	// At is the time since the first event of the timeline: monotonic within one run of the program, else by wall clock.
	At   time.Duration
	Wall time.Time
	Who  string
	// Text says what happened, in words; from outside in part, so not safe to show as it is.
	Text string
	// Took is how long the answer behind it took; Answered: there is one.
	Took     time.Duration
	Answered bool
}

// Timeline reads one roll's events again, from line first to line last of the journal at path; events between them that
// belong to no roll but to the same lane are in it. The error is one of reading.
func Timeline(path, roll string, first, last int64) ([]Moment, error) {
	lines, _, err := journal.ReadFile(path)
	if err != nil {
		return nil, err
	}
	var out []Moment
	var began procedure.Moment
	for _, l := range lines {
		if l.Seq < first || l.Seq > last || l.Roll != roll && l.Roll != "" {
			continue
		}
		m := Moment{Line: l.Seq, Wall: l.Time, Who: l.Operator, Text: l.Event}
		at := procedure.Moment{Wall: l.Time, Run: l.Run, Mono: l.Mono}
		if len(out) == 0 {
			began = at
		}
		m.At, _ = at.Since(began)
		if e, err := procedure.EntryOf(l); err == nil { // an event of a newer program keeps its name
			m.Text = words(e.Event)
			m.Took, _, m.Answered = procedure.Took(e.Event)
		}
		out = append(out, m)
	}
	return out, nil
}

// words is an event in words.
func words(e procedure.Event) string {
	switch v := e.(type) {
	case procedure.RollReceived:
		return "received from " + v.From + lacking(v.Lacks)
	case procedure.RollPicked:
		return fmt.Sprintf("picked, pass %d", v.Pass)
	case procedure.LabelRead:
		return "label read from the " + v.Where + ": " + v.Read + verdict(v.Right)
	case procedure.CardScanned:
		return fmt.Sprintf("card read: %d files (machine %d ms)", v.Files, v.ScanMS)
	case procedure.CopyBegan:
		return "copy started to " + strings.Join(v.To, ", ")
	case procedure.CopyProven:
		return fmt.Sprintf("copy proven (machine %s)", procedure.Clockface(time.Duration(v.CopyMS)*time.Millisecond))
	case procedure.CopyFailed:
		return "copy failed"
	case procedure.CountRead:
		return v.What + " read from the book: " + v.Read + verdict(v.Right)
	case procedure.DestLooked:
		return "looked at " + v.Dest + ": " + v.Answer + verdict(v.Right)
	case procedure.LockLooked:
		return "fresh look: the lock is " + map[bool]string{true: "open", false: "closed"}[v.Open]
	case procedure.RollReturned:
		return "returned to " + v.To
	case procedure.RollTaken:
		return "taken out of the green bin for " + v.For
	case procedure.PutBack:
		return "PUT BACK at " + v.Step + lacking(v.Reason)
	case procedure.RollHeld:
		return "ON HOLD at " + v.Step + lacking(v.Reason)
	case procedure.Refused:
		return "REFUSED " + v.Asked + ": " + v.Why
	case procedure.TooLate:
		return "OVER THE LIMIT: " + v.Step
	case procedure.AwayEnded:
		return "back after " + procedure.Clockface(time.Duration(v.AwayMS)*time.Millisecond)
	case procedure.Misfit:
		return "DOES NOT FIT at " + v.Step + lacking(v.Text)
	case procedure.Incident:
		return "INCIDENT " + v.Kind + lacking(v.Text)
	case procedure.IncidentScored:
		return "judged " + v.Kind + ": " + v.Result
	}
	if t, ok := plainWords[e.Name()]; ok {
		return t
	}
	return e.Name()
}

// plainWords are events that need no details.
var plainWords = map[string]string{
	evTape: "tape on the reader", evSeated: "card in the reader", evGone: "card out of the reader", evLogged: "log filled in",
	(procedure.CountShown{}).Name(): "figures written into the book", evPulled: "card on the desk", evMarked: "green tape on",
	evBinned: "in the green bin", (procedure.RollReseated{}).Name(): "card in the reader again", evErase: "erase began", evErased: "erase done",
	evStopped: "erase stopped", (procedure.AwayBegan{}).Name(): "called away", evBegan: "the program began anew",
}

func lacking(s string) string {
	if s == "" {
		return ""
	}
	return ": " + s
}

func verdict(right bool) string {
	if right {
		return ", right"
	}
	return ", WRONG"
}
