package procedure

import (
	"time"

	"twobin/guard"
)

// PromptKind is how a prompt is answered. The zero value is invalid.
type PromptKind int

// The kinds of prompt.
const (
	_ PromptKind = iota
	// PromptText takes a line of text.
	PromptText
	// PromptChoice takes one of the options, by its key alone.
	PromptChoice
	// PromptErase takes the label typed, then the erase key (ctrl+e; in plain mode the line "erase LABEL"). Used once
	// in the whole program.
	PromptErase
)

// Option is one answer of a choice: its key and, in words, what is then true or done.
type Option struct {
	Key  string // one lower-case letter or digit
	Text string
}

// Prompt is what the operator is asked now. Screens and plain mode show it and send an [Answer] with its ID.
type Prompt struct {
	// ID is the prompt's name, "pick.card". Stable: scripts and the journal use it.
	ID   string
	Kind PromptKind
	// Question is one line, at most 76 columns where it can be.
	Question string
	Options  []Option
	// Default is the answer of an empty line, shown in brackets; only where a default does no harm.
	Default string
	// Hide: the screen must not show labels or figures that answer the question (the strip hides labels too).
	Hide bool
	// Seq tells two prompts with one ID apart: an answer to an older Seq is dropped.
	Seq int
}

// Notice is a message to the operator: what happened, what is safe, what to do now. Any part may be empty.
type Notice struct {
	// Grade: "info", "look" (something to decide) or "stop" (something went wrong).
	Grade string
	What  string
	Safe  string
	Do    string
	// Cause is the technical cause, one key away and in the log.
	Cause string
	// passing: it is about one answer, and goes with the next.
	passing bool
	// lasting: it is shown until it is dismissed, although an answer brought it about.
	lasting bool
	// camera: it asks the camera department something, and has no place in a critical step.
	camera bool
	// lock: it is a verdict of the lock, and goes when the card does.
	lock bool
	// held is the roll of which it says that it went on hold; it goes when that roll is taken up.
	held Label
	// missing is the destination of which it says that it is not at its place; it goes when that is back.
	missing string
	// nr tells it from an earlier one with the same words: what happens twice is said twice.
	nr uint64
}

// Strip mirrors the desk, from left to right. Labels are in order, first in line first.
type Strip struct {
	Red    []Label // without rolls on hold
	Held   []Label
	Hand   Label
	Reader Label
	// ReaderNote says in words what the reader does: "empty", "copying", "card out".
	ReaderNote string
	Desk       []Label
	Green      []Label
}

// StepView is the step on the screen.
type StepView struct {
	Step     Step
	ID       string
	Number   int
	Title    string
	Critical bool
	Roll     Label
	Camera   Camera
	Colour   string
	Hands    []string
	Brief    string
	Why      string
	// Next is the title of the step after this one, for "you are at X, next is Y".
	Next string
	// Mark is the word for the step's state: "due", "under way", "waiting".
	Mark string
}

// Clock is a time that runs for the operator.
type Clock struct {
	Name  string // "start", "desk", "look"
	Since time.Duration
	Limit time.Duration
	Over  bool
}

// DestView is one destination's part of a running copy.
type DestView struct {
	Name    string
	Written int64 // bytes
	Read    int64 // bytes read back
	// PerSecond is bytes written and read back a second so far; Left is until this destination is proven.
	PerSecond int64
	Left      time.Duration
	LeftKnown bool
	Fault     string
	Gone      bool
	Free      int64
	FreeText  string
}

// CopyView is the running copy.
type CopyView struct {
	Roll      Label
	Phase     string // "copying", "reading back", "proven", "failed"
	Files     int
	FilesDone int
	Bytes     int64
	Done      int64 // bytes read from the card
	PerSecond int64 // bytes a second, smoothed
	Left      time.Duration
	LeftKnown bool
	Dests     []DestView
}

// BoardLine is one roll on the board.
type BoardLine struct {
	Label Label
	Place Place
	// Since is when it came to its place (wall clock, for people).
	Since time.Time
	Next  string // title of the next step, empty for none
	Held  string // why it is on hold, empty if it is not
}

