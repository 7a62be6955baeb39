package sheet

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"
)

// Sheet is a log sheet.
type Sheet struct {
	// Made is when, wall clock.
	Made time.Time
	// Tool is the program's name and version.
	Tool string
	Rows []Row
	// Warnings are things the reader of the sheet must know, one line each: a damaged journal, a proof that is gone.
	Warnings []string
}

// Query narrows a sheet down. Zero fields ask for everything.
type Query struct {
	Production string
	Day        int
	Station    string
}

// String says what is asked for.
func (q Query) String() string {
	var parts []string
	if q.Production != "" {
		parts = append(parts, fmt.Sprintf("production %q", q.Production))
	}
	if q.Day != 0 {
		parts = append(parts, fmt.Sprintf("day %d", q.Day))
	}
	if q.Station != "" {
		parts = append(parts, fmt.Sprintf("station %q", q.Station))
	}
	if len(parts) == 0 {
		return "everything"
	}
	return strings.Join(parts, ", ")
}

// Match says whether a shift is asked for.
func (q Query) Match(production string, day int, station string) bool {
	return (q.Production == "" || q.Production == production) && (q.Day == 0 || q.Day == day) &&
		(q.Station == "" || q.Station == station)
}

// Sort puts the rows in the order of the sheet: production, day, date, time of arrival.
func (s *Sheet) Sort() {
	slices.SortStableFunc(s.Rows, func(a, b Row) int {
		return cmp.Or(cmp.Compare(a.Production, b.Production), cmp.Compare(a.Day, b.Day), cmp.Compare(a.Date, b.Date),
			a.Came.Compare(b.Came))
	})
}

// Title is what the sheet is about: the production, and the days it spans.
func (s *Sheet) Title() string {
	if len(s.Rows) == 0 {
		return "no rolls"
	}
	names, days := map[string]bool{}, map[int]bool{}
	lo, hi := s.Rows[0].Day, s.Rows[0].Day
	for i := range s.Rows {
		r := &s.Rows[i]
		names[r.Production], days[r.Day] = true, true
		lo, hi = min(lo, r.Day), max(hi, r.Day)
	}
	title := s.Rows[0].Production
	if len(names) > 1 {
		title = fmt.Sprintf("%d productions", len(names))
	}
	if len(days) == 1 {
		return fmt.Sprintf("%s, day %d, %s", title, lo, s.Rows[0].Date)
	}
	return fmt.Sprintf("%s, days %d to %d", title, lo, hi)
}

// Drill names the drill when any row is of one; such a sheet says DRILL wherever it is shown.
func (s *Sheet) Drill() string {
	for i := range s.Rows {
		if s.Rows[i].Drill != "" {
			return s.Rows[i].Drill
		}
	}
	return ""
}
