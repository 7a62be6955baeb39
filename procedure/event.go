package procedure

import (
	"time"

	"twobin/guard"
	"twobin/procedure/journal"
)

// Moment is a point in time as the journal has it. Durations come from Mono, which only counts within one run of the
// program; Wall is for people.
type Moment struct {
	Wall time.Time
	Run  int
	Mono time.Duration
}

// Since is the time from a to m. Within one run it is monotonic and trusted; across runs it is the difference of
// wall clocks, never negative, and not trusted.
func (m Moment) Since(a Moment) (d time.Duration, trusted bool) {
	if m.Run == a.Run {
		return m.Mono - a.Mono, true
	}
	return max(0, m.Wall.Sub(a.Wall)), false
}

// Entry is one event with its circumstances: a line of the journal, decoded.
type Entry struct {
	At       Moment
	Station  string
	Lane     int
	Operator string
	Roll     Label
	Event    Event
}

// Event is something that happened. Every event is one of the types in this file.
type Event interface {
	// Name is the event's name in the journal. Names are never reused for another meaning.
	Name() string
}

// Answered is part of every event that a person's answer brought about: the id of the prompt and how long the answer
// took from the moment it could be given, in milliseconds. This is the operator's time; the machine's is not in it.
type Answered struct {
	Prompt string `json:"prompt,omitempty"`
	TookMS int64  `json:"took_ms,omitempty"`
}

// Destination is a place where copies go, as chosen at set-up.
type Destination struct {
	Name   string       `json:"name"`
	Path   string       `json:"path"`
	Volume guard.Volume `json:"volume"`
}

// CopyNote is one destination's result in the journal; the whole proof stands in the proof file.
type CopyNote struct {
	Name    string `json:"name"`
	Path    string `json:"path"`
	Folder  string `json:"folder"`
	Proven  bool   `json:"proven"`
	Honesty string `json:"honesty,omitempty"`
	Fault   string `json:"fault,omitempty"`
}

// StandNote is what the last look found on one destination. Seen false: it was not there to be looked at, or went away
// meanwhile, and Why says so; what was found before that is kept. Rolls counts those whose copy stands there whole;
// Points names the others. More is only in older journals, which named twenty: how many others there were.
type StandNote struct {
	Dest   string       `json:"dest"`
	Seen   bool         `json:"seen"`
	Why    string       `json:"why,omitempty"`
	Rolls  int          `json:"rolls"`
	Points []StandPoint `json:"points,omitempty"`
	More   int          `json:"more,omitempty"`
}

// StandPoint is a roll whose copy is not as it was proven.
type StandPoint struct {
	Roll Label  `json:"roll"`
	Why  string `json:"why"`
}

// Fault is a guard error in the journal.
type Fault struct {
	Op   string `json:"op,omitempty"`
	Item string `json:"item,omitempty"`
	Path string `json:"path,omitempty"`
	Kind string `json:"kind"`
	Need int64  `json:"need,omitempty"`
	Text string `json:"text,omitempty"`
}

// Earlier says how many files of a card belong to a roll that was proven before.
type Earlier struct {
	Roll  Label `json:"roll"`
	Files int   `json:"files"`
	All   bool  `json:"all,omitempty"`
}

