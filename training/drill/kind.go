package drill

// Kind is a kind of incident; the value is its name in the journal.
type Kind string

// The kinds of incident.
const (
	// CallStart: a call or a person during seating or starting.
	CallStart Kind = "call-start"
	// LabelDiffers: tape and card do not say the same.
	LabelDiffers Kind = "label-differs"
	// Lacks: a card comes without tape or without its case.
	Lacks Kind = "lacks"
	// Together: two rolls arrive in one hand.
	Together Kind = "together"
	// Skip: a number has not come in.
	Skip Kind = "number-skipped"
	// Reused: a label that was used before.
	Reused Kind = "label-reused"
	// Unformatted: old clips plus new ones.
	Unformatted Kind = "not-formatted"
	// WrongSeat: a different card in the reader than the tape says.
	WrongSeat Kind = "wrong-card"
	// BadCopy: one destination's copy differs from the card.
	BadCopy Kind = "bad-copy"
	// DriveFull: a drive fills up.
	DriveFull Kind = "drive-full"
	// DriveGone: a drive drops off mid-copy.
	DriveGone Kind = "drive-gone"
	// DriveReadOnly: a drive is mounted read-only.
	DriveReadOnly Kind = "drive-read-only"
	// Unreadable: the card cannot be read with this reader.
	Unreadable Kind = "card-unreadable"
	// NoFolder: a destination lacks the roll's folder at the look.
	NoFolder Kind = "folder-missing"
	// Wanted: somebody wants the card before it is green.
	Wanted Kind = "card-wanted"
	// CallDesk: a call while the card lies on the desk.
	CallDesk Kind = "call-desk"
	// NewTake: one more take was shot on the card after its offload.
	NewTake Kind = "new-take"
	// WrongErase: another card is seated for the erase.
	WrongErase Kind = "wrong-card-erase"
	// CallErase: a distraction at the erase.
	CallErase Kind = "call-erase"
	// PowerCut: the program ends during the copy.
	PowerCut Kind = "power-cut"
)

// Kinds lists every kind, in the order of the routine.
func Kinds() []Kind {
	return []Kind{
		Lacks, Together, Skip, Reused, LabelDiffers, WrongSeat, CallStart, Unformatted, Unreadable, BadCopy, DriveFull,
		DriveReadOnly, DriveGone, PowerCut, Wanted, CallDesk, NoFolder, WrongErase, NewTake, CallErase,
	}
}
