package stats

import (
	"fmt"
	"math"
	"testing"
)

// Exponents by definition, b = log2 r.
func TestExponents(t *testing.T) {
	for r, b := range map[float64]float64{0.70: -0.514573, 0.75: -0.415037, 0.80: -0.321928, 0.85: -0.234465, 0.90: -0.152003, 0.95: -0.074001} {
		near(t, fmt.Sprint("exponent of ", r), NewCurve(1, r).B, b, 5e-7)
	}
}

// Printed in course pages, Exhibit 4A.2 "Ch04A Learning Curves": an 80 % curve from 100,000 (unit time, sum, mean, each to
// the whole number), and from 10 with four decimals.
func TestUnitCurveTables(t *testing.T) {
	c := NewCurve(100_000, 0.8)
	for _, row := range []struct {
		n               int
		unit, sum, mean float64
	}{
		{1, 100000, 100000, 100000}, {2, 80000, 180000, 90000}, {4, 64000, 314210, 78553}, {8, 51200, 534591, 66824},
		{16, 40960, 892014, 55751}, {32, 32768, 1467862, 45871}, {64, 26214, 2392447, 37382}, {128, 20972, 3874384, 30269},
		{256, 16777, 6247572, 24405},
	} {
		near(t, fmt.Sprint("unit ", row.n), c.At(row.n), row.unit, 0.5)
		near(t, fmt.Sprint("sum to ", row.n), c.Sum(1, row.n), row.sum, 0.5)
		near(t, fmt.Sprint("mean to ", row.n), c.Sum(1, row.n)/float64(row.n), row.mean, 0.5)
	}
	c = NewCurve(10, 0.8)
	for i, want := range tenUnits {
		near(t, fmt.Sprint("unit ", i+1), c.At(i+1), want, 0.00005)
	}
	for _, row := range []struct {
		n               int
		unit, sum, mean float64
	}{{10, 4.7651, 63.1537, 6.3154}, {20, 3.8121, 104.8494, 5.2425}, {100, 2.2706, 326.5081, 3.2651}, {1000, 1.0820, 1586.7092, 1.5867}} {
		near(t, fmt.Sprint("unit ", row.n), c.At(row.n), row.unit, 0.00005)
		near(t, fmt.Sprint("sum to ", row.n), c.Sum(1, row.n), row.sum, 0.00005)
		near(t, fmt.Sprint("mean to ", row.n), c.Sum(1, row.n)/float64(row.n), row.mean, 0.00005)
	}
	for i, want := range []float64{0.4450, 0.5052, 0.5682, 0.6338, 0.7021, 0.7729, 0.8462, 0.9219} {
		r := 0.60 + 0.05*float64(i)
		near(t, fmt.Sprintf("unit 3 at %.2f", r), NewCurve(1, r).At(3), want, 0.00005)
	}
}

var tenUnits = []float64{10, 8, 7.0210, 6.4000, 5.9564, 5.6168, 5.3449, 5.1200, 4.9295, 4.7651}

// Printed in the documentation of the R package learningCurve 1.1.2 (Boehmke and Freels, 2018), unit model.
func TestUnitCurveOfALibrary(t *testing.T) {
	for r, want := range map[float64]float64{0.85: 32.23647, 0.80: 21.13225, 0.90: 48.00243, 0.95: 69.95640} {
		near(t, fmt.Sprint("unit 125 at ", r), NewCurve(100, r).At(125), want, 0.000005)
	}
	near(t, "sum of 125 units", NewCurve(100, 0.85).Sum(1, 125), 5201.085, 0.0005)
	// T_100 = 100, unit 125: the ratio of two units does not depend on the first.
	c := NewCurve(1, 0.85)
	near(t, "unit 125 from unit 100", 100*c.At(125)/c.At(100), 94.90257, 0.000005)
}

func TestFitCurve(t *testing.T) {
	c := FitCurve(numbered(tenUnits...))
	if !c.OK || c.Fit != FitGood || c.Runs != 10 || c.Last != 10 {
		t.Fatalf("fit: %+v", c)
	}
	// Recomputed from the printed table above; its source is an 80 % curve from 10.
	near(t, "exponent", c.B, -0.3219276, 1e-6)
	near(t, "rate", c.Rate, 0.8000003, 1e-6)
	near(t, "first", c.First, 9.999989, 5e-7)
	if c.R2 < 0.999999 || c.Scatter < 1 || c.Scatter > 1.0001 {
		t.Errorf("R² %v, scatter %v", c.R2, c.Scatter)
	}
	// Getting slower is reported, not clamped.
	if c := FitCurve(numbered(5, 6, 7, 8, 9)); !c.OK || c.Rate <= 1 || c.B <= 0 {
		t.Errorf("slower: %+v", c)
	}
	// Run numbers need not be without gaps.
	gaps := []Run{{2, NewCurve(40, 0.9).At(2)}, {3, NewCurve(40, 0.9).At(3)}, {5, NewCurve(40, 0.9).At(5)}, {9, NewCurve(40, 0.9).At(9)}, {20, NewCurve(40, 0.9).At(20)}}
	c = FitCurve(gaps)
	near(t, "rate with gaps", c.Rate, 0.9, 1e-12)
	near(t, "first with gaps", c.First, 40, 1e-9)
	if c.Last != 20 {
		t.Errorf("last run %d", c.Last)
	}
}

func numbered(times ...float64) []Run {
	rs := make([]Run, len(times))
	for i, v := range times {
		rs[i] = Run{N: i + 1, Time: v}
	}
	return rs
}

