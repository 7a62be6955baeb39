package report

import (
	"fmt"
	"math"

	"twobin/training/review/stats"
)

// Curve is a learning curve over the times of whole runs.
type Curve struct {
	stats.Curve
	FitWord  string         `json:"fit_word"`
	Points   []CurvePoint   `json:"points"`
	Forecast stats.Forecast `json:"forecast"`
	// Says is what it comes to, in one sentence.
	Says string `json:"says"`
}

// CurvePoint is one completed run: its number, from 1, and its time in milliseconds.
type CurvePoint struct {
	N    int     `json:"n"`
	Time float64 `json:"ms"`
}

func (p *one) curve(std standards) Curve {
	c := Curve{}
	var runs []stats.Run
	for _, r := range p.runs {
		if r.n > 0 {
			runs = append(runs, stats.Run{N: r.n, Time: max(1, float64(r.total))})
			c.Points = append(c.Points, CurvePoint{r.n, float64(r.total)})
		}
	}
	c.Curve = stats.FitCurve(runs)
	c.FitWord = c.Fit.String()
	c.Forecast = c.Curve.Forecast(std[0].median)
	if !std[0].ok {
		c.Forecast = stats.Forecast{Why: "there is no standard: nobody was named as reference"}
	}
	c.Says = c.says()
	return c
}

// says is the curve in words.
func (c Curve) says() string {
	switch {
	case !c.OK:
		return fmt.Sprintf("No rate: %s (%d completed, %d needed).", c.Why, len(c.Points), stats.MinCurve)
	case c.Fit == stats.FitFlat:
		return "Every run took the same time: nothing is getting better or worse."
	}
	trend := fmt.Sprintf("with twice as many runs %.0f %% of the time is left", 100*c.Rate)
	if c.Rate >= 1 {
		trend = fmt.Sprintf("times do not fall: with twice as many runs %.0f %%", 100*c.Rate)
	}
	text := fmt.Sprintf("Learning rate %.2f: %s; the curve fits %s (R2 %.2f).", c.Rate, trend, fitAdverb(c.Fit), c.R2)
	switch f := c.Forecast; {
	case !f.OK:
		return text + " No forecast: " + f.Why + "."
	case f.Met:
		return text + fmt.Sprintf(" The curve meets the standard, since run %d.", f.Run)
	default:
		return text + fmt.Sprintf(" Forecast: the standard is met at run %d, %d runs from now, with about %.0f minutes of hands-on practice.", f.Run, f.Run-c.Last, math.Ceil(f.Practice/60_000))
	}
}

func fitAdverb(f stats.Fit) string {
	switch f {
	case stats.FitGood:
		return "well"
	case stats.FitFair:
		return "fairly"
	case stats.FitPoor:
		return "poorly"
	case stats.FitFlat:
	}
	return "as a flat line"
}
