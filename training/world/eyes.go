package world

import (
	"io/fs"
	"path"
	"strings"

	"twobin/procedure"
	"twobin/training/drill"
)

// Seen is one card as it lies before somebody.
type Seen struct {
	Tape, Card string
	NoCase     bool
	From       string
}

// Eyes is what [World.Lines] says, as values: for a trainee in software. There is nothing in it that the lines of some
// moment do not show.
type Eyes struct {
	// Brought are cards that somebody holds out; Bin is the red bin from the front, the card in the hand first.
	Brought, Bin []Seen
	// InReader is what is written on the card in the reader; Edge the number on its edge, Sticker that of the roll's card.
	InReader, Edge, Sticker string
	// Kept is the label on the tape that was kept.
	Kept string
	// Calls are those who want something now.
	Calls []drill.Kind
	// Said is what was said last.
	Said string
	// Erase lists rolls that are to be erased at the cart. Tapes and Lines are what hangs and stands in the book.
	Erase        []procedure.Label
	Tapes, Lines int
	// Spare is the path of a spare drive that still lies in its drawer, empty for none.
	Spare string
}

// Look gives what there is to be seen now.
func (w *World) Look() Eyes {
	w.mu.Lock()
	defer w.mu.Unlock()
	s := w.scene
	e := Eyes{Said: strings.Join(s.said, " ")}
	for _, f := range s.Waiting() {
		e.Brought = append(e.Brought, Seen{f.OnTape, f.OnCard, f.NoCase, f.From})
	}
	for _, i := range s.ringing {
		e.Calls = append(e.Calls, i.Kind)
	}
	for _, f := range s.facts {
		if f.Erase && f.Known != "" {
			e.Erase = append(e.Erase, f.Known)
		}
	}
	for _, d := range s.plan.Drives {
		if d.Spare && !s.inUse(d.Name) {
			e.Spare = w.Drive(d.Name)
		}
	}
	for _, r := range s.shift.Rolls {
		if r.Binned {
			e.Tapes++
		}
		if r.InBook {
			e.Lines++
		}
	}
	w.lookRoll(&e)
	return e
}

// lookRoll adds what belongs to the roll under way. The state is locked.
func (w *World) lookRoll(e *Eyes) {
	s := w.scene
	roll := s.shift.InLane(lane)
	if roll == nil {
		return
	}
	f := s.known(roll.Label)
	if f == nil {
		return
	}
	e.Bin = append(e.Bin, Seen{f.OnTape, f.OnCard, f.NoCase, f.From})
	for _, l := range s.shift.Red {
		if o := s.known(l); o != nil {
			e.Bin = append(e.Bin, Seen{o.OnTape, o.OnCard, o.NoCase, o.From})
		}
	}
	e.Kept, e.Edge, e.Sticker = s.tape(f), s.edge(f), sticker(f.Card)
	if roll.Seated != nil {
		e.InReader = s.onReader(f, drill.WrongSeat)
	}
}

// Names lists the files in a folder of a drive as a file browser shows it: no hidden ones, no folders. ok is false
// when there is no such folder.
func (w *World) Names(drive string, l procedure.Label, below string) (names []string, ok bool) {
	w.mu.Lock()
	folder := w.scene.shift.Folder(l)
	d := w.drives[drive]
	gone := d == nil || d.gone
	w.mu.Unlock()
	if gone {
		return nil, false
	}
	es, err := fs.ReadDir(w.root.FS(), path.Join(drivesDir, drive, folder, below))
	if err != nil {
		return nil, false
	}
	for _, e := range es {
		if !e.IsDir() && !strings.HasPrefix(e.Name(), ".") {
			names = append(names, e.Name())
		}
	}
	return names, true
}
