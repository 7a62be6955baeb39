package drill

import "twobin/procedure"

// Spec is one kind of incident: when it comes, how it shows itself, how it is judged, and what the debrief says.
type Spec struct {
	Kind Kind
	// Title is a few words for lists.
	Title string
	// Step and Moment say when it comes; As how: "phone, radio or a person", "a fact".
	Step   procedure.Step
	Moment string
	As     string
	// Right, Late, Wrong and Missed say what counts as such.
	Right, Late, Wrong, Missed string
	// Why it matters and what to Do are the debrief's words.
	Why, Do string

	judge judgment
}

// SpecOf gives a kind's data.
func SpecOf(k Kind) (Spec, bool) {
	for _, s := range Incidents() {
		if s.Kind == k {
			return s, true
		}
	}
	return Spec{}, false
}

// Incidents lists every kind of incident, in the order of the routine.
func Incidents() []Spec {
	return append(append(arriving(), copying()...), closing()...)
}

const aCall = "phone, radio or a person at the cart"

func arriving() []Spec {
	return []Spec{
		{
			Kind: Lacks, Title: "a card without tape or case", Step: procedure.StepReceive, Moment: "when it is handed over", As: "a fact",
			Right: "say what is lacking, ask, log it", Late: "asked or logged only after it was taken in", Wrong: "copied as if nothing was lacking, or nobody asked",
			Missed: "never taken in", Why: "Tape and case tell everybody on set what a card is. One that comes without them may be anybody's.",
			Do: "At the question where the card is: something is lacking. Write down what you hear.", judge: judgeLacks,
		},
		{
			Kind: Together, Title: "two rolls in one hand", Step: procedure.StepReceive, Moment: "when they are handed over", As: "a person",
			Right: "both into the red bin at once, the one that was shot first in front", Late: "the second one lay outside for minutes",
			Wrong: "the later one first, or one left outside the bin", Missed: "never taken in",
			Why: "What lies beside the bin is forgotten, and what waits at the bottom is copied last, if at all.",
			Do:  "Take in both before anything else, in the order in which they were shot.", judge: judgeTogether,
		},
		{
			Kind: Skip, Title: "a number is missing", Step: procedure.StepReceive, Moment: "when a later number comes", As: "a fact",
			Right: "ask for the missing roll, log what is said", Late: "logged later in a note", Wrong: "logged something that nobody said",
			Missed: "not asked", Why: "A number that does not come is a card that lies somewhere: in a pocket, in a camera, in a car.",
			Do: "Ask at once who has it and where it is. Write down the answer as you heard it.", judge: judgeSkip,
		},
		{
			Kind: Reused, Title: "a label that was used before", Step: procedure.StepReceive, Moment: "when it is handed over", As: "a fact",
			Right: "refuse, ask, take it in under the label you are told", Late: "does not apply", Wrong: "another label made up",
			Missed: "the card was left outside", Why: "Two rolls of one label overwrite each other in every list that is made of them.",
			Do: "Keep the card apart and ask who labelled it. Nobody at the cart invents a number.", judge: judgeReused,
		},
		{
			Kind: LabelDiffers, Title: "tape and card do not agree", Step: procedure.StepPick, Moment: "from the beginning", As: "a fact",
			Right: "hold, ask", Late: "does not apply", Wrong: "typed what was expected instead of what is written",
			Missed: "left lying", Why: "Tape on the wrong card is the commonest way to lose a roll: one is copied twice, the other never.",
			Do: "Read what is written, card first, then tape. If they differ: hold, and ask the camera department.", judge: judgeLabel,
		},
		{
			Kind: WrongSeat, Title: "another card in the reader", Step: procedure.StepSeat, Moment: "when the card goes in", As: "a fact",
			Right: "put back, find out", Late: "put back after the limit", Wrong: "started",
			Missed: "left in the reader", Why: "From here on everything carries the name on the tape: copies, log, book. Nobody would look for the other card.",
			Do: "Look at the card while it goes in. Not the one on the tape: card out, put back.", judge: judgeWrongSeat,
		},
		{
			Kind: CallStart, Title: "a call while seating or starting", Step: procedure.StepStart, Moment: "between tape and start", As: aCall,
			Right: "start within the limit without answering, or put back first", Late: "put back after answering, or after the limit",
			Wrong: "answered, then started", Missed: "left as it was",
			Why: "After a call nobody knows for sure which card is in the reader and whether it runs. Errors of order double after three seconds away.",
			Do:  "Let it ring: the start is one key away. Or put back, then answer.", judge: judgeCallStart,
		},
	}
}