// The events, in the order in which a shift meets them.
type (
	// ShiftOpened begins every journal of a shift.
	ShiftOpened struct {
		Production string `json:"production"`
		Day        int    `json:"day"`
		Date       string `json:"date"`
		Station    string `json:"station"`
		Operator   string `json:"operator"`
		// Drill names the drill; empty for a shift.
		Drill  string     `json:"drill,omitempty"`
		Seed   int64      `json:"seed,omitempty"`
		Coach  string     `json:"coach,omitempty"`
		Policy PolicyNote `json:"policy"`
		Known  []Label    `json:"known,omitempty"`
		Tool   string     `json:"tool,omitempty"`
	}
	// RunBegan is the journal's own first line of every run of the program.
	RunBegan struct{ journal.OpenedData }
	// CameraSet gives a camera its tape colour.
	CameraSet struct {
		Answered
		Camera Camera `json:"camera"`
		Colour string `json:"colour"`
	}
	// MarkingAgreed is how full cards are marked, agreed with the camera department.
	MarkingAgreed struct {
		Answered
		Text string `json:"text"`
	}
	// KitChecked and BinsPlaced are set-up checks that only hands and eyes can do.
	KitChecked struct {
		Answered
		Missing string `json:"missing,omitempty"`
	}
	BinsPlaced struct{ Answered }
	// DestinationSet adds a destination that was probed; DestinationDropped takes one out of use.
	DestinationSet struct {
		Answered
		Destination
	}
	DestinationDropped struct {
		Answered
		Dest   string `json:"dest"`
		Reason string `json:"reason,omitempty"`
	}
	// SetUpDone ends the set-up.
	SetUpDone struct{ Answered }
	// OperatorChanged: somebody takes over by name.
	OperatorChanged struct {
		Answered
		From string `json:"from"`
		To   string `json:"to"`
	}

	// RollReceived: step receive.
	RollReceived struct {
		Answered
		From  string  `json:"from,omitempty"`
		Lacks string  `json:"lacks,omitempty"`
		Skips []Label `json:"skips,omitempty"`
		// Colour is the camera's tape colour, for the sheet.
		Colour string `json:"colour,omitempty"`
	}
	// GapAsked is what was answered when a missing number was asked for.
	GapAsked struct {
		Answered
		Missing []Label `json:"missing"`
		Answer  string  `json:"answer"`
	}
	// RollPicked: taken out of the red bin; Pass counts from 1.
	RollPicked struct {
		Answered
		Pass int `json:"pass"`
	}
	// LabelRead is one reading of the label; Where is "card" or "tape".
	LabelRead struct {
		Answered
		Where string `json:"where"`
		Read  string `json:"read"`
		Right bool   `json:"right"`
	}
	// TapeMoved: the tape is on the reader.
	TapeMoved struct{ Answered }
	// CardSeated: a volume appeared in the lane's reader; CardScanned: what it holds. ScanMS is machine time.
	CardSeated struct {
		Volume guard.Volume `json:"volume"`
	}
	CardScanned struct {
		Files   int       `json:"files"`
		Bytes   int64     `json:"bytes"`
		Digest  string    `json:"digest"`
		ScanMS  int64     `json:"scan_ms"`
		Earlier []Earlier `json:"earlier,omitempty"`
		// Before are rolls that this card carried before.
		Before []Label `json:"before,omitempty"`
		Odd    int     `json:"odd,omitempty"`
	}
	// CardGone: the volume is no longer there.
	CardGone struct {
		Volume guard.Volume `json:"volume"`
	}
	// CopyBegan: the one key of step start.
	CopyBegan struct {
		Answered
		To []string `json:"to"`
	}
	// CopyProven: every destination that counts is proven. Proof is the SHA-256 of the proof file.
	CopyProven struct {
		Proof  string     `json:"proof"`
		Files  int        `json:"files"`
		Bytes  int64      `json:"bytes"`
		Copies []CopyNote `json:"copies"`
		CopyMS int64      `json:"copy_ms"`
	}
	// CopyFailed: no proof, or fewer proven copies than policy asks for.
	CopyFailed struct {
		Faults []Fault    `json:"faults"`
		Copies []CopyNote `json:"copies,omitempty"`
		CopyMS int64      `json:"copy_ms"`
	}
	// CopyAdded: a further copy was made from a proven one and proven itself. Proof is the SHA-256 of the proof file
	// that has the old copies and the new ones; Copies are the new ones.
	CopyAdded struct {
		Proof  string     `json:"proof"`
		Copies []CopyNote `json:"copies"`
	}
	// RollLogged: step log.
	RollLogged struct {
		Answered
		Serial string `json:"serial,omitempty"`
		Notes  string `json:"notes,omitempty"`
	}
	// CountShown: the figures were shown, once; CountRead: what the book says.
	CountShown struct {
		Answered
		Files int   `json:"files"`
		Bytes int64 `json:"bytes"`
	}
	CountRead struct {
		Answered
		What  string `json:"what"`
		Read  string `json:"read"`
		Right bool   `json:"right"`
	}
	// CardPulled: the card lies on the desk.
	CardPulled struct{ Answered }
	// DestLooked: one sighted check.
	DestLooked struct {
		Answered
		Dest     string `json:"dest"`
		Question string `json:"question"`
		Answer   string `json:"answer"`
		Right    bool   `json:"right"`
	}
	// RollMarked and RollBinned: green tape is on; it is in the green bin and its tape is kept.
	RollMarked struct{ Answered }
	RollBinned struct{ Answered }
	// RollTaken: a roll is taken out of the green bin, For "erase" or "return".
	RollTaken struct {
		Answered
		For string `json:"for"`
	}
	// RollReseated: the operator says that the card is in the reader again, for the erase.
	RollReseated struct{ Answered }
	// LockLooked is a verdict on a fresh look.
	LockLooked struct {
		Open       bool              `json:"open"`
		Conditions []guard.Condition `json:"conditions"`
		LookMS     int64             `json:"look_ms"`
	}
	// EraseBegan: the label was typed. Appended before the first removal.
	EraseBegan struct{ Answered }
	// EraseDone: everything proven is removed and the card shows empty.
	EraseDone struct {
		Files  int   `json:"files"`
		Bytes  int64 `json:"bytes"`
		TookMS int64 `json:"erase_ms"`
	}
	// EraseStopped: some or all files are still there. Doubtful is the file, one of those Left, whose removal did not return,
	// so that it may be gone; empty for none.
	EraseStopped struct {
		Removed  int    `json:"removed"`
		Left     int    `json:"left"`
		Reason   string `json:"reason"`
		Doubtful string `json:"doubtful,omitempty"`
	}
	// RollReturned: handed back.
	RollReturned struct {
		Answered
		To string `json:"to"`
	}

	// PutBack leaves a critical step; the roll goes back to where it was.
	PutBack struct {
		Answered
		Step   string `json:"step"`
		Reason string `json:"reason,omitempty"`
	}
	// RollHeld: something is wrong with this roll. By is "operator" or "program".
	RollHeld struct {
		Answered
		Step   string `json:"step"`
		Reason string `json:"reason"`
		By     string `json:"by"`
	}
	// AwayBegan and AwayEnded bracket the key "called away".
	AwayBegan struct {
		Step string `json:"step"`
	}
	AwayEnded struct {
		Step   string `json:"step"`
		AwayMS int64  `json:"away_ms"`
	}
	// Misfit: the step as written cannot be done here.
	Misfit struct {
		Step string `json:"step"`
		Text string `json:"text"`
	}
	// NoteMade: a note on the shift, a roll (Entry.Roll) or a camera. NoteDone closes it by its number.
	NoteMade struct {
		ID     int    `json:"id"`
		Camera Camera `json:"camera,omitempty"`
		Text   string `json:"text"`
	}
	NoteDone struct {
		ID int `json:"id"`
	}
	// Refused: something was tried out of its order or with a wrong answer.
	Refused struct {
		Asked string `json:"asked"`
		Due   string `json:"due"`
		Why   string `json:"why"`
	}
	// StrayVolume: a volume appeared when no seat step was due. Never touched.
	StrayVolume struct {
		Volume guard.Volume `json:"volume"`
	}
	// DestGone and DestBack: a destination's volume went away or came back.
	DestGone struct {
		Dest string `json:"dest"`
	}
	DestBack struct {
		Dest string `json:"dest"`
	}
	// TooLate: a step went over its limit ("start", "desk", "erase").
	TooLate struct {
		Step    string `json:"step"`
		LimitMS int64  `json:"limit_ms"`
	}
	// ClockJumped is the journal's own note that wall clock and monotonic clock moved apart.
	ClockJumped struct{ journal.JumpedData }
	// Incident: a drill did something to the trainee. IncidentScored is what became of it.
	Incident struct {
		Kind string `json:"kind"`
		ID   string `json:"id"`
		Text string `json:"text,omitempty"`
	}
	IncidentScored struct {
		Kind   string `json:"kind"`
		ID     string `json:"id"`
		Result string `json:"result"`
		Why    string `json:"why,omitempty"`
	}

	// CloseBegan, TapesCounted, BookCounted, CopiesLooked, SheetWritten, ShiftClosed and CodeRead are the close of the shift.
	CloseBegan   struct{ Answered }
	TapesCounted struct {
		Answered
		Counted int  `json:"counted"`
		Want    int  `json:"want"`
		Right   bool `json:"right"`
	}
	BookCounted struct {
		Answered
		Counted int  `json:"counted"`
		Want    int  `json:"want"`
		Right   bool `json:"right"`
	}
	// CloseLeft: back to work from the close.
	CloseLeft struct{ Answered }
	// CopiesLooked is the last look at the copies, at the close: every destination in use, and whether the copies of the
	// proven rolls (Rolls of them) stand there with their names and sizes. LookMS is machine time.
	CopiesLooked struct {
		Rolls  int         `json:"rolls"`
		Dests  []StandNote `json:"dests"`
		LookMS int64       `json:"look_ms"`
	}
	// SheetWritten: the log sheet of the close. Fault says why it, or a part of it, could not be written.
	SheetWritten struct {
		Files []string `json:"files,omitempty"`
		Fault string   `json:"fault,omitempty"`
	}
	// ShiftClosed is the last event; its line's code is the closing code. Open lists what does not add up.
	ShiftClosed struct {
		Answered
		Open []string `json:"open,omitempty"`
	}
	// CodeRead is what was typed back from the book after the close.
	CodeRead struct {
		Answered
		Right bool `json:"right"`
	}
)