// View is everything that a screen shows, as a value. A screen adds nothing and decides nothing.
type View struct {
	// Drill is the drill's name; empty in a shift. The word DRILL then stands on every screen and line.
	Drill      string
	Production string
	Day        int
	Station    string
	Operator   string
	Strip      Strip
	Step       StepView
	// Brief: one line a step.
	Brief  bool
	Prompt *Prompt
	// Notices are current, newest last.
	Notices []Notice
	// Shown are figures that are shown once, to be written into the book, one a line.
	Shown []string
	// Amiss lists what does not add up, one line each, while the close asks what to do about it.
	Amiss []string
	Copy  *CopyView
	// Clocks that run now.
	Clocks []Clock
	// Lock is the verdict at the erase step, one condition a line.
	Lock []guard.Condition
	// EraseText says what will be gone, where the copies are and what is left after it, at the erase prompt.
	EraseText []string
	// Working names machine work that is waited for ("reading the card", "looking afresh"); empty for none.
	Working string
	// Busy: machine work is under way (a scan, a copy, a look, an erase).
	Busy bool
	// Away: the operator was called away; the screen is frozen.
	Away     bool
	AwayText []string
	// World is what the trainee sees and hears in a drill (a card in the hand, somebody at the cart, the radio), one
	// line each; empty in a shift. It is the simulated outside, not the program, and may hold labels even when Hide.
	World []string
	// Reason is why the step is there, for a trainee with full coaching; empty otherwise.
	Reason string
	// Notes that are open.
	Notes []Note
	// Board has every roll, in order of arrival; Missing the numbers that have not come in.
	Board   []BoardLine
	Missing []Label
	// Bell: "done" or "fault" when it should sound once; BellSeq tells one ring from the next.
	Bell    string
	BellSeq int
	// Commands that make sense now, by their plain-mode word.
	Commands []string
	// Ended: the shift is closed or left; the screen may go. Code is the closing code after a close.
	Ended  bool
	Code   string
	Closed bool
}

// Intent is what a person wants: an answer, or a command.
type Intent interface{ intent() }

// The intents. Each is refused when it does not fit; the reason comes back as an error and as a notice.
type (
	// Answer answers the prompt ID with Seq.
	Answer struct {
		ID   string
		Seq  int
		Text string
	}
	// DoPutBack leaves a critical step; DoHold puts the roll of the lane (or Roll) on hold.
	DoPutBack struct{ Reason string }
	DoHold    struct {
		Roll   Label
		Reason string
	}
	// DoNote pins a note to the roll under way, or to what its first word names (a label, or a camera as "B:").
	DoNote     struct{ Text string }
	DoNoteDone struct{ ID int }
	// DoArrived logs a new arrival.
	DoArrived struct{ Label string }
	// DoAway and DoBack bracket an interruption.
	DoAway   struct{}
	DoBack   struct{}
	DoMisfit struct{ Text string }
	// DoOperator: somebody takes over by name.
	DoOperator struct{ Name string }
	// DoDestination adds a destination; DoDrop takes one out of use.
	DoDestination struct{ Path string }
	DoDrop        struct{ Name string }
	// DoCamera adds a camera: letter and colour.
	DoCamera struct{ Text string }
	// DoDismiss clears the notices.
	DoDismiss struct{}
	// DoAct is what the trainee does in a drill's world besides the routine ("answer" the phone, "open" a drive). A
	// shift has no such thing.
	DoAct struct{ Text string }
	// DoClose begins the close of the shift.
	DoClose struct{}
	// DoQuit leaves the program; the shift stays open.
	DoQuit struct{}
)

func (Answer) intent()        {}
func (DoPutBack) intent()     {}
func (DoHold) intent()        {}
func (DoNote) intent()        {}
func (DoNoteDone) intent()    {}
func (DoArrived) intent()     {}
func (DoAway) intent()        {}
func (DoBack) intent()        {}
func (DoMisfit) intent()      {}
func (DoOperator) intent()    {}
func (DoDestination) intent() {}
func (DoDrop) intent()        {}
func (DoCamera) intent()      {}
func (DoDismiss) intent()     {}
func (DoAct) intent()         {}
func (DoClose) intent()       {}
func (DoQuit) intent()        {}