func copying() []Spec {
	drive := "stop; another drive, or this one put right; copy again"
	return []Spec{
		{
			Kind: Unformatted, Title: "old clips on the card", Step: procedure.StepStart, Moment: "when the card is read", As: "a fact",
			Right: "copy all of it, and tell the camera department", Late: "told after the card was green", Wrong: "not copied",
			Missed: "nobody was told", Why: "A card that was not formatted fills up in the middle of a take, and its next roll is counted wrong.",
			Do: "Copy everything that is there. Tell the camera department, and write that you did.", judge: judgeUnformatted,
		},
		{
			Kind: Unreadable, Title: "the card cannot be read", Step: procedure.StepLog, Moment: "during the copy", As: "a fact",
			Right: "hold, another reader or cable, copy again", Late: "left for more than ten minutes", Wrong: "tried again with nothing changed",
			Missed: "never copied", Why: "Every further try wears a failing card. The reader or its cable is the cheaper guess.",
			Do: "Change reader and cable first, then one more copy. If it fails again: keep the card, ask.", judge: judgeDrive,
		},
		{
			Kind: BadCopy, Title: "a copy that differs", Step: procedure.StepLog, Moment: "at the read-back", As: "a fact",
			Right: "hold, another drive, copy again", Late: "left for more than ten minutes", Wrong: "copied again with nothing changed",
			Missed: "never proven", Why: "The drive said it had written; the bytes are others. What it did once it does again.",
			Do: "Leave the bad file where it is. Take another drive into use, then pick the roll again.", judge: judgeDrive,
		},
		{
			Kind: DriveFull, Title: "a full drive", Step: procedure.StepStart, Moment: "at the start", As: "a fact",
			Right: drive, Late: "left for more than ten minutes", Wrong: "tried again with nothing changed", Missed: "never proven",
			Why: "One copy is no copy: until both are proven the card is the only safe place.", Do: "Take another drive into use, or make room. Then pick the roll again.",
			judge: judgeDrive,
		},
		{
			Kind: DriveReadOnly, Title: "a drive that cannot be written", Step: procedure.StepStart, Moment: "at the start", As: "a fact",
			Right: drive, Late: "left for more than ten minutes", Wrong: "tried again with nothing changed", Missed: "never proven",
			Why: "A drive goes read-only when its file system is damaged or its switch is set. Neither mends itself.", Do: "Take another drive into use. Then pick the roll again.",
			judge: judgeDrive,
		},
		{
			Kind: DriveGone, Title: "a drive drops off", Step: procedure.StepLog, Moment: "during the copy", As: "a fact",
			Right: drive, Late: "left for more than ten minutes", Wrong: "tried again with nothing changed", Missed: "never proven",
			Why: "What was half written proves nothing. The program looks at every file again when the drive is back.", Do: "Another cable, or another drive. Then pick the roll again.",
			judge: judgeDrive,
		},
		{
			Kind: PowerCut, Title: "the power fails", Step: procedure.StepLog, Moment: "during the copy", As: "the program ends",
			Right: "start the program again and pick the roll that it names", Late: "left for more than ten minutes, or on hold", Wrong: "another roll first",
			Missed: "never taken up again", Why: "Nobody saw what happened in the dark. The roll is due again from the pick; what is on the drives is proven anew.",
			Do: "Start the program again. It says which roll is first in line.", judge: judgePower,
		},
	}
}

func closing() []Spec {
	return []Spec{
		{
			Kind: Wanted, Title: "somebody wants the card", Step: procedure.StepLog, Moment: "before it is green", As: "a person or the radio",
			Right: "refuse; the card stays until it is green", Late: "kept, but it lay on the desk too long", Wrong: "handed over",
			Missed: "left as it was", Why: "Before green tape the card may be the only copy. A camera that waits costs minutes, a lost roll a day.",
			Do: "Say how long it takes. Go on.", judge: judgeWanted,
		},
		{
			Kind: CallDesk, Title: "a call while a card lies on the desk", Step: procedure.StepLook, Moment: "after the card was pulled", As: aCall,
			Right: "look, mark, bin; then answer", Late: "finished first, but over the desk limit", Wrong: "answered or went away first",
			Missed: "left on the desk", Why: "A card on the desk is neither red nor green. Whoever comes by may take it for either.",
			Do: "The last three steps take a minute. Finish, then answer.", judge: judgeCallDesk,
		},
		{
			Kind: NoFolder, Title: "the folder is not there", Step: procedure.StepLook, Moment: "when you open the drive", As: "a fact",
			Right: "hold", Late: "on hold after the desk limit", Wrong: "answered from the other drive or from memory",
			Missed: "left on the desk", Why: "The hashes were right, and yet the roll is not where everybody will look for it. Only eyes find that.",
			Do: "Open every drive. What is not there is not there: hold, then copy again.", judge: judgeNoFolder,
		},
		{
			Kind: WrongErase, Title: "another card for the erase", Step: procedure.StepReseat, Moment: "when the card goes in", As: "a fact",
			Right: "put back", Late: "put back after a second look", Wrong: "looked again and again",
			Missed: "left in the reader", Why: "The lock is closed because this is not the card that was proven.",
			Do: "Card out, put back. Read the number on the card, take the right one.", judge: judgeWrongErase,
		},
		{
			Kind: NewTake, Title: "one more take on the card", Step: procedure.StepReseat, Moment: "when the card is seated again", As: "a fact",
			Right: "hold, at once or after put back; ask; copy it again, or take it in as the new roll that it is", Late: "does not apply", Wrong: "looked again and again, or handed back",
			Missed: "left in the green bin", Why: "That take exists on this card and nowhere else.",
			Do: "The lock says what is new. Red tape on, hold, ask. The same roll: copy it again. A roll of its own: take it in as such.", judge: judgeNewTake,
		},
		{
			Kind: CallErase, Title: "a distraction at the erase", Step: procedure.StepErase, Moment: "at the label", As: aCall,
			Right: "put back", Late: "put back after answering", Wrong: "erased",
			Missed: "left as it was", Why: "This step alone cannot be undone. Half a mind is not enough for it.",
			Do: "Put back, answer, begin again with the fresh look.", judge: judgeCallErase,
		},
	}
}
