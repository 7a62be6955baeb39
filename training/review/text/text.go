package text

import (
	"fmt"
	"io"
	"strings"
	"time"

	"twobin/training/review/report"
)

// mostOutliers is how many outliers of a person the whole text lists.
const mostOutliers = 8

// Write writes the whole review.
func Write(w io.Writer, r *report.Report) error {
	p := &page{}
	head(p, r)
	if len(r.People) > 0 {
		p.head("What it comes to")
		for i := range r.People {
			overview(p, &r.People[i])
		}
		incidents(p, r)
	}
	for i := range r.People {
		w := &r.People[i]
		if w.Runs == 0 && w.Drills+w.Shifts == 0 {
			continue
		}
		p.head(w.Name)
		compliance(p, w)
		standing(p, w)
		times(p, w)
		curve(p, w)
		charts(p, w)
		outliers(p, w, mostOutliers)
	}
	comparison(p, r)
	methods(p, r)
	_, err := io.WriteString(w, p.b.String())
	return err
}

// Basis is what the review rests on, what is left out, and how it was reckoned.
func Basis(r *report.Report) string {
	p := &page{}
	head(p, r)
	methods(p, r)
	return p.b.String()
}

func methods(p *page, r *report.Report) {
	p.head("How this was reckoned")
	for _, m := range r.Methods {
		p.wrap("- ", "  ", m)
	}
}

// head says what the review rests on and what is left out.
func head(p *page, r *report.Report) {
	if r.Demo {
		p.line("DEMO: everybody and everything in this review is invented.")
		p.blank()
	}
	s := &r.Scope
	p.line("REVIEW of " + s.Mode + since(s))
	if s.Drills+s.Shifts == 0 {
		p.line("No journal of a drill or shift is in it.")
	} else {
		p.line(fmt.Sprintf("%s, %s, %s, %s to %s.", count(s.Drills, "drill"), count(s.Shifts, "shift"), count(s.Runs, "run"),
			s.First.Format(time.DateOnly), s.Last.Format(time.DateOnly)))
	}
	if s.Watched > 0 {
		p.line(fmt.Sprintf("Not counted: %s that the program played.", count(s.Watched, "drill")))
	}
	if len(s.References) > 0 {
		p.wrap("", "", "Standard: the median of "+strings.Join(s.References, ", ")+".")
	} else {
		p.line("Standard: none; name somebody with --reference NAME.")
	}
	p.line("For trainer and trainee. People stand by name; this is no ranking.")
	left(p, r)
}

func since(s *report.Scope) string {
	if s.Since == "" {
		return ""
	}
	return " since " + s.Since
}

func left(p *page, r *report.Report) {
	if len(r.Left) == 0 {
		return
	}
	p.blank()
	p.line("LEFT OUT:")
	for _, l := range r.Left {
		used := "; nothing of it is in this review"
		if l.Used > 0 {
			used = fmt.Sprintf("; the %s before it are in this review", count(l.Used, "line"))
		}
		p.wrap("- ", "  ", l.Path+" "+l.Why+used+".")
	}
}

// Incidents is the matrix.
func Incidents(r *report.Report) string {
	p := &page{}
	incidents(p, r)
	return p.b.String()
}

// aRow is how many people stand beside each other in the matrix.
const aRow = 5

func incidents(p *page, r *report.Report) {
	p.head("Incidents: right/late/wrong/missed")
	p.line("A dash: not yet met. +n: not judged, the drill had no end.")
	for from := 0; from < len(r.People); from += aRow {
		to := min(from+aRow, len(r.People))
		cols := []column{{"incident", 18, false}}
		cells := []string{}
		for i := from; i < to; i++ {
			cols = append(cols, column{r.People[i].Name, 11, true})
		}
		p.blank()
		p.heads(cols)
		for _, k := range r.Incidents {
			cells = append(cells[:0], k.Kind)
			for _, c := range k.Cells[from:to] {
				cells = append(cells, cellText(c))
			}
			p.row(cols, cells...)
		}
	}
}

func cellText(c report.Cell) string {
	if !c.Met() {
		return "-"
	}
	t := fmt.Sprintf("%d/%d/%d/%d", c.Right, c.Late, c.Wrong, c.Missed)
	if c.Open > 0 {
		t += fmt.Sprintf("+%d", c.Open)
	}
	return t
}

// Comparison is the comparison, empty without one.
func Comparison(r *report.Report) string {
	p := &page{}
	comparison(p, r)
	return p.b.String()
}

func comparison(p *page, r *report.Report) {
	c := r.Comparison
	if c == nil {
		return
	}
	p.head("Comparison: " + c.A + " and " + c.B)
	p.wrap("", "", "Basis: "+c.Basis+".")
	cols := []column{
		{"step", 9, false}, {"n", 7, true}, {"median A", 8, true}, {"median B", 8, true}, {"A longer", 8, true}, {"p", 6, true}, {"", 26, false},
	}
	p.blank()
	p.wrap("", "", "A is "+c.A+", B is "+c.B+".")
	p.heads(cols)
	for _, x := range c.Rows {
		step := x.Step
		if step == "whole run" {
			step = "run"
		}
		chance, pv := "-", "-"
		if x.OK {
			chance, pv = fmt.Sprintf("%.0f %%", 100*x.AOverB), report.Probability(x.Holm)
		}
		p.row(cols, step, fmt.Sprintf("%d, %d", x.NA, x.NB), dash(x.NA, x.MedianA), dash(x.NB, x.MedianB), chance, pv, sayShort(x))
	}
	p.wrap("", "", "A longer: the chance that a time of A is longer than one of B. p: corrected for the number of rows; a difference is claimed from 0.05 down.")
}

// sayShort is what can be said with A and B for the names.
func sayShort(x report.ComparisonRow) string {
	switch {
	case x.Quicker == "a":
		return "A is quicker by " + secs(-x.Shift)
	case x.Quicker == "b":
		return "B is quicker by " + secs(x.Shift)
	case x.NA > 0 && x.NB > 0 && !x.OK:
		return x.Why
	}
	return x.Says
}

func dash(n int, ms float64) string {
	if n == 0 {
		return "-"
	}
	return secs(ms)
}
