package stats

import (
	"math"

	"gonum.org/v1/gonum/stat"
)

// MinCurve is how many runs a learning rate needs. This project's own choice.
const MinCurve = 5

// Bounds of the words for a fit, on R² of the logarithms, and how far a forecast may reach, as a multiple of the number
// of the last run. This project's own choices.
const (
	goodFit     = 0.7
	fairFit     = 0.4
	forecastFar = 4
)

// CurveReading names how the curve is meant: T_n is the time of the n-th run (the unit curve), not the mean of the first n.
const CurveReading = "unit curve"

// Run is one completed run: its number, from 1, among the completed ones, and its hands-on time (machine time cannot be
// learned).
type Run struct {
	N    int
	Time float64
}

// Fit is how well a curve describes the times. The zero value is no fit.
type Fit int

const (
	_ Fit = iota
	// FitPoor: the curve says little; no forecast.
	FitPoor
	// FitFair: the curve shows a tendency.
	FitFair
	// FitGood: the curve describes the times well.
	FitGood
	// FitFlat: all times are equal, there is nothing to describe.
	FitFlat
)

// String is the word for the fit.
func (f Fit) String() string {
	switch f {
	case FitPoor:
		return "poor"
	case FitFair:
		return "fair"
	case FitGood:
		return "good"
	case FitFlat:
		return "flat"
	}
	return "none"
}

// Curve is a learning curve T_n = First · n^B, after T. P. Wright, Factors Affecting the Cost of Airplanes, Journal of the
// Aeronautical Sciences, February 1936, read as the unit curve.
type Curve struct {
	OK  bool   `json:"ok"`
	Why string `json:"why,omitempty"`
	// First is the fitted time of run 1, B the exponent: negative when times fall.
	First float64 `json:"first"`
	B     float64 `json:"b"`
	// Rate is what is left of a time when the number of runs doubles, 2^B: 0.8 is an 80 % curve; over 1 is getting slower.
	Rate float64 `json:"rate"`
	// R2 is the share of the variance of the logarithms that the curve explains, Fit its word.
	R2  float64 `json:"r2"`
	Fit Fit     `json:"fit"`
	// Scatter is the factor by which times typically lie off the curve, 1 or more: 1.2 means a fifth, up or down.
	Scatter float64 `json:"scatter"`
	// Runs counts the runs fitted; Last is the highest number among them.
	Runs int `json:"runs"`
	Last int `json:"last"`
}

// NewCurve is the curve through a time of run 1 and a learning rate (both above 0): not fitted, so without a quality.
func NewCurve(first, rate float64) Curve {
	if !(first > 0 && rate > 0) {
		return Curve{Why: "time and rate must be above 0"}
	}
	return Curve{OK: true, First: first, Rate: rate, B: math.Log2(rate), Scatter: 1}
}

// FitCurve fits a curve to runs by least squares of ln T on ln n. The power form fits averages; single learners are often
// described better by an exponential (Heathcote, Brown and Mewhort, Psychonomic Bulletin & Review 7(2):185-207, 2000): take
// it for a summary and a rough forecast.
func FitCurve(runs []Run) Curve {
	c := Curve{Runs: len(runs)}
	if len(runs) < MinCurve {
		c.Why = "too few runs"
		return c
	}
	x, y := make([]float64, len(runs)), make([]float64, len(runs))
	times := make([]float64, len(runs))
	for i, r := range runs {
		if r.N < 1 || !(r.Time > 0) {
			c.Why = "a run without a number or a time"
			return c
		}
		x[i], y[i], times[i] = math.Log(float64(r.N)), math.Log(r.Time), r.Time
		c.Last = max(c.Last, r.N)
	}
	if allEqual(x) {
		c.Why = "all runs have the same number"
		return c
	}
	c.OK = true
	if allEqual(times) {
		c.First, c.Rate, c.Fit, c.Scatter = times[0], 1, FitFlat, 1
		c.Why = "all times are equal"
		return c
	}
	alpha, beta := stat.LinearRegression(x, y, nil, false)
	c.First, c.B, c.Rate = math.Exp(alpha), beta, math.Exp2(beta)
	c.R2 = max(0, stat.RSquared(x, y, nil, alpha, beta))
	var squares float64
	for i := range x {
		d := y[i] - alpha - beta*x[i]
		squares += d * d
	}
	c.Scatter = math.Exp(math.Sqrt(squares / float64(len(runs)-2)))
	switch {
	case c.R2 >= goodFit:
		c.Fit = FitGood
	case c.R2 >= fairFit:
		c.Fit = FitFair
	default:
		c.Fit = FitPoor
	}
	return c
}

// At is the curve's time for run n, from 1; 0 if there is no curve.
func (c Curve) At(n int) float64 {
	if !c.OK || n < 1 {
		return 0
	}
	return c.First * math.Pow(float64(n), c.B)
}

// Sum is the curve's time for the runs from a to b together.
func (c Curve) Sum(a, b int) float64 {
	var sum float64
	for n := max(a, 1); n <= b; n++ {
		sum += c.At(n)
	}
	return sum
}

// Forecast is when a curve meets a standard.
type Forecast struct {
	OK  bool   `json:"ok"`
	Why string `json:"why,omitempty"`
	// Run is the first run whose time on the curve is not over the standard. Met: that is not after the last run seen.
	Run int  `json:"run"`
	Met bool `json:"met"`
	// Practice is the time on the curve of the runs that are still to come up to Run; 0 when Met.
	Practice float64 `json:"practice"`
}

// Forecast says at which run the curve meets standard, a time above 0. OK is false where nothing can be said: no curve,
// a poor fit, times that do not fall, or a run farther off than four times those seen.
func (c Curve) Forecast(standard float64) Forecast {
	switch {
	case !c.OK:
		return Forecast{Why: c.Why}
	case !(standard > 0):
		return Forecast{Why: "there is no standard"}
	case c.Fit == FitPoor:
		return Forecast{Why: "the curve fits poorly"}
	case c.First <= standard && c.At(max(c.Last, 1)) <= standard:
		return Forecast{OK: true, Run: 1, Met: true}
	case c.B >= 0:
		return Forecast{Why: "times do not fall"}
	}
	n := math.Pow(standard/c.First, 1/c.B)
	if n > float64(forecastFar*max(c.Last, 1)) {
		return Forecast{Why: "too far off to say"}
	}
	run := int(math.Ceil(n - 1e-9)) // on the standard counts, also after rounding
	f := Forecast{OK: true, Run: run, Met: run <= c.Last}
	if !f.Met {
		f.Practice = c.Sum(c.Last+1, run)
	}
	return f
}
