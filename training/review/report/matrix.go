package report

import (
	"slices"
	"time"

	"twobin/training/drill"
)

// KindRow is one kind of incident, with a cell for everybody in the order of the report's people.
type KindRow struct {
	Kind  string `json:"kind"`
	Title string `json:"title"`
	Cells []Cell `json:"cells"`
}

// Cell is what became of a kind's incidents with one person. All zero: not yet met.
type Cell struct {
	Right  int `json:"right"`
	Late   int `json:"late"`
	Wrong  int `json:"wrong"`
	Missed int `json:"missed"`
	// Open: the drill had no end, so nothing was judged.
	Open int `json:"not_judged"`
}

// Met says whether it happened at all.
func (c Cell) Met() bool { return c != Cell{} }

func (c *Cell) add(result string) {
	switch result {
	case drill.Right.String():
		c.Right++
	case drill.Late.String():
		c.Late++
	case drill.Wrong.String():
		c.Wrong++
	case drill.Missed.String():
		c.Missed++
	default:
		c.Open++
	}
}

func kindRows(g *gathered, people []Person) []KindRow {
	var kinds []string
	for _, k := range drill.Kinds() {
		kinds = append(kinds, string(k))
	}
	cells := map[string][]Cell{}
	for i, p := range people {
		for _, q := range g.people {
			if key(q.name) != key(p.Name) {
				continue
			}
			for _, in := range q.incident {
				if cells[in.Kind] == nil {
					cells[in.Kind] = make([]Cell, len(people))
				}
				if !slices.Contains(kinds, in.Kind) { // of a newer program
					kinds = append(kinds, in.Kind)
				}
				cells[in.Kind][i].add(in.Result)
			}
		}
	}
	var rows []KindRow
	for _, k := range kinds {
		spec, _ := drill.SpecOf(drill.Kind(k))
		row := KindRow{Kind: k, Title: spec.Title, Cells: cells[k]}
		if row.Cells == nil {
			row.Cells = make([]Cell, len(people))
		}
		rows = append(rows, row)
	}
	return rows
}

// Standing is where a trainee stands with one drill.
type Standing struct {
	Drill  string    `json:"drill"`
	Title  string    `json:"title"`
	Stage  int       `json:"stage"`
	Done   int       `json:"done"`
	Passed int       `json:"passed"`
	Last   string    `json:"last,omitempty"`
	When   time.Time `json:"when,omitzero"`
	// Lacking is why the last one was not passed.
	Lacking string `json:"lacking,omitempty"`
}

// standing counts every drill that was done, whatever the review is limited to.
func (p *one) standing() []Standing {
	var out []Standing
	for _, d := range drill.Drills() {
		s := Standing{Drill: d.Name, Title: d.Title, Stage: d.Stage}
		for _, x := range p.all {
			if x.Drill != d.Name {
				continue
			}
			s.Done++
			s.Last, s.When, s.Lacking = x.Outcome, x.Began, x.Lacking
			if s.Last == "" {
				s.Last = drill.BrokenOff.String()
			}
			if x.Outcome == drill.Passed.String() {
				s.Passed++
			}
		}
		out = append(out, s)
	}
	return out
}
