package read_test

import (
	"encoding/json"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"twobin/procedure"
	"twobin/procedure/journal"
	"twobin/training/review/read"
)

// unsynced leaves out the flush.
type unsynced struct{ journal.File }

func (unsynced) Sync() error { return nil }

// tale writes a journal event by event; a second goes by before each.
type tale struct {
	t    testing.TB
	j    *journal.Journal
	who  string
	wall time.Time
	mono time.Duration
	path string
}

func (d *tale) open() {
	j, _, err := journal.Open(d.path, journal.Options{
		Now: func() time.Time { return d.wall }, Mono: func() time.Duration { return d.mono }, Station: "A", Wrap: func(f journal.File) journal.File { return unsynced{f} },
	})
	if err != nil {
		d.t.Fatal(err)
	}
	d.j = j
}

func begin(t testing.TB, o procedure.ShiftOpened) *tale {
	t.Helper()
	d := &tale{t: t, who: o.Operator, wall: time.Date(2031, 5, 6, 8, 0, 0, 0, time.UTC), path: filepath.Join(t.TempDir(), "j.jsonl")}
	d.open()
	d.add("", o)
	return d
}

func shift(t testing.TB) *tale {
	return begin(t, procedure.ShiftOpened{Production: "Harbour Lights", Day: 1, Operator: "Kim", Policy: procedure.PolicyNote{Destinations: 2, StartMS: 30_000, DeskMS: 180_000, EraseMS: 60_000}})
}

func (d *tale) add(roll string, ev procedure.Event) {
	d.t.Helper()
	d.wall, d.mono = d.wall.Add(time.Second), d.mono+time.Second
	name, data, err := procedure.EncodeEvent(ev)
	if err != nil {
		d.t.Fatal(err)
	}
	d.raw(roll, name, data)
}

func (d *tale) raw(roll, name string, data json.RawMessage) {
	d.t.Helper()
	if _, err := d.j.Append(d.t.Context(), journal.Line{Lane: 1, Operator: d.who, Event: name, Roll: roll, Data: data}); err != nil {
		d.t.Fatal(err)
	}
}

func took(prompt string, ms int64) procedure.Answered {
	return procedure.Answered{Prompt: prompt, TookMS: ms}
}

// toStart goes from the pick to the start of the copy: 100 + 10 + 20 (pick), 30 (seat), 40 (start) ms.
func (d *tale) toStart(l string, pass int) {
	d.add(l, procedure.RollPicked{Answered: took("next", 5000), Pass: pass})
	d.add(l, procedure.LabelRead{Answered: took("pick.card", 100), Where: "card", Read: "A009"})
	d.add(l, procedure.LabelRead{Answered: took("pick.card", 10), Where: "card", Read: l, Right: true})
	d.add(l, procedure.LabelRead{Answered: took("pick.tape", 20), Where: "tape", Read: l, Right: true})
	d.add(l, procedure.TapeMoved{Answered: took("seat.tape", 30)})
	d.add(l, procedure.CardSeated{})
	d.add(l, procedure.CardScanned{ScanMS: 700})
}

func (d *tale) toGreen(l string) {
	d.add(l, procedure.CopyBegan{Answered: took("start.go", 40)})
	d.add(l, procedure.RollLogged{Answered: took("log.notes", 50), Notes: `with "took_ms":99 in it`})
	d.add(l, procedure.CountShown{Answered: took("count.written", 60)})
	d.add(l, procedure.CountRead{Answered: took("count.files", 1), What: "files", Read: "8"})
	d.add(l, procedure.CountRead{Answered: took("count.files", 2), What: "files", Read: "9", Right: true})
	d.add(l, procedure.CountRead{Answered: took("count.size", 3), What: "size", Read: "9", Right: true})
	d.add(l, procedure.CopyProven{CopyMS: 8000})
	d.add(l, procedure.CardPulled{Answered: took("pull.desk", 70)})
	d.add(l, procedure.DestLooked{Answered: took("look.RAID", 80), Dest: "RAID"})
	d.add(l, procedure.DestLooked{Answered: took("look.RAID", 81), Dest: "RAID", Right: true})
	d.add(l, procedure.RollMarked{Answered: took("mark.green", 90)})
	d.add(l, procedure.RollBinned{Answered: took("bin.green", 95)})
}

func (d *tale) read() read.Set {
	d.t.Helper()
	if d.j != nil {
		if err := d.j.Close(); err != nil {
			d.t.Fatal(err)
		}
		d.j = nil
	}
	set, err := read.Read(d.t.Context(), []string{d.path})
	if err != nil {
		d.t.Fatal(err)
	}
	return set
}

func (d *tale) one() read.Session {
	d.t.Helper()
	set := d.read()
	if len(set.Sessions) != 1 || len(set.Left) > 0 {
		d.t.Fatalf("%d sessions, left out: %v", len(set.Sessions), set.Left)
	}
	return set.Sessions[0]
}

// hands is the times of the steps that were done, by name.
func hands(r read.Run) map[string]int64 {
	out := map[string]int64{}
	for s := procedure.StepReceive; int(s) < read.Steps; s++ {
		if r.Done[s] {
			out[s.String()] = r.Hands[s]
		}
	}
	return out
}

func kinds(ms []read.Mark) string {
	var out []string
	for _, m := range ms {
		out = append(out, m.Kind.String()+"@"+m.Step.String())
	}
	return strings.Join(out, " ")
}