// prototypes has one value of every event; it is the table of names for reading and for the documents.
var prototypes = []Event{
	ShiftOpened{}, RunBegan{}, CameraSet{}, MarkingAgreed{}, KitChecked{}, BinsPlaced{}, DestinationSet{},
	DestinationDropped{}, SetUpDone{}, OperatorChanged{}, RollReceived{}, GapAsked{}, RollPicked{}, LabelRead{},
	TapeMoved{}, CardSeated{}, CardScanned{}, CardGone{}, CopyBegan{}, CopyProven{}, CopyFailed{}, CopyAdded{}, RollLogged{},
	CountShown{}, CountRead{}, CardPulled{}, DestLooked{}, RollMarked{}, RollBinned{}, RollTaken{}, RollReseated{}, LockLooked{},
	EraseBegan{}, EraseDone{}, EraseStopped{}, RollReturned{}, PutBack{}, RollHeld{}, AwayBegan{}, AwayEnded{},
	Misfit{}, NoteMade{}, NoteDone{}, Refused{}, StrayVolume{}, DestGone{}, DestBack{}, TooLate{}, ClockJumped{},
	Incident{}, IncidentScored{}, CloseBegan{}, TapesCounted{}, BookCounted{}, CloseLeft{}, CopiesLooked{},
	SheetWritten{}, ShiftClosed{}, CodeRead{},
}

// Events lists a zero value of every event, in the order of this file.
func Events() []Event { return append([]Event(nil), prototypes...) }
