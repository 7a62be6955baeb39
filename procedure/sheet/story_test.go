package sheet

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"twobin/guard"
	"twobin/procedure"
	"twobin/procedure/sheet/harbour"
)

// story is a day with one roll in each state that a sheet tells apart.
func story() *harbour.Day {
	d := harbour.Begin(12, "A", "Kim")
	d.SetUp("A", "blue", "B", "yellow")
	d.Wait(4 * time.Hour)
	for _, l := range []procedure.Label{"A001", "A002", "A003", "B001", "B002", "B004"} {
		d.Receive(l)
	}
	d.SetFiles("A002",
		harbour.File("A002", "CLIPS/A002_0001.vid", 5e9, d.Clock.Add(-time.Hour)),
		harbour.File("A002", "CLIPS/A002_0002.vid", 0, d.Clock.Add(-50*time.Minute)),
		harbour.File("A002", "CLIPS/A002_0004.vid", 7e9, d.Clock.Add(-40*time.Minute)))
	d.Walk("A001")
	d.Return("A001")
	d.Walk("A002")
	d.Erase("A002")
	// A003: put back once, then held after it was proven, then nothing.
	d.Seat("A003")
	d.Add("A003", procedure.PutBack{Step: "start", Reason: "phone"})
	d.Seat("A003")
	d.Copy("A003")
	d.Log("A003", "lens changed")
	d.Wait(9 * time.Minute)
	d.Prove("A003")
	d.Add("A003", procedure.RollHeld{Step: "look", Reason: "folder looks empty on RAID", By: "operator"})
	d.Add("", procedure.OperatorChanged{From: "Kim", To: "Lee"})
	d.Walk("B001")
	d.Add("B002", procedure.NoteMade{ID: 1, Text: "card has a scratch"})
	return d
}

func loader(d *harbour.Day) func(string) (*guard.Proof, error) {
	return func(sha string) (*guard.Proof, error) {
		if p := d.Proofs[sha]; p != nil {
			return p, nil
		}
		return nil, errors.New("no such file")
	}
}

func storySheet() *Sheet {
	d := story()
	return &Sheet{Made: d.Clock, Tool: "twobin 1.2.3", Rows: Rows(d.Shift, d.Entries, loader(d))}
}

// nasty is text that tries to get out of a cell, a page and a terminal.
var nasty = []string{
	`=HYPERLINK("http://canary.invalid/f","x")`, "+1+1", "-2+3", "@SUM(A1)", "  =1+1", "\t=1+1", "\r=1", "＝1+1",
	`<script>document.title="canary"</script>`, `<img src="http://canary.invalid/i" onerror="document.title='canary'">`,
	`"quoted", with comma`, "two\r\nlines", "\x1b[31mred\x1b[0m", "right\u202eto left", "nul\x00", "\xff\xfe", "灯 Ünïcode",
	`</style><b>`, `{{.}}`, `javascript:alert(1)`, "'", `""`, strings.Repeat("long ", 50),
}

// nastySheet has every nasty text in every free field of a row.
func nastySheet() *Sheet {
	s := storySheet()
	base := s.Rows[0]
	s.Rows = nil
	for i, n := range nasty {
		r := base
		n = procedure.Plain(n) // as Rows does
		r.Label = fmt.Sprintf("A%03d", i+1)
		r.Production, r.Station, r.Colour, r.Serial, r.From, r.To = n, n, n, n, n, n
		r.Date, r.Notes, r.Holds, r.Questions, r.Operators = n, []string{n}, []string{n}, []string{n}, []string{n}
		r.Dests = []Dest{{Name: n, Result: n, Folder: n + "/" + n, List: n}, {Name: "RAID", Proven: true, Result: "proven"}}
		s.Rows = append(s.Rows, r)
	}
	return s
}

// many is a production of ten thousand rolls on a hundred days.
func many(n int) *Sheet {
	s := storySheet()
	base := s.Rows[0]
	s.Rows = make([]Row, n)
	for i := range s.Rows {
		r := base
		r.Day = i/100 + 1
		r.Date = time.Date(2031, 5, 5+r.Day, 0, 0, 0, 0, time.UTC).Format(time.DateOnly)
		r.Label = string(procedure.MakeLabel(procedure.Camera(rune('A'+i%12)), i/12+1))
		r.Camera = r.Label[:1]
		s.Rows[i] = r
	}
	return s
}
