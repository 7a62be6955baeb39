package sheet

import (
	"cmp"
	"fmt"
	"slices"
)

// Total adds up the rolls of one camera on one day; Camera empty: of all cameras; Day 0 and Date empty: of all days;
// Production empty too: of all productions.
type Total struct {
	Production string
	Day        int
	Date       string
	Camera     string
	// Colour is empty when the camera had several.
	Colour string
	Rolls  int
	// Safe counts rolls that are proven and in the green bin or handed back.
	Safe   int
	Files  int
	Bytes  int64
	Erased int
	Holds  int // rolls on hold now

	several bool // productions: the name says which
	dates   bool // the day has several: the name says which
}

func (t *Total) add(r *Row) {
	if t.Rolls == 0 && t.Camera != "" {
		t.Colour = r.Colour
	}
	if t.Colour != r.Colour {
		t.Colour = ""
	}
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

// sum is a day or a production with its cameras.
type sum struct {
	whole Total
	cams  map[string]*Total
}

func (s *sum) add(r *Row) {
	c := s.cams[r.Camera]
	if c == nil {
		c = &Total{Production: s.whole.Production, Day: s.whole.Day, Date: s.whole.Date, Camera: r.Camera}
		s.cams[r.Camera] = c
	}
	c.add(r)
	s.whole.add(r)
}

// lines are the cameras in their order, then the whole.
func (s *sum) lines() []Total {
	var out []Total
	for _, c := range s.cams {
		out = append(out, *c)
	}
	slices.SortFunc(out, func(a, b Total) int {
		return cmp.Or(cmp.Compare(len(a.Camera), len(b.Camera)), cmp.Compare(a.Camera, b.Camera))
	})
	return append(out, s.whole)
}

// Totals gives one line a production, day and camera, each day's own sum behind its cameras; behind a production's days,
// if there are several, one line a camera over all of them and their sum; at the end, if there are several productions,
// the sum of all. In the order of the sheet.
func (s *Sheet) Totals() []Total {
	type key struct {
		production, date string
		day              int
	}
	sums := map[key]*sum{}
	days := map[string][]key{} // by production
	dates := map[key]int{}     // of a production's day
	var productions []string
	all := Total{several: true}
	for i := range s.Rows {
		r := &s.Rows[i]
		k, whole := key{r.Production, r.Date, r.Day}, key{production: r.Production}
		if sums[k] == nil {
			sums[k] = &sum{Total{Production: r.Production, Day: r.Day, Date: r.Date}, map[string]*Total{}}
			if days[r.Production] == nil {
				productions = append(productions, r.Production)
				sums[whole] = &sum{Total{Production: r.Production}, map[string]*Total{}}
			}
			days[r.Production] = append(days[r.Production], k)
			dates[key{r.Production, "", r.Day}]++
		}
		sums[k].add(r)
		sums[whole].add(r)
		all.add(r)
	}
	var out []Total
	for _, p := range productions {
		for _, k := range days[p] {
			for _, t := range sums[k].lines() {
				t.dates = dates[key{p, "", k.day}] > 1
				out = append(out, t)
			}
		}
		if len(days[p]) > 1 {
			out = append(out, sums[key{production: p}].lines()...)
		}
	}
	for i := range out {
		out[i].several = len(productions) > 1
	}
	if len(productions) != 1 {
		out = append(out, all)
	}
	return out
}

// Name says whose total a line is; with the production and the date where the sheet has several.
func (t *Total) Name() string {
	name := "all days"
	switch {
	case t.Day == 0 && t.Date == "" && t.Production == "" && t.Rolls > 0:
		name = "all productions, all days"
	case t.dates:
		name = fmt.Sprintf("day %d, %s", t.Day, t.Date)
	case t.Day != 0 || t.Date != "":
		name = fmt.Sprintf("day %d", t.Day)
	}
	if t.several && t.Production != "" {
		name = t.Production + ", " + name
	}
	switch {
	case t.Camera == "":
		return name + ", all cameras"
	case t.Colour != "":
		return fmt.Sprintf("%s, camera %s, %s", name, t.Camera, t.Colour)
	}
	return fmt.Sprintf("%s, camera %s", name, t.Camera)
}
