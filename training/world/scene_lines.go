package world

import (
	"fmt"
	"slices"
	"strings"

	"twobin/procedure"
	"twobin/training/drill"
)

// Lines is what the trainee sees and hears now, one line each. drive gives the path of a simulated drive.
func (s *Scene) Lines(drive func(name string) string) []string {
	var out []string
	if !s.shift.Ready {
		out = append(out, s.plan.Brief...)
		for _, d := range s.plan.Drives {
			if d.Spare && !s.inUse(d.Name) {
				out = append(out, "In the drawer lies a spare drive: "+drive(d.Name))
			} else {
				out = append(out, "A drive stands at the station: "+drive(d.Name))
			}
		}
	}
	out = append(out, s.said...) // what was just said or done stands first: a window may be small
	for _, i := range s.ringing {
		out = append(out, i.Says)
	}
	out = append(out, s.atStep(drive)...)
	for _, f := range s.Waiting() {
		out = append(out, f.brought())
	}
	if len(s.shift.GoneDests) > 0 || s.faulty() {
		for _, d := range s.plan.Drives {
			if d.Spare {
				out = append(out, "In the drawer lies a spare drive: "+drive(d.Name))
			}
		}
	}
	return out
}

// inUse: a drive is one of the shift's destinations.
func (s *Scene) inUse(name string) bool {
	return slices.ContainsFunc(s.shift.Dests, func(d procedure.Destination) bool { return d.Name == name })
}

// faulty: a copy failed in this shift.
func (s *Scene) faulty() bool {
	for _, r := range s.shift.Rolls {
		if len(r.Holds) > 0 {
			return true
		}
	}
	return false
}

// brought is how a card looks that somebody holds out.
func (f *Fact) brought() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s brings a card", f.From)
	if f.Cue == drill.CueAsked {
		b.Reset()
		fmt.Fprintf(&b, "%s marks that card anew", f.From)
	}
	switch {
	case f.OnTape == "":
		b.WriteString(" without tape")
	default:
		fmt.Fprintf(&b, ": its tape reads %s", f.OnTape)
	}
	if f.NoCase {
		b.WriteString(", it has no case")
	}
	fmt.Fprintf(&b, ". On the card is written %s.", f.OnCard)
	if f.Cue == drill.CueTogether {
		b.WriteString(" It lay on top: \"That one came out last.\"")
	}
	if f.Erase {
		b.WriteString(" \"Please erase it here.\"")
	}
	return b.String()
}

// atStep is what hands and eyes have before them at the step that is due.
func (s *Scene) atStep(drive func(string) string) []string {
	roll := s.shift.InLane(lane)
	if roll == nil {
		if s.shift.Closing {
			return s.atClose()
		}
		if len(s.shift.At(procedure.PlaceGreenBin)) > 1 {
			return []string{s.tapes()}
		}
		return nil
	}
	f := s.known(roll.Label)
	if f == nil {
		return []string{"There is no such card in the bin."}
	}
	switch roll.Step {
	case procedure.StepPick:
		return s.inBin(f)
	case procedure.StepSeat, procedure.StepStart:
		if s.Reader() != none && roll.Seated != nil {
			return []string{"In the reader sits a card. On it is written " + s.onReader(f, drill.WrongSeat) + "."}
		}
	case procedure.StepLook:
		return []string{"Open a drive in the drill: ctrl+w (line by line: do), then " + openWords(s.shift) + ".", "Or look yourself in " + drive("")}
	case procedure.StepReseat, procedure.StepErase:
		l := []string{"The tape that you kept reads " + s.tape(f) + ". " + inBook(roll)}
		if roll.Seated != nil {
			l = append(l, "In the reader sits a card. Scratched into its edge: "+s.edge(f)+".")
		}
		return l
	case procedure.StepLog:
		return []string{"On the card's sticker: number " + sticker(f.Card) + "."}
	}
	return nil
}

// openWords are the acts that open the drives in use.
func openWords(s *procedure.Shift) string {
	var out []string
	for _, d := range s.Dests {
		out = append(out, drill.ActOpen+" "+d.Name)
	}
	return strings.Join(out, " or ")
}

// inBook is what the book has of the card itself.
func inBook(r *procedure.Roll) string {
	if r.Serial == "" {
		return "Your book: no number."
	}
	return "Your book: card " + procedure.Plain(r.Serial) + "."
}

// tapes are those that hang in the book.
func (s *Scene) tapes() string {
	var out []string
	for _, l := range s.shift.Order {
		if s.shift.Rolls[l].Binned {
			out = append(out, string(l))
		}
	}
	return "Tapes that hang in your book: " + list(out)
}

// inBin is the red bin from front to back, the roll in the hand first.
func (s *Scene) inBin(f *Fact) []string {
	out := []string{"Front of the red bin: " + f.marked()}
	for _, l := range s.shift.Red {
		if o := s.known(l); o != nil {
			out = append(out, "behind it: "+o.marked())
		}
		const most = 4
		if len(out) == most {
			break
		}
	}
	return out
}

func (f *Fact) marked() string {
	tape := f.OnTape
	if tape == "" {
		tape = "none"
	}
	return fmt.Sprintf("a card, written on it %s, its tape %s.", f.OnCard, tape)
}

// onReader is what is written on the card that sits in the reader.
func (s *Scene) onReader(f *Fact, k drill.Kind) string {
	if i, ok := s.plan.Of(f.Label, k); ok && !s.over[i.ID] {
		return string(i.Other)
	}
	return f.OnCard
}

// edge is the number scratched into a card's edge: labels are wiped off by then.
func (s *Scene) edge(f *Fact) string { return sticker(s.seats(f.Known, drill.WrongErase)) }

// sticker is the made-up serial number of a card.
func sticker(card int) string { return fmt.Sprintf("D-%04d", 1000+37*(card+1)) }

func (s *Scene) tape(f *Fact) string {
	if f.OnTape == "" {
		return string(f.Known)
	}
	return f.OnTape
}

// atClose is what there is to count.
func (s *Scene) atClose() []string {
	var lines []string
	for _, l := range s.shift.Order {
		if s.shift.Rolls[l].InBook {
			lines = append(lines, string(l))
		}
	}
	return []string{s.tapes(), "Lines of today in your book: " + list(lines)}
}

func list(ls []string) string {
	if len(ls) == 0 {
		return "none."
	}
	return strings.Join(ls, " ") + "."
}
