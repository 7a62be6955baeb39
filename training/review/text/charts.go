package text

import (
	"fmt"
	"strings"

	"twobin/training/review/report"
)

// Curve is the learning curve.
func Curve(r *report.Report, i int) string {
	p := &page{}
	curve(p, &r.People[i])
	return p.b.String()
}

func curve(p *page, w *report.Person) {
	p.blank()
	p.line("Learning curve: hands-on time of a run, pick to bin")
	p.wrap("", "", w.Curve.Says)
	curvePlot(p, w.Curve, w.Total)
}

// Step is everything about one step of a person: its times, how they lie, its control chart. step counts the steps of the
// review from 0.
func Step(r *report.Report, i, step int) string {
	p := &page{}
	w := &r.People[i]
	if step >= len(w.Steps) {
		return ""
	}
	t := w.Steps[step]
	p.heads(stepHeads)
	timesRow(p, t)
	if t.N > 0 {
		p.line(fmt.Sprintf("%-9s |%s|", t.Step, strip(t, max(t.P90, t.Standard)*1.15+1, stripWide)))
	}
	chartOf(p, w.Charts[step])
	return p.b.String()
}

func chartOf(p *page, c report.Chart) {
	p.blank()
	if c.OK {
		p.line(fmt.Sprintf("Control chart: %s, the last %d runs. Mean %s, limits %s to %s.", c.Step, len(c.Points), secs(c.Center), secs(c.Floor()), secs(c.Upper)))
	} else {
		p.line("Control chart: " + c.Step)
	}
	chartPlot(p, c)
	for _, s := range c.Says {
		p.wrap("- ", "  ", s)
	}
}

// charts shows those that have something to say; the others in one line each.
func charts(p *page, w *report.Person) {
	var quiet, short []string
	for _, c := range w.Charts {
		switch {
		case len(c.Points) == 0:
			short = append(short, fmt.Sprintf("%s (%d)", c.Step, c.N))
		case c.OK && len(c.Signals) == 0:
			quiet = append(quiet, c.Step)
		default:
			chartOf(p, c)
		}
	}
	if len(quiet) > 0 {
		p.blank()
		p.wrap("", "", "Control charts with nothing out of the ordinary: "+strings.Join(quiet, ", ")+".")
	}
	if len(short) > 0 {
		p.blank()
		p.wrap("", "", "No control chart, fewer than 20 runs: "+strings.Join(short, ", ")+".")
	}
}
