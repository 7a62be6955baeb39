package report

import (
	"fmt"
	"slices"
	"time"

	"twobin/procedure"
	"twobin/training/review/stats"
)

// chartRuns is how many runs a chart shows, and how many times a step needs for one.
const chartRuns = 20

// Chart is a control chart of one step over the last runs.
type Chart struct {
	Step string `json:"step"`
	stats.Chart
	Points []ChartPoint `json:"points,omitempty"`
	Says   []string     `json:"says"`
}

// ChartPoint is one run on a chart.
type ChartPoint struct {
	RunRef
	Time    float64 `json:"ms"`
	Missing bool    `json:"missing,omitempty"`
	Signal  bool    `json:"signal,omitempty"`
}

// RunRef leads to a run in its journal.
type RunRef struct {
	Path  string    `json:"journal"`
	Line  int64     `json:"line"`
	End   int64     `json:"last_line"`
	Roll  string    `json:"roll"`
	Pass  int       `json:"pass"`
	Drill string    `json:"drill,omitempty"`
	Began time.Time `json:"began"`
}

func (r run) ref() RunRef {
	return RunRef{Path: r.s.Path, Line: r.First, End: r.Last, Roll: r.Roll, Pass: r.Pass, Drill: r.s.Drill, Began: r.Began}
}

func (p *one) charts(steps []procedure.Step) []Chart {
	var out []Chart
	for _, s := range steps {
		c := Chart{Step: s.String()}
		n := 0
		for _, r := range p.runs {
			if !r.Done[s] && r.Broken[s] == 0 {
				continue
			}
			pt := ChartPoint{RunRef: r.ref(), Missing: !r.Done[s]}
			if r.Done[s] {
				pt.Time = float64(r.Hands[s])
				n++
			}
			c.Points = append(c.Points, pt)
		}
		if n < chartRuns {
			c.Points = nil
			c.N = n
			c.Why = fmt.Sprintf("no chart: %d runs of %d", n, chartRuns)
			c.Says = []string{c.Why}
			out = append(out, c)
			continue
		}
		c.Points = c.Points[len(c.Points)-chartRuns:]
		pts := make([]stats.Point, len(c.Points))
		for i, pt := range c.Points {
			pts[i] = stats.Point{Time: pt.Time, Missing: pt.Missing}
		}
		c.Chart = stats.NewChart(pts)
		c.Says = c.says()
		out = append(out, c)
	}
	return out
}

// says is what the chart shows, and marks its points.
func (c *Chart) says() []string {
	if !c.OK {
		return []string{"no limits: " + c.Why}
	}
	var out []string
	for i, s := range c.Signals {
		c.Points[s.To].Signal = true
		if s.Rule >= stats.RuleTwoOfThree && c.toldBefore(i) {
			continue
		}
		side := "on the slow side"
		if !s.Above {
			side = "on the quick side"
		}
		pt := c.Points[s.To]
		out = append(out, fmt.Sprintf("%s, %s: %s, %s", pt.Roll, pt.Began.Format(time.DateOnly), s.Rule, side))
	}
	if len(out) == 0 {
		out = append(out, "nothing out of the ordinary")
	}
	return out
}

// toldBefore: the same rule said the same at the point before, so that this is one finding that goes on.
func (c *Chart) toldBefore(i int) bool {
	s := c.Signals[i]
	return slices.ContainsFunc(c.Signals[:i], func(b stats.Signal) bool {
		return b.Rule == s.Rule && b.Above == s.Above && b.To == s.To-1
	})
}
