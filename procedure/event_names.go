package procedure

import "twobin/procedure/journal"

// Name implements Event.
func (ShiftOpened) Name() string { return "shift.opened" }

// Name implements Event.
func (RunBegan) Name() string { return journal.EventOpened }

// Name implements Event.
func (CameraSet) Name() string { return "setup.camera" }

// Name implements Event.
func (MarkingAgreed) Name() string { return "setup.marking" }

// Name implements Event.
func (KitChecked) Name() string { return "setup.kit" }

// Name implements Event.
func (BinsPlaced) Name() string { return "setup.bins" }

// Name implements Event.
func (DestinationSet) Name() string { return "setup.destination" }

// Name implements Event.
func (DestinationDropped) Name() string { return "setup.dropped" }

// Name implements Event.
func (SetUpDone) Name() string { return "setup.done" }

// Name implements Event.
func (OperatorChanged) Name() string { return "operator.changed" }

// Name implements Event.
func (RollReceived) Name() string { return "roll.received" }

// Name implements Event.
func (GapAsked) Name() string { return "gap.asked" }

// Name implements Event.
func (RollPicked) Name() string { return "roll.picked" }

// Name implements Event.
func (LabelRead) Name() string { return "label.read" }

// Name implements Event.
func (TapeMoved) Name() string { return "tape.moved" }

// Name implements Event.
func (CardSeated) Name() string { return "card.seated" }

// Name implements Event.
func (CardScanned) Name() string { return "card.scanned" }

// Name implements Event.
func (CardGone) Name() string { return "card.gone" }

// Name implements Event.
func (CopyBegan) Name() string { return "copy.began" }

// Name implements Event.
func (CopyProven) Name() string { return "copy.proven" }

// Name implements Event.
func (CopyFailed) Name() string { return "copy.failed" }

// Name implements Event.
func (CopyAdded) Name() string { return "copy.added" }

// Name implements Event.
func (RollLogged) Name() string { return "roll.logged" }

// Name implements Event.
func (CountShown) Name() string { return "count.shown" }

// Name implements Event.
func (CountRead) Name() string { return "count.read" }

// Name implements Event.
func (CardPulled) Name() string { return "card.pulled" }

// Name implements Event.
func (DestLooked) Name() string { return "dest.looked" }

// Name implements Event.
func (RollMarked) Name() string { return "roll.marked" }

// Name implements Event.
func (RollBinned) Name() string { return "roll.binned" }

// Name implements Event.
func (RollTaken) Name() string { return "roll.taken" }

// Name implements Event.
func (RollReseated) Name() string { return "roll.reseated" }

// Name implements Event.
func (LockLooked) Name() string { return "lock.looked" }

// Name implements Event.
func (EraseBegan) Name() string { return "erase.began" }

// Name implements Event.
func (EraseDone) Name() string { return "erase.done" }

// Name implements Event.
func (EraseStopped) Name() string { return "erase.stopped" }

// Name implements Event.
func (RollReturned) Name() string { return "roll.returned" }

// Name implements Event.
func (PutBack) Name() string { return "roll.putback" }

// Name implements Event.
func (RollHeld) Name() string { return "roll.held" }

// Name implements Event.
func (AwayBegan) Name() string { return "away.began" }

// Name implements Event.
func (AwayEnded) Name() string { return "away.ended" }

// Name implements Event.
func (Misfit) Name() string { return "step.misfit" }

// Name implements Event.
func (NoteMade) Name() string { return "note.made" }

// Name implements Event.
func (NoteDone) Name() string { return "note.done" }

// Name implements Event.
func (Refused) Name() string { return "refused" }

// Name implements Event.
func (StrayVolume) Name() string { return "volume.stray" }

// Name implements Event.
func (DestGone) Name() string { return "dest.gone" }

// Name implements Event.
func (DestBack) Name() string { return "dest.back" }

// Name implements Event.
func (TooLate) Name() string { return "step.late" }

// Name implements Event.
func (ClockJumped) Name() string { return journal.EventJumped }

// Name implements Event.
func (Incident) Name() string { return "incident.began" }

// Name implements Event.
func (IncidentScored) Name() string { return "incident.scored" }

// Name implements Event.
func (CloseBegan) Name() string { return "close.began" }

// Name implements Event.
func (TapesCounted) Name() string { return "close.tapes" }

// Name implements Event.
func (BookCounted) Name() string { return "close.book" }

// Name implements Event.
func (ShiftClosed) Name() string { return "shift.closed" }

// Name implements Event.
func (CodeRead) Name() string { return "close.code" }

// Name implements Event.
func (CloseLeft) Name() string { return "close.left" }

// Name implements Event.
func (CopiesLooked) Name() string { return "close.looked" }

// Name implements Event.
func (SheetWritten) Name() string { return "close.sheet" }
