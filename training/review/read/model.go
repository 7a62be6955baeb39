package read

import (
	"time"

	"twobin/procedure"
)

// Steps is the length of an array by [procedure.Step]; index 0 is not used.
const Steps = int(procedure.StepReturn) + 1

// Set is everything that was read.
type Set struct {
	// Sessions are ordered by their beginning.
	Sessions []Session
	// Left says what is not in Sessions, ordered by path.
	Left []Left
	// Events and Bytes count what was read.
	Events int
	Bytes  int64
}

// Left is one journal of which something was left out.
type Left struct {
	Path string `json:"path"`
	// Line is the first line that was left out, from 1; 0 if that is the whole journal.
	Line int `json:"line"`
	// Why ends a sentence that begins with the path.
	Why string `json:"why"`
	// Used is how many lines are in the review all the same.
	Used int `json:"used"`
}

// Session is one journal: a shift or a drill.
type Session struct {
	Path string
	// Drill names the drill; empty for a shift. Seed and Coach are the drill's.
	Drill string
	Seed  int64
	Coach string
	// Operator is who began it. Others may have taken over: see Run.Trainee.
	Operator   string
	Production string
	Began      time.Time
	// Outcome is the drill's result in the journal's word; empty for a shift, and for a drill without an end.
	Outcome string
	// Lacking is why a drill was not passed.
	Lacking string
	Limits  Limits
	Runs    []Run
	// Incidents are what the drill did to the trainee.
	Incidents []Incident
	// Loose are marks that belong to no run.
	Loose []Mark
	Lines int
}

// Watched says whether the program played and the trainee only watched.
func (s *Session) Watched() bool { return s.Coach == watched }

const watched = "show"

// Limits are the policy's, in milliseconds; 0 for none.
type Limits struct{ Start, Desk, Erase int64 }

// Run is one pass of one roll, as worked by one person.
type Run struct {
	Roll    string
	Pass    int
	Trainee string
	Began   time.Time
	// First and Last are lines of the journal, from 1.
	First, Last int64
	// Hands is the operator's time by step, in milliseconds; it counts only where Done.
	Hands [Steps]int64
	// Done says which steps were completed, Broken how often one was broken off.
	Done   [Steps]bool
	Broken [Steps]uint8
	// Scan, Copy, Look and Erase are the machine's time in milliseconds.
	Scan, Copy, Look, Erase int64
	// SeatToStart is from seating to the start of the copy without the scan, Desk from pull to bin, LookToErase from the
	// fresh look to the begin of the erase; in milliseconds, monotonic, -1 where it was not measured.
	SeatToStart, Desk, LookToErase int64
	// Away is how long the operator was called away during this run, in milliseconds.
	Away int64
	// Shared: somebody else worked on this pass too, so that its total is nobody's.
	Shared bool
	Marks  []Mark
}

// core are the steps that every roll goes through in one go: what a run's total is made of.
var core = [...]procedure.Step{
	procedure.StepPick, procedure.StepSeat, procedure.StepStart, procedure.StepLog, procedure.StepCount, procedure.StepPull,
	procedure.StepLook, procedure.StepMark, procedure.StepBin,
}

// Total is the operator's time from pick to bin, in milliseconds. False: not every one of these steps was completed, or
// somebody else worked on it too. Receiving is left out, since it happens at another time, and so are the steps after
// the green bin, which not every roll has.
func (r *Run) Total() (int64, bool) {
	var sum int64
	for _, s := range core {
		if !r.Done[s] {
			return 0, false
		}
		sum += r.Hands[s]
	}
	return sum, !r.Shared
}

// Machine is the machine's time of the run in milliseconds.
func (r *Run) Machine() int64 { return r.Scan + r.Copy + r.Look + r.Erase }

// Kind is what a mark is about. The zero value is none.
type Kind uint8

// The kinds of mark, in the order in which a review lists them: what was not done as it should be first.
const (
	_ Kind = iota
	// Order: something was tried that was not due.
	Order
	// Misread: a label was read that is not this roll's.
	Misread
	// Miscount: files, size, tapes or book lines did not match.
	Miscount
	// Misseen: a sighted check had a wrong answer.
	Misseen
	// Over: a step went over its limit.
	Over
	// Unfit: an answer that was none of those asked for.
	Unfit
	// PutBack: left a critical step and began over.
	PutBack
	// Hold: the roll went on hold.
	Hold
	// Away: called away.
	Away
	// Misfit: the step as written could not be done.
	Misfit
	// CopyFailed: the copy did not come to a proof.
	CopyFailed
	// Happened: an incident of the drill began.
	Happened
	// Ended: the program ended in the middle of the run.
	Ended

	kinds
)

var kindWords = [kinds]string{
	Order: "out of order", Misread: "wrong label read", Miscount: "wrong count", Misseen: "wrong look", Over: "over a limit",
	Unfit: "no such answer", PutBack: "put back", Hold: "on hold", Away: "called away", Misfit: "does not fit",
	CopyFailed: "copy failed", Happened: "incident", Ended: "program ended",
}

// String is the kind in words.
func (k Kind) String() string {
	if k >= kinds || kindWords[k] == "" {
		return "unknown"
	}
	return kindWords[k]
}

// Errors lists the kinds that are the operator's own errors.
func Errors() []Kind { return []Kind{Order, Misread, Miscount, Misseen, Over, Unfit} }

// Notes lists the kinds that are no errors, but are counted: what happened, and what was done about it.
func Notes() []Kind { return []Kind{PutBack, Hold, Away, Misfit, CopyFailed, Ended} }

// Mark is one thing that happened besides the routine's own course.
type Mark struct {
	Kind Kind
	Step procedure.Step
	// Line is the line of the journal.
	Line int64
	// Text says more: the reason, what was tried. From outside; not safe to show as it is.
	Text string
	// Who worked.
	Who string
}

// Incident is what a drill did to the trainee, and what became of it.
type Incident struct {
	Kind, ID, Roll, Who string
	// Result is the verdict's word; empty when the drill had no end.
	Result string
	Why    string
	At     time.Time
}
