package handover

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"twobin/procedure"
	"twobin/procedure/journal"
	"twobin/procedure/sheet"
)

// Doc is a hand-over.
type Doc struct {
	Drill      string
	Production string
	Day        int
	Date       string
	Station    string
	Operators  []string
	Made       time.Time
	Tool       string
	// Closed: the shift was closed. Code is the closing code, empty when it is not closed; CodeRead says that it was read
	// back from the paper book.
	Closed   bool
	Code     string
	CodeRead bool
	// Open lists what does not add up; it stands at the top.
	Open     []string
	Drives   []Drive
	Unsafe   []Unsafe
	Holds    []Hold
	Missing  []Missing
	Notes    []Note
	Ask      []Ask
	Totals   []sheet.Total
	Rolls    int
	Safe     int
	Tapes    Count
	Book     Count
	Cautions []string
	Sign     []string
}

// Unsafe is a roll that must not be erased or formatted, or whose copies are no longer what they were.
type Unsafe struct{ Label, Where, Why string }

// Hold is a hold of the day; Open: it still stands.
type Hold struct {
	Label, Reason, Step, By, At string
	Open                        bool
}

// Missing is a number that has not come in, with what was answered when it was asked for.
type Missing struct{ Label, Answer string }

// Note is a note of the day.
type Note struct {
	ID       int
	On, Text string
	At       string
	Done     bool
}

// Ask is what to ask the camera department about a roll.
type Ask struct {
	Label     string
	Questions []string
}

// Count is something counted by hand against what the journal has. Done: it was counted, right or wrong.
type Count struct {
	Counted, Want int
	Done          bool
}

// cautions are the trade's usual ones (common practice, no source), as DESIGN asks for them.
var cautions = [...]string{
	"No card is erased before at least two proven copies lie on separate devices.",
	"A card is formatted in the camera that will record on it.",
	"The drives of this hand-over travel and are kept apart from each other.",
	"The rules of the production, its insurer or studio come first. In doubt, ask the head of department.",
	"This page says what was proven when the copies were made. Check again on arrival, before anything is released.",
}

var signatures = [...]string{"handed over by, date, time", "received by, date, time", "for the camera department"}

// Of makes the hand-over of one shift. rows are the shift's rows of the log sheet, made is the wall clock now.
func Of(s *procedure.Shift, entries []procedure.Entry, rows []sheet.Row, rec Record, made time.Time, tool string) Doc {
	d := Doc{
		Made: made, Tool: tool, Closed: s.Closed, CodeRead: s.CodeRight, Rolls: len(rows),
		Totals: (&sheet.Sheet{Rows: rows}).Totals(), Cautions: cautions[:], Sign: signatures[:],
		Tapes: Count{s.Tapes, s.Handled(), s.TapesDone}, Book: Count{s.Book, s.Lines(), s.BookDone},
	}
	if o := s.Opened; o != nil {
		d.Drill, d.Production, d.Day = procedure.Plain(o.Drill), procedure.Plain(o.Production), o.Day
		d.Date, d.Station = procedure.Plain(o.Date), procedure.Plain(o.Station)
	}
	for _, e := range entries {
		if op := procedure.Plain(e.Operator); op != "" && !slices.Contains(d.Operators, op) {
			d.Operators = append(d.Operators, op)
		}
	}
	if s.Closed {
		d.Code = rec.Code
	}
	d.Open = open(s, rec)
	d.Drives = drives(s, entries, rows)
	d.rolls(s, rows)
	d.Missing = missing(s, entries)
	for _, n := range s.Notes {
		on := cmp.Or(string(n.Roll), string(n.Camera))
		d.Notes = append(d.Notes, Note{ID: n.ID, On: procedure.Plain(on), Text: procedure.Plain(n.Text), At: d.clock(n.At), Done: n.Done})
	}
	return d
}

// Record is what is known of the journal behind a hand-over.
type Record struct {
	Whole bool
	// Trouble says where it is damaged; empty for a whole one.
	Trouble string
	// Code is the closing code, as it was shown at the close and written into the book; empty before the close.
	Code string
}

// RecordOf makes the record of a journal's lines as they were read, with the damage behind them, nil for none. The code
// is that of the line that closed the shift: what came after it (the code read back, a later run) does not change it.
func RecordOf(lines []journal.Line, damage *journal.Damage) Record {
	r := Record{Whole: damage == nil && len(lines) > 0}
	if damage != nil {
		r.Trouble = damage.String()
	}
	for i := range lines {
		if lines[i].Event == (procedure.ShiftClosed{}).Name() {
			r.Code = journal.CodeOf(lines[i])
		}
	}
	return r
}

