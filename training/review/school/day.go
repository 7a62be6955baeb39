package school

import (
	"context"
	"fmt"
	"time"

	"twobin/guard"
	"twobin/procedure"
	"twobin/procedure/journal"
)

// day is one journal under way: a shift or a drill.
type day struct {
	p      *person
	shift  *procedure.Shift
	book   *journal.Journal
	wall   time.Time
	mono   time.Duration
	events int
	err    error
}

// unsynced leaves out the flush: invented journals need not survive a power cut.
type unsynced struct{ journal.File }

// Sync does nothing.
func (unsynced) Sync() error { return nil }

// begin opens a journal at path and applies its opening.
func begin(path string, p *person, at time.Time, o procedure.ShiftOpened) (*day, error) {
	d := &day{p: p, shift: procedure.NewShift(), wall: at}
	b, lines, err := journal.Open(path, journal.Options{
		Now: func() time.Time { return d.wall }, Mono: func() time.Duration { return d.mono }, Station: o.Station,
		Program: o.Tool, Wrap: func(f journal.File) journal.File { return unsynced{f} },
	})
	if err != nil {
		return nil, err
	}
	d.book = b
	d.fold(lines)
	d.add("", o)
	return d, d.err
}

func (d *day) fold(lines []journal.Line) {
	for _, l := range lines {
		e, err := procedure.EntryOf(l)
		if err == nil {
			err = d.shift.Apply(e)
		}
		if err != nil && d.err == nil {
			d.err = fmt.Errorf("invent %s of %s: %w", l.Event, l.Roll, err)
		}
		d.events++
	}
}

// add journals one event; after a first error all are passed over.
func (d *day) add(roll procedure.Label, ev procedure.Event) {
	if d.err != nil {
		return
	}
	name, data, err := procedure.EncodeEvent(ev)
	if err != nil {
		d.err = err
		return
	}
	operator := d.shift.Operator
	if o, ok := ev.(procedure.ShiftOpened); ok {
		operator = o.Operator
	}
	lines, err := d.book.Append(context.Background(), journal.Line{Lane: 1, Operator: operator, Event: name, Roll: string(roll), Data: data})
	if err != nil {
		d.err = err
		return
	}
	d.fold(lines)
	d.wait(20 * time.Millisecond)
}

func (d *day) wait(t time.Duration) {
	d.wall = d.wall.Add(t)
	d.mono += t
}

// answer lets the time of an answer go by and gives what the event carries of it.
func (d *day) answer(prompt string, s procedure.Step, share float64) procedure.Answered {
	ms := int64(900 + d.p.rng.IntN(1200))
	if s != procedure.StepNone {
		ms = d.p.took(s, share)
	}
	d.wait(time.Duration(ms) * time.Millisecond)
	return procedure.Answered{Prompt: prompt, TookMS: ms}
}

// card is a roll's card.
func card(l procedure.Label) guard.Volume {
	return guard.Volume{Mount: "/media/card", FSType: "vfat", Name: "CARD", ID: "uuid:card-" + string(l.Camera()), Disk: "card-" + string(l.Camera()), Size: 512e9}
}

func drive(name string) procedure.Destination {
	return procedure.Destination{Name: name, Path: "/media/" + name, Volume: guard.Volume{
		Mount: "/media/" + name, FSType: "ext4", Name: name, ID: "uuid:" + name, Disk: "disk-" + name, Size: 16e12, Free: 9e12,
	}}
}

// setUp does the set-up.
func (d *day) setUp(cameras []procedure.CameraInfo) {
	for _, c := range cameras {
		d.add("", procedure.CameraSet{Answered: d.answer("setup.camera", 0, 0), Camera: c.Camera, Colour: c.Colour})
	}
	d.add("", procedure.MarkingAgreed{Answered: d.answer("setup.marking", 0, 0), Text: "red tape across the lid"})
	d.add("", procedure.KitChecked{Answered: d.answer("setup.kit", 0, 0)})
	d.add("", procedure.BinsPlaced{Answered: d.answer("setup.bins", 0, 0)})
	for _, n := range []string{"SHUTTLE", "RAID"} {
		d.add("", procedure.DestinationSet{Answered: d.answer("setup.to", 0, 0), Destination: drive(n)})
	}
	d.add("", procedure.SetUpDone{Answered: d.answer("setup.done", 0, 0)})
}

// close closes the day, with whatever is open, and the journal.
func (d *day) close() {
	d.add("", procedure.CloseBegan{Answered: d.answer("next", 0, 0)})
	tapes, lines := d.shift.Handled(), d.shift.Lines()
	if d.p.slips(d.p.Careless) {
		d.add("", procedure.TapesCounted{Answered: d.answer("close.tapes", 0, 0), Counted: tapes + 1, Want: tapes})
	}
	d.add("", procedure.TapesCounted{Answered: d.answer("close.tapes", 0, 0), Counted: tapes, Want: tapes, Right: true})
	d.add("", procedure.BookCounted{Answered: d.answer("close.book", 0, 0), Counted: lines, Want: lines, Right: true})
	d.add("", procedure.ShiftClosed{Answered: d.answer("close.done", 0, 0), Open: d.shift.Points()})
	d.add("", procedure.CodeRead{Answered: d.answer("close.code", 0, 0), Right: true})
}

// finish gives the journal free.
func (d *day) finish() (int, error) {
	if err := d.book.Close(); d.err == nil {
		d.err = err
	}
	return d.events, d.err
}
