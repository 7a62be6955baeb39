package stats

import (
	"math"

	"gonum.org/v1/gonum/stat"
)

// Constants of the chart for ranges of two, as the NIST/SEMATECH e-Handbook prints them (6.3.2.2 and the table in
// 6.3.2.1). Other tables round otherwise (D4 3.268; d2 is 2/√π): pinned, since limits differ in the third decimal.
const (
	chartD2 = 1.128
	chartD4 = 3.267
)

// MinChart is how many times a chart needs for limits; with fewer only the points are worth showing. Own choice.
const MinChart = 10

// Point is one run on a chart. Missing: the step was not completed in that run; Time then means nothing.
type Point struct {
	Time    float64
	Missing bool
}

// Limits are those of an individuals and moving-range chart.
type Limits struct {
	OK  bool   `json:"ok"`
	Why string `json:"why,omitempty"`
	// Center is the mean, Lower and Upper lie three Sigma from it. Lower may be negative: Floor is what to draw.
	Center float64 `json:"center"`
	Lower  float64 `json:"lower"`
	Upper  float64 `json:"upper"`
	// Sigma is RangeMean / 1.128: the spread from one run to the next. (Not the standard deviation, which a trend blows up.)
	Sigma float64 `json:"sigma"`
	// RangeMean is the mean moving range, RangeUpper the limit for a single one.
	RangeMean  float64 `json:"range_mean"`
	RangeUpper float64 `json:"range_upper"`
}

// NewLimits takes the limits from points. A moving range is taken only between neighbours, never across a missing point.
// OK is false if there are fewer than two neighbours or no spread.
func NewLimits(points []Point) Limits {
	var times, ranges []float64
	for i, p := range points {
		if p.Missing {
			continue
		}
		times = append(times, p.Time)
		if i > 0 && !points[i-1].Missing {
			ranges = append(ranges, math.Abs(p.Time-points[i-1].Time))
		}
	}
	if len(ranges) == 0 {
		return Limits{Why: "too few runs one after the other"}
	}
	l := Limits{OK: true, Center: stat.Mean(times, nil), RangeMean: stat.Mean(ranges, nil)}
	if l.RangeMean == 0 {
		return Limits{Why: "all times are equal"}
	}
	l.Sigma = l.RangeMean / chartD2
	l.Lower, l.Upper = l.Center-3*l.Sigma, l.Center+3*l.Sigma
	l.RangeUpper = chartD4 * l.RangeMean
	return l
}

// Floor is the lower limit as it is drawn: no time is less than nothing.
func (l Limits) Floor() float64 { return max(l.Lower, 0) }

// Outside says whether a time lies beyond the limits. One on a limit does not; and where the lower limit is drawn at 0,
// none is below it.
func (l Limits) Outside(time float64) bool {
	return l.OK && (time > l.Upper || time < l.Lower)
}

// Rule is a test that a chart applies to its points. The zero value is no rule.
type Rule int

const (
	_ Rule = iota
	// RuleOutside: one point beyond three sigma.
	RuleOutside
	// RuleRange: the range from the point before is beyond its limit.
	RuleRange
	// RuleTwoOfThree: two of three points in a row beyond two sigma, on one side.
	RuleTwoOfThree
	// RuleFourOfFive: four of five points in a row beyond one sigma, on one side.
	RuleFourOfFive
	// RuleEight: eight points in a row on one side of the center.
	RuleEight
)

// String is the rule in words.
func (r Rule) String() string {
	switch r {
	case RuleOutside:
		return "outside the limits"
	case RuleRange:
		return "jump from the run before"
	case RuleTwoOfThree:
		return "two of three beyond two sigma"
	case RuleFourOfFive:
		return "four of five beyond one sigma"
	case RuleEight:
		return "eight in a row on one side"
	}
	return "no rule"
}

// Signal is one place where a rule says that something was not as usual. From and To are the first and last point it
// looked at, from 0; a run that goes on is one signal. Above: on the slow side; for RuleRange, towards it.
type Signal struct {
	Rule  Rule `json:"rule"`
	From  int  `json:"from"`
	To    int  `json:"to"`
	Above bool `json:"above"`
}

// Chart is the control chart of one step: its limits, and what lies outside them.
type Chart struct {
	Limits
	// N counts the points that are not missing.
	N       int      `json:"n"`
	Signals []Signal `json:"signals,omitempty"`
}

// NewChart charts points in the order of their runs. With fewer than MinChart times OK is false and only the points are
// worth showing. The chart wants a steady process: while someone is still learning, chart the last 10 to 20 runs.
//
// The run tests are the Western Electric ones. Each raises false alarms: steady data give one signal in about 371 points
// with the first rule alone, in about 92 with the four for single times (NIST/SEMATECH e-Handbook 6.3.2, from memory).
func NewChart(points []Point) Chart {
	c := Chart{}
	for _, p := range points {
		if !p.Missing {
			c.N++
		}
	}
	if c.N < MinChart {
		c.Why = "too few runs"
		return c
	}
	c.Limits = NewLimits(points)
	if !c.OK {
		return c
	}
	for i, p := range points {
		if p.Missing {
			continue
		}
		if c.Outside(p.Time) {
			c.Signals = append(c.Signals, Signal{RuleOutside, i, i, p.Time > c.Center})
		}
		if i > 0 && !points[i-1].Missing && math.Abs(p.Time-points[i-1].Time) > c.RangeUpper {
			c.Signals = append(c.Signals, Signal{RuleRange, i - 1, i, p.Time > points[i-1].Time})
		}
		for _, r := range [...]struct {
			rule       Rule
			of, needed int
			sigmas     float64
		}{{RuleTwoOfThree, 3, 2, 2}, {RuleFourOfFive, 5, 4, 1}, {RuleEight, 8, 8, 0}} {
			if s, ok := c.run(points, i, r.of, r.needed, r.sigmas); ok {
				s.Rule = r.rule
				c.note(s)
			}
		}
	}
	return c
}

// note adds a signal of a run test, or draws the one out that the point before gave.
func (c *Chart) note(s Signal) {
	for i := range c.Signals {
		if have := &c.Signals[i]; have.Rule == s.Rule && have.Above == s.Above && have.To == s.To-1 {
			have.To = s.To
			return
		}
	}
	c.Signals = append(c.Signals, s)
}

// run says whether at least needed of the last of points up to i, i among them, lie beyond sigmas on the side of i. The
// points must follow each other without a gap.
func (c *Chart) run(points []Point, i, of, needed int, sigmas float64) (Signal, bool) {
	s := Signal{From: i - of + 1, To: i, Above: points[i].Time > c.Center}
	if s.From < 0 {
		return s, false
	}
	beyond, last := 0, false
	for _, p := range points[s.From : i+1] {
		if p.Missing {
			return s, false
		}
		d := p.Time - c.Center
		if !s.Above {
			d = -d
		}
		last = d > sigmas*c.Sigma
		if last {
			beyond++
		}
	}
	return s, last && beyond >= needed
}