// open lists what does not add up.
func open(s *procedure.Shift, rec Record) []string {
	var out []string
	switch {
	case s.Opened == nil:
		out = append(out, "no shift was opened in this journal")
	case !s.Closed:
		out = append(out, "the shift is not closed")
		for _, p := range s.Points() {
			out = append(out, procedure.Plain(p))
		}
	default:
		for _, p := range s.OpenPoints {
			out = append(out, procedure.Plain(p))
		}
	}
	if !rec.Whole {
		out = append(out, procedure.Plain("the journal is not whole: "+cmp.Or(rec.Trouble, "it was not checked")))
	}
	return out
}

// clock is the time of day, with the day where it is another than the shift's, as after midnight.
func (d *Doc) clock(m procedure.Moment) string {
	if d.Date != "" && m.Wall.Format(time.DateOnly) != d.Date {
		return m.Wall.Format("2006-01-02 15:04")
	}
	return m.Wall.Format("15:04")
}

func (d *Doc) rolls(s *procedure.Shift, rows []sheet.Row) {
	for i := range rows {
		r := &rows[i]
		late := d.late(r.Label)
		switch {
		case r.Safe && late == "":
			d.Safe++
		case r.Safe:
			d.Unsafe = append(d.Unsafe, Unsafe{r.Label, r.Where() + ", " + r.Erase, late})
		default:
			d.Unsafe = append(d.Unsafe, Unsafe{r.Label, r.Where(), why(s.Rolls[procedure.Label(r.Label)])})
		}
		if len(r.Questions) > 0 || r.Problem != "" {
			a := Ask{Label: r.Label, Questions: slices.Clone(r.Questions)}
			if r.Problem != "" {
				a.Questions = append(a.Questions, r.Problem)
			}
			d.Ask = append(d.Ask, a)
		}
	}
	for _, l := range s.Order {
		r := s.Rolls[l]
		for i, h := range r.Holds {
			by := procedure.Plain(h.By)
			d.Holds = append(d.Holds, Hold{
				Label: string(l), Reason: procedure.Plain(h.Reason), Step: strings.ToLower(h.Step.Spec().Title), By: by, At: d.clock(h.At),
				Open: r.Held != nil && i == len(r.Holds)-1,
			})
		}
	}
}

// late says on which drives the close's last look found a copy of a roll amiss; empty for none.
func (d *Doc) late(label string) string {
	var out []string
	for i := range d.Drives {
		for _, l := range d.Drives[i].Rolls {
			if l.Label == label && l.Late != "" {
				out = append(out, "at the close on "+d.Drives[i].Name+": "+l.Late)
			}
		}
	}
	return strings.Join(out, "; ")
}

// why says in words what a roll lacks.
func why(r *procedure.Roll) string {
	switch {
	case r == nil:
		return "not known"
	case r.Held != nil:
		return "on hold: " + procedure.Plain(r.Held.Reason)
	case r.Copy == procedure.CopyIsFailed:
		return "the copy failed"
	case r.Copy == procedure.CopyRunning:
		return "the copy was not finished"
	case r.Copy == procedure.CopyNone:
		return "not copied"
	case !r.Marked || !r.Binned:
		return "copied, but not looked at, marked and binned"
	}
	return "not done"
}

func missing(s *procedure.Shift, entries []procedure.Entry) []Missing {
	answers := map[procedure.Label]string{}
	for _, e := range entries {
		if g, ok := e.Event.(procedure.GapAsked); ok {
			for _, l := range g.Missing {
				answers[l] = procedure.Plain(g.Answer)
			}
		}
	}
	var out []Missing
	all := s.Missing()
	for _, c := range slices.Sorted(maps.Keys(all)) {
		for _, l := range all[c] {
			out = append(out, Missing{string(l), answers[l]})
		}
	}
	return out
}

// SafeText says how many rolls are safe, and which drives that rests on without having been seen at the close.
func (d Doc) SafeText() string {
	t := fmt.Sprintf("Safe are %d of %s: proven, looked at, green.", d.Safe, procedure.Plural(d.Rolls, "roll"))
	var unseen []string
	for i := range d.Drives {
		if k := &d.Drives[i]; k.Doubt != "" && k.Last != "" && len(k.Rolls) > 0 {
			unseen = append(unseen, k.Name)
		}
	}
	if len(unseen) > 0 {
		t += " Not seen at the close, copies counted by the journal: " + strings.Join(unseen, ", ") + "."
	}
	return t
}

// Title is the production, day and station in one line.
func (d Doc) Title() string {
	return fmt.Sprintf("%s, day %d, %s, station %s", d.Production, d.Day, d.Date, d.Station)
}

// String is a count in words.
func (c Count) String() string {
	switch {
	case !c.Done:
		return fmt.Sprintf("not counted; the journal has %d", c.Want)
	case c.Counted == c.Want:
		return fmt.Sprintf("%d counted, as many as the journal has", c.Counted)
	}
	return fmt.Sprintf("%d counted, the journal has %d", c.Counted, c.Want)
}
