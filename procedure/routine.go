package procedure

// Step is one step of the routine. The zero value is no step. The order of the constants is the order of the routine.
type Step int

// The steps, always in this order.
const (
	StepNone Step = iota
	StepReceive
	StepPick
	StepSeat
	StepStart
	StepLog
	StepCount
	StepPull
	StepLook
	StepMark
	StepBin
	StepReseat
	StepErase
	StepReturn
	stepEnd
)

// Spec is what the program knows of a step: the same data drives the screens, plain mode, drills and the printed card.
type Spec struct {
	Step Step
	// ID is the step's name in prompts, the journal and the review.
	ID string
	// Title is one or two words for the head of the screen.
	Title string
	// Critical: the step needs undivided attention and takes the whole screen.
	Critical bool
	// Optional: may be left out for a roll (the card is then formatted in the camera only).
	Optional bool
	// Hands is what the hands do, in short lines. Brief is the same in one line.
	Hands []string
	Brief string
	// Why is the reason, one key away.
	Why string
}

// Routine lists the steps in order. It is never changed while the program runs.
func Routine() []Spec { return routine[:] }

// Spec gives a step's data; the zero Spec for no step.
func (s Step) Spec() Spec {
	if s <= StepNone || s >= stepEnd {
		return Spec{}
	}
	return routine[s-1]
}

// String is the step's id.
func (s Step) String() string {
	if s <= StepNone || s >= stepEnd {
		return "none"
	}
	return routine[s-1].ID
}

// Number is the step's place in the routine, from 1; 0 for no step.
func (s Step) Number() int {
	if s <= StepNone || s >= stepEnd {
		return 0
	}
	return int(s)
}

// Critical says whether the step needs undivided attention.
func (s Step) Critical() bool { return s.Spec().Critical }

// StepByID finds a step by its id.
func StepByID(id string) (Step, bool) {
	for i := range routine {
		if routine[i].ID == id {
			return routine[i].Step, true
		}
	}
	return StepNone, false
}

var routine = [...]Spec{
	{
		Step: StepReceive, ID: "receive", Title: "Receive",
		Hands: []string{"Take the card in its case.", "Read the label on its tape.", "Into the red bin, at the back."},
		Brief: "Read the label, card into the red bin.",
		Why:   "A card that is written down the moment it comes in cannot get lost between set and cart. The red bin says: this is the only copy.",
	},
	{
		Step: StepPick, ID: "pick", Title: "Pick",
		Hands: []string{"Take the first roll out of the red bin.", "Read its label from the card, then from the tape."},
		Brief: "First roll out of the red bin; read card, then tape.",
		Why:   "First in, first out: nothing waits forgotten at the bottom. Two separate readings catch tape that was put on the wrong card, while that can still be put right.",
	},
	{
		Step: StepSeat, ID: "seat", Title: "Seat", Critical: true,
		Hands: []string{"Tape off the card, onto the reader.", "Card into the reader, at once."},
		Brief: "Tape onto the reader, card in at once.",
		Why:   "The tape on the reader is the card's name while it is in there. Between tape and start a card has no name of its own: no gap, no talk, no phone.",
	},
	{
		Step: StepStart, ID: "start", Title: "Start", Critical: true,
		Hands: []string{"Start the copy now."},
		Brief: "Start the copy now.",
		Why:   "A card that sits in a reader looks as if it were being copied. Only a copy that runs makes that true. Disturbed? Put back, and begin again.",
	},
	{
		Step: StepLog, ID: "log", Title: "Log",
		Hands: []string{"Fill in the log while it copies.", "Serial number from the card's sticker, notes from the camera department."},
		Brief: "Serial number and notes into the log.",
		Why:   "The log is post's way back to the card. While the copy runs your hands are free; later they will not be.",
	},
	{
		Step: StepCount, ID: "count", Title: "Count",
		Hands: []string{"Write files and size into the book.", "Then read them back from the book."},
		Brief: "Files and size into the book, then read them back.",
		Why:   "The paper book survives a broken computer. A figure read back from the page is one that really stands there.",
	},
	{
		Step: StepPull, ID: "pull", Title: "Pull",
		Hands: []string{"Eject the card.", "Pull it out of the reader.", "Lay it on the desk, nowhere else."},
		Brief: "Eject, pull, onto the desk.",
		Why:   "A card on the desk has one meaning: copied, not looked at yet. It must not lie there long, and must not lie anywhere else.",
	},
	{
		Step: StepLook, ID: "look", Title: "Look",
		Hands: []string{"Open the roll on each drive, with a file browser.", "Look at what is there, then answer."},
		Brief: "Open each drive, look, answer.",
		Why:   "Equal hashes say that the bytes are right. Your eyes say that the right folder is on the right drive. Two looks by different means miss less than one.",
	},
	{
		Step: StepMark, ID: "mark", Title: "Mark",
		Hands: []string{"Wipe the label off the card.", "Green tape on."},
		Brief: "Label off, green tape on.",
		Why:   "Green tape is the only sign on set that a card may be recorded over. It goes on after the look, never before.",
	},
	{
		Step: StepBin, ID: "bin", Title: "Bin",
		Hands: []string{"Card into the green bin.", "Tape with the label off the reader and into your book: it is kept."},
		Brief: "Card into the green bin; keep the tape.",
		Why:   "The last small step is the one that gets forgotten. A card left on the desk is neither red nor green. The kept tapes are counted at the close.",
	},
	{
		Step: StepReseat, ID: "reseat", Title: "Seat again", Critical: true, Optional: true,
		Hands: []string{"Take the card from the green bin.", "Into the reader again."},
		Brief: "Card from the green bin into the reader.",
		Why:   "The erase begins with a fresh look: is it this card, does it hold what was proven and nothing more, are the copies there now? What was true an hour ago does not count.",
	},
	{
		Step: StepErase, ID: "erase", Title: "Erase", Critical: true, Optional: true,
		Hands: []string{"Read the label from the tape you kept.", "Type it."},
		Brief: "Type the label from the kept tape.",
		Why:   "This cannot be undone. Typing the label makes you look once more at what will be gone. Not sure? Put back: formatting in the camera does the same later.",
	},
	{
		Step: StepReturn, ID: "return", Title: "Return",
		Hands: []string{"Card out of the reader if it is in there.", "Hand it back to the camera department."},
		Brief: "Hand the card back.",
		Why:   "A card comes back to the camera that it belongs to, and is formatted there: the camera that will record on it makes the file system it likes.",
	},
}
