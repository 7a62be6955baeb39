package sheet

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"twobin/procedure"
)

// column is one column of the table forms. A value is string, int64, time.Time or nil for nothing.
type column struct {
	title string
	width float64 // in characters, for the spreadsheet
	value func(*Row) any
}

// columns lists the columns for the rows at hand: every destination that any of them names has two.
func (s *Sheet) columns() []column {
	cols := []column{
		{"production", 18, func(r *Row) any { return r.Production }},
		{"date", 11, func(r *Row) any { return dateOf(r.Date) }},
		{"day", 5, func(r *Row) any { return int64(r.Day) }},
		{"station", 8, func(r *Row) any { return r.Station }},
		{"camera", 8, func(r *Row) any { return r.Camera }},
		{"colour", 9, func(r *Row) any { return r.Colour }},
		{"label", 8, func(r *Row) any { return r.Label }},
		{"card serial", 14, func(r *Row) any { return r.Serial }},
		{"files", 7, func(r *Row) any { return known(r, int64(r.Files)) }},
		{"bytes", 17, func(r *Row) any { return known(r, r.Bytes) }},
		{"first recording", 19, func(r *Row) any { return r.First }},
		{"last recording", 19, func(r *Row) any { return r.Last }},
		{"place", 24, func(r *Row) any { return r.Where() }},
		{"safe", 6, func(r *Row) any { return yes(r.Safe) }},
	}
	for _, name := range s.destinations() {
		cols = append(cols,
			column{name + " result", 30, func(r *Row) any { return r.dest(name).Result }},
			column{name + " hash list", 40, func(r *Row) any { return r.dest(name).listPath() }})
	}
	cols = append(cols,
		column{"arrived", 19, func(r *Row) any { return r.Came }},
		column{"copy started", 19, func(r *Row) any { return r.Started }},
		column{"proven", 19, func(r *Row) any { return r.Proven }},
		column{"green bin", 19, func(r *Row) any { return r.Green }},
		column{"erase", 12, func(r *Row) any { return r.Erase }},
		column{"erased at", 19, func(r *Row) any { return r.Erased }},
		column{"returned", 19, func(r *Row) any { return r.Returned }},
		column{"UTC offset", 10, func(r *Row) any { return r.Came.Format("UTC-07:00") }},
		column{"from", 14, func(r *Row) any { return r.From }},
		column{"returned to", 14, func(r *Row) any { return r.To }},
		column{"operator", 16, func(r *Row) any { return strings.Join(r.Operators, ", ") }},
		column{"passes", 7, func(r *Row) any { return int64(r.Passes) }},
		column{"put backs", 9, func(r *Row) any { return int64(r.Backs) }},
		column{"holds", 30, func(r *Row) any { return strings.Join(r.Holds, "; ") }},
		column{"notes", 40, func(r *Row) any { return strings.Join(r.Notes, "; ") }},
		column{"questions", 50, func(r *Row) any { return strings.Join(r.Questions, "; ") }},
		column{"card id", 20, func(r *Row) any { return r.CardID }},
		column{"proof SHA-256", 66, func(r *Row) any { return r.Proof }},
		column{"problem", 30, func(r *Row) any { return r.Problem }},
	)
	if drill := s.Drill(); drill != "" {
		cols = slices.Insert(cols, 0, column{"DRILL", 14, func(r *Row) any { return r.Drill }})
	}
	return cols
}

// destinations are the names of all destinations, in the order in which rows name them first.
func (s *Sheet) destinations() []string {
	seen := map[string]bool{}
	var out []string
	for i := range s.Rows {
		for _, d := range s.Rows[i].Dests {
			if !seen[d.Name] {
				seen[d.Name] = true
				out = append(out, d.Name)
			}
		}
	}
	return out
}

func (r *Row) dest(name string) Dest {
	for _, d := range r.Dests {
		if d.Name == name {
			return d
		}
	}
	return Dest{}
}

// listPath is where the hash list stands below the destination.
func (d Dest) listPath() string {
	if d.List == "" {
		return ""
	}
	if i := strings.LastIndexByte(d.Folder, '/'); i >= 0 {
		return d.Folder[:i+1] + d.List
	}
	return d.List
}

func known(r *Row, n int64) any {
	if !r.FilesKnown {
		return nil
	}
	return n
}

func yes(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}

// date is a day without a time.
type date time.Time

// dateOf reads a date as the journal has it; what is none stays text.
func dateOf(s string) any {
	t, err := time.Parse("2006-01-02", s)
	if err != nil {
		return s
	}
	return date(t)
}

// text writes a cell for CSV.
func text(v any) string {
	switch v := v.(type) {
	case nil:
		return ""
	case string:
		return harmless(v)
	case int64:
		return fmt.Sprint(v)
	case date:
		return time.Time(v).Format("2006-01-02")
	case time.Time:
		if v.IsZero() {
			return ""
		}
		return v.Format(time.RFC3339)
	}
	panic(fmt.Sprintf("sheet: a cell of type %T", v))
}

// formulaSigns are those that OWASP, "CSV Injection", names (from memory), and their wide forms.
const formulaSigns = "=+-@＝＋－＠"

// harmless makes a text that a spreadsheet would take for a formula begin with an apostrophe, and takes control
// characters out. Where a computer's list separator is the semicolon, a spreadsheet begins another cell at one, whatever
// quotes stand around it (OWASP says so of separators, too), so the same holds for what follows a semicolon.
func harmless(s string) string {
	var b strings.Builder
	first := true // nothing but spaces and quotes since a cell may have begun
	at := 0       // where it may have begun
	s = procedure.Plain(s)
	for i, r := range s {
		switch {
		case r == ';':
			b.WriteString(s[at : i+1])
			at, first = i+1, true
		case first && strings.ContainsRune(formulaSigns, r):
			b.WriteString("'")
			first = false
		case !strings.ContainsRune(" \u00A0\u3000\"", r):
			first = false
		}
	}
	b.WriteString(s[at:])
	return b.String()
}
