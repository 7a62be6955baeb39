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

// Total adds up the rolls of one camera on one day; Camera empty: of all cameras; Day 0: of all days.
type Total struct {
	Production string
	Day        int
	Date       string
	Camera     string
	Colour     string
	Rolls      int
	// Safe counts rolls that are proven and in the green bin or handed back.
	Safe   int
	Files  int
	Bytes  int64
	Erased int
	Holds  int // rolls on hold now
}

func (t *Total) add(r *Row) {
	t.Rolls++
	t.Files += r.Files
	t.Bytes += r.Bytes
	if r.Safe {
		t.Safe++
	}
	if r.Erase == "erased" {
		t.Erased++
	}
	if r.Place == "on hold" {
		t.Holds++
	}
}

// Totals gives one line a production, day and camera, each day's own sum behind its cameras, and at the end the sum of
// all, in the order of the sheet.
func (s *Sheet) Totals() []Total {
	type dayKey struct {
		production, date string
		day              int
	}
	var days []dayKey
	sums := map[dayKey]*Total{}
	cams := map[dayKey]map[string]*Total{}
	all := Total{}
	for i := range s.Rows {
		r := &s.Rows[i]
		k := dayKey{r.Production, r.Date, r.Day}
		if sums[k] == nil {
			days = append(days, k)
			sums[k] = &Total{Production: r.Production, Day: r.Day, Date: r.Date}
			cams[k] = map[string]*Total{}
		}
		c := cams[k][r.Camera]
		if c == nil {
			c = &Total{Production: r.Production, Day: r.Day, Date: r.Date, Camera: r.Camera, Colour: r.Colour}
			cams[k][r.Camera] = c
		}
		c.add(r)
		sums[k].add(r)
		all.add(r)
	}
	var out []Total
	for _, k := range days {
		var list []Total
		for _, c := range cams[k] {
			list = append(list, *c)
		}
		slices.SortFunc(list, func(a, b Total) int {
			return cmp.Or(cmp.Compare(len(a.Camera), len(b.Camera)), cmp.Compare(a.Camera, b.Camera))
		})
		out = append(append(out, list...), *sums[k])
	}
	if len(days) != 1 {
		out = append(out, all)
	}
	return out
}

// Name says whose total a line is.
func (t *Total) Name() string {
	switch {
	case t.Camera != "" && t.Colour != "":
		return fmt.Sprintf("day %d, camera %s, %s", t.Day, t.Camera, t.Colour)
	case t.Camera != "":
		return fmt.Sprintf("day %d, camera %s", t.Day, t.Camera)
	case t.Day != 0 || t.Date != "":
		return fmt.Sprintf("day %d, all cameras", t.Day)
	}
	return "all days, all cameras"
}