func TestFitCurveSaysWhyNot(t *testing.T) {
	for _, tt := range []struct {
		name string
		runs []Run
		why  string
	}{
		{"none", nil, "too few runs"},
		{"four", numbered(9, 8, 7, 6), "too few runs"},
		{"a time of 0", numbered(9, 8, 7, 6, 0), "a run without a number or a time"},
		{"run 0", append(numbered(9, 8, 7, 6), Run{0, 5}), "a run without a number or a time"},
		{"one number", []Run{{3, 9}, {3, 8}, {3, 7}, {3, 6}, {3, 5}}, "all runs have the same number"},
	} {
		if c := FitCurve(tt.runs); c.OK || c.Why != tt.why || c.At(3) != 0 || c.Sum(1, 9) != 0 || c.Forecast(3).OK {
			t.Errorf("%s: %+v, want %q", tt.name, c, tt.why)
		}
	}
	if c := FitCurve(numbered(7, 7, 7, 7, 7)); !c.OK || c.Fit != FitFlat || c.Rate != 1 || c.At(9) != 7 || c.Why == "" || math.IsNaN(c.R2) {
		t.Errorf("all equal: %+v", c)
	}
	if NewCurve(0, 0.8).OK || NewCurve(1, 0).OK {
		t.Error("a curve from nothing")
	}
}

func TestFitWords(t *testing.T) {
	for _, tt := range []struct {
		times []float64
		want  Fit
	}{
		{[]float64{20, 17, 14, 14, 12, 12}, FitGood},
		{[]float64{20, 12, 17, 12, 15, 10}, FitFair},
		{[]float64{12, 20, 11, 19, 10, 18}, FitPoor},
		{[]float64{12, 12, 12, 12, 12}, FitFlat},
	} {
		if c := FitCurve(numbered(tt.times...)); c.Fit != tt.want {
			t.Errorf("%v: fit %v (R² %.2f), want %v", tt.times, c.Fit, c.R2, tt.want)
		}
	}
	words := map[string]bool{}
	for f := Fit(0); f <= FitFlat; f++ {
		words[f.String()] = true
	}
	if len(words) != 5 {
		t.Errorf("words: %v", words)
	}
}

func TestForecast(t *testing.T) {
	fit := FitCurve(numbered(tenUnits...)) // 80 % from 10, ten runs seen
	for _, tt := range []struct {
		name     string
		curve    Curve
		standard float64
		run      int
		met      bool
		why      string
	}{
		{"met in run 4", fit, 6.4001, 4, true, ""},
		{"just missed in run 4", fit, 6.39, 5, true, ""},
		{"met from the start", fit, 12, 1, true, ""},
		{"met in the last run, printed as 4.7651", fit, 4.7652, 10, true, ""},
		{"run 20, printed as 3.8121", fit, 3.8122, 20, false, ""},
		{"run 21", fit, 3.8115, 21, false, ""},
		{"run 40, as far as it reaches", fit, fit.At(40) + 1e-6, 40, false, ""},
		{"run 41", fit, fit.At(41), 0, false, "too far off to say"},
		{"no standard", fit, 0, 0, false, "there is no standard"},
		{"slower, over it", FitCurve(numbered(5, 6, 7, 8, 9)), 4, 0, false, "times do not fall"},
		{"slower, over it by now", FitCurve(numbered(5, 6, 7, 8, 9)), 6, 0, false, "times do not fall"},
		{"slower, still under it", FitCurve(numbered(5, 6, 7, 8, 9)), 10, 1, true, ""},
		{"flat, under it", FitCurve(numbered(7, 7, 7, 7, 7)), 7, 1, true, ""},
		{"flat, over it", FitCurve(numbered(7, 7, 7, 7, 7)), 6, 0, false, "times do not fall"},
		{"poor", FitCurve(numbered(12, 20, 11, 19, 10, 18)), 5, 0, false, "the curve fits poorly"},
		{"too few", FitCurve(numbered(9, 8)), 5, 0, false, "too few runs"},
	} {
		f := tt.curve.Forecast(tt.standard)
		if f.OK != (tt.why == "") || f.Why != tt.why || f.Run != tt.run || f.Met != tt.met {
			t.Errorf("%s: %+v, want run %d, met %v, %q", tt.name, f, tt.run, tt.met, tt.why)
		}
		if f.OK && (tt.curve.At(f.Run) > tt.standard+1e-6 || f.Run > 1 && tt.curve.At(f.Run-1) <= tt.standard) {
			t.Errorf("%s: run %d is not the first at or under %v", tt.name, f.Run, tt.standard)
		}
		if want := tt.curve.Sum(tt.curve.Last+1, f.Run); f.OK && !f.Met && f.Practice != want || (f.Met || !f.OK) && f.Practice != 0 {
			t.Errorf("%s: practice %v", tt.name, f.Practice)
		}
	}
}

// Ours: with two numbers of runs only, the curve goes through the means of the logarithms, and the squares are 4 d² over
// 4 degrees of freedom.
func TestScatter(t *testing.T) {
	d := math.Log(1.2)
	var runs []Run
	for _, e := range []float64{-d, 0, d} {
		runs = append(runs, Run{1, 10 * math.Exp(e)}, Run{2, 8 * math.Exp(e)})
	}
	c := FitCurve(runs)
	near(t, "scatter", c.Scatter, 1.2, 1e-12)
	near(t, "rate", c.Rate, 0.8, 1e-12)
	near(t, "R²", c.R2, 1-4*d*d/(4*d*d+6*math.Pow(math.Log(1.25)/2, 2)), 1e-12)
}
