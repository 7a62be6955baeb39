package report

import (
	"fmt"
	"math"
	"slices"
	"time"

	"twobin/procedure"
	"twobin/training/review/read"
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

// Outlier is a time that deserves a look.
type Outlier struct {
	RunRef
	Step string  `json:"step"`
	Time float64 `json:"ms"`
	// Usual is what was to be expected: the step's own learning curve at that run where it fits, else the step's median.
	Usual float64 `json:"usual"`
	Z     float64 `json:"z"`
	// What happened in that run at that step, or else in that run.
	What []string `json:"what"`
}

func (p *one) outliers(steps []procedure.Step) []Outlier {
	var out []Outlier
	for _, s := range steps {
		var rs []run
		var times []float64
		for _, r := range p.runs {
			if r.Done[s] {
				rs = append(rs, r)
				times = append(times, float64(r.Hands[s]))
			}
		}
		usual := expected(times)
		logs := make([]float64, len(times)) // skewed: see Methods
		for i, t := range times {
			logs[i] = math.Log(max(1, t) / usual[i])
		}
		o := stats.ModifiedZ(logs)
		for _, i := range o.Flagged {
			out = append(out, Outlier{RunRef: rs[i].ref(), Step: s.String(), Time: times[i], Usual: usual[i], Z: o.Z[i], What: what(rs[i], s)})
		}
	}
	slices.SortStableFunc(out, func(a, b Outlier) int {
		switch d := math.Abs(b.Z) - math.Abs(a.Z); {
		case d > 0:
			return 1
		case d < 0:
			return -1
		}
		return 0
	})
	return out
}

// expected is what each time is measured by: while somebody learns, the early times are long by right, so the step's own
// learning curve where it fits; else the median.
func expected(times []float64) []float64 {
	runs := make([]stats.Run, len(times))
	for i, t := range times {
		runs[i] = stats.Run{N: i + 1, Time: max(1, t)}
	}
	c := stats.FitCurve(runs)
	usual := max(1, medianOf(times))
	out := make([]float64, len(times))
	for i := range out {
		if c.OK && (c.Fit == stats.FitGood || c.Fit == stats.FitFair) {
			out[i] = c.At(i + 1)
		} else {
			out[i] = usual
		}
	}
	return out
}

// what says what is known of a run: what happened at the step, else what happened in it at all.
func what(r run, s procedure.Step) []string {
	var at, in []string
	for _, m := range r.Marks {
		text := m.Kind.String()
		if m.Step != procedure.StepNone {
			text += " at " + m.Step.String()
		}
		if m.Text != "" {
			text += ": " + m.Text
		}
		if m.Step == s {
			at = append(at, text)
		} else {
			in = append(in, text)
		}
	}
	switch {
	case len(at) > 0:
		return at
	case len(in) > 0:
		in[0] = "nothing noted at this step, but in this run: " + in[0]
		return in
	case r.Pass > 1:
		return []string{fmt.Sprintf("nothing noted; it was pass %d of this roll", r.Pass)}
	}
	return []string{"nothing noted in this run"}
}

// RunRow is one run with all its times.
type RunRow struct {
	RunRef
	// Number among the completed runs of the trainee, 0 for one that was not completed.
	Number  int              `json:"number"`
	Total   int64            `json:"total_ms"`
	Hands   map[string]int64 `json:"hands_ms"`
	Broken  []string         `json:"broken_off,omitempty"`
	Machine int64            `json:"machine_ms"`
	Away    int64            `json:"away_ms"`
	Shared  bool             `json:"shared,omitempty"`
	Marks   []RunMark        `json:"marks,omitempty"`
}

// RunMark is something that happened in a run.
type RunMark struct {
	Kind string `json:"kind"`
	Step string `json:"step,omitempty"`
	Line int64  `json:"line"`
	Text string `json:"text,omitempty"`
}

func (p *one) rows() []RunRow {
	out := make([]RunRow, 0, len(p.runs))
	for _, r := range p.runs {
		row := RunRow{RunRef: r.ref(), Number: r.n, Hands: map[string]int64{}, Machine: r.Machine(), Away: r.Away, Shared: r.Shared}
		if r.n > 0 {
			row.Total = r.total
		}
		for s := procedure.StepReceive; int(s) < read.Steps; s++ {
			if r.Done[s] {
				row.Hands[s.String()] = r.Hands[s]
			}
			if r.Broken[s] > 0 {
				row.Broken = append(row.Broken, s.String())
			}
		}
		for _, m := range r.Marks {
			k := RunMark{Kind: m.Kind.String(), Line: m.Line, Text: m.Text}
			if m.Step != procedure.StepNone {
				k.Step = m.Step.String()
			}
			row.Marks = append(row.Marks, k)
		}
		out = append(out, row)
	}
	return out
}
