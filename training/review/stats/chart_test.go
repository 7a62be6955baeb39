package stats

import (
	"testing"

	"github.com/google/go-cmp/cmp"
)

func points(times ...float64) []Point {
	ps := make([]Point, len(times))
	for i, v := range times {
		ps[i].Time = v
	}
	return ps
}

// NIST/SEMATECH e-Handbook, 6.3.2.2: mean 50.81, mean range 1.8778, limits 55.8041 and 45.8159, in control.
func TestChartOfTheHandbook(t *testing.T) {
	c := NewChart(points(flow...))
	if !c.OK || c.N != 10 || len(c.Signals) != 0 {
		t.Fatalf("chart: %+v, want in control", c)
	}
	near(t, "mean", c.Center, 50.81, 0.005)
	near(t, "mean range", c.RangeMean, 1.8778, 0.00005)
	near(t, "upper limit", c.Upper, 55.8041, 0.00005)
	near(t, "lower limit", c.Lower, 45.8159, 0.00005)
	// Recomputed with the same constants, more places; the limit of the range is not printed there.
	near(t, "mean range", c.RangeMean, 1.8777778, 5e-8)
	near(t, "upper limit", c.Upper, 55.8040898, 5e-8)
	near(t, "lower limit", c.Lower, 45.8159102, 5e-8)
	near(t, "upper limit of the range", c.RangeUpper, 6.134700, 5e-7)
	// Ours: new points against these limits.
	if c.Outside(55.8) || !c.Outside(55.9) || c.Outside(c.Upper) || !c.Outside(45.8) || c.Outside(45.9) {
		t.Error("55.8 and 45.9 lie inside, 55.9 and 45.8 outside, a point on the limit inside")
	}
}

// Data of 20 engine diameters as printed in the documentation of a statistics program (SAS/QC, Jets); limits recomputed.
func TestChartOfTwentyDiameters(t *testing.T) {
	c := NewChart(points(78.4, 80.1, 84.4, 79.1, 80.4, 83.5, 73.8, 83.5, 75.0, 76.8, 70.5, 80.3, 82.4, 79.4, 86.4, 90.5, 77.7, 82.5, 79.9, 83.2))
	near(t, "mean", c.Center, 80.39, 5e-7)
	near(t, "mean range", c.RangeMean, 5.326316, 5e-7)
	near(t, "upper limit", c.Upper, 94.555733, 5e-7)
	near(t, "lower limit", c.Lower, 66.224267, 5e-7)
	near(t, "upper limit of the range", c.RangeUpper, 17.401074, 5e-7)
	for _, s := range c.Signals {
		if s.Rule == RuleOutside || s.Rule == RuleRange {
			t.Errorf("signal %+v, want none outside", s)
		}
	}
}

// Ours: a lower limit under 0 is drawn at 0, and nothing is below it.
func TestLowerLimitUnderZero(t *testing.T) {
	l := NewLimits(points(3, 9, 2, 10, 4))
	near(t, "mean", l.Center, 5.6, 5e-7)
	near(t, "mean range", l.RangeMean, 6.75, 5e-7)
	near(t, "upper limit", l.Upper, 23.552128, 5e-7)
	near(t, "lower limit", l.Lower, -12.352128, 5e-7)
	near(t, "upper limit of the range", l.RangeUpper, 22.05225, 5e-7)
	if l.Floor() != 0 || l.Outside(0) {
		t.Errorf("floor %v, 0 outside: %v", l.Floor(), l.Outside(0))
	}
}

func TestNoRangeAcrossAMissingPoint(t *testing.T) {
	ps := points(10, 11, 0, 50, 51)
	ps[2].Missing = true
	l := NewLimits(ps)
	if l.RangeMean != 1 || l.Center != 30.5 {
		t.Errorf("mean range %v, mean %v; want 1 and 30.5", l.RangeMean, l.Center)
	}
	if l := NewLimits([]Point{{Time: 1}, {Missing: true}, {Time: 2}}); l.OK || l.Why != "too few runs one after the other" {
		t.Errorf("no neighbours: %+v", l)
	}
}

func TestChartSaysWhyNot(t *testing.T) {
	gap := points(1, 2, 3, 4, 5, 6, 7, 8, 9, 10)
	gap[4].Missing = true
	for _, tt := range []struct {
		name   string
		points []Point
		why    string
	}{
		{"none", nil, "too few runs"},
		{"nine", points(1, 2, 3, 4, 5, 6, 7, 8, 9), "too few runs"},
		{"ten, one of them missing", gap, "too few runs"},
		{"all equal", points(7, 7, 7, 7, 7, 7, 7, 7, 7, 7), "all times are equal"},
	} {
		if c := NewChart(tt.points); c.OK || c.Why != tt.why || c.Signals != nil || c.Outside(1e9) {
			t.Errorf("%s: %+v, want %q", tt.name, c, tt.why)
		}
	}
}

// The run tests, each on limits that are given: center 0, sigma 1 (moved up by 100, so that no time is negative). Rules of
// the Western Electric handbook, as general texts give them; the cases are ours.
func TestRunTests(t *testing.T) {
	c := Chart{Limits: Limits{OK: true, Center: 100, Sigma: 1, Upper: 103, Lower: 97}}
	at := func(sigmas ...float64) []Point {
		ps := make([]Point, len(sigmas))
		for i, s := range sigmas {
			ps[i] = Point{Time: 100 + s, Missing: s == gone}
		}
		return ps
	}
	two := func(ps []Point) (Signal, bool) { return c.run(ps, len(ps)-1, 3, 2, 2) }
	four := func(ps []Point) (Signal, bool) { return c.run(ps, len(ps)-1, 5, 4, 1) }
	eight := func(ps []Point) (Signal, bool) { return c.run(ps, len(ps)-1, 8, 8, 0) }
	for _, tt := range []struct {
		name string
		rule func([]Point) (Signal, bool)
		ps   []Point
		want bool
		up   bool
	}{
		{"two of three", two, at(2.1, 0, 2.1), true, true},
		{"two of three, next to each other", two, at(0, -2.1, -2.1), true, false},
		{"two of three, on the limit", two, at(2, 0, 2.1), false, true},
		{"two of three, on two sides", two, at(2.1, 0, -2.1), false, false},
		{"two of three, the last is not one of them", two, at(2.1, 2.1, 0.5), false, true},
		{"two of three, across a gap", two, at(2.1, gone, 2.1), false, true},
		{"too few for three", two, at(2.1, 2.1), false, true},
		{"four of five", four, at(1.1, 1.1, -3, 1.1, 1.1), true, true},
		{"three of five", four, at(1.1, 1, -3, 1.1, 1.1), false, true},
		{"eight", eight, at(-1, -1, -2, -1, -1, -1, -1, -0.1), true, false},
		{"eight, one on the center", eight, at(-1, -1, -2, 0, -1, -1, -1, -0.1), false, false},
		{"seven", eight, at(-1, -1, -2, -1, -1, -1, -1), false, false},
	} {
		s, ok := tt.rule(tt.ps)
		if ok != tt.want || ok && s.Above != tt.up || s.To != len(tt.ps)-1 {
			t.Errorf("%s: %+v, %v", tt.name, s, ok)
		}
	}
}

// gone stands for a missing point in TestRunTests.
const gone = 99

func TestSignals(t *testing.T) {
	for _, tt := range []struct {
		name  string
		times []float64
		want  []Signal
	}{
		// The wild one pulls the mean above all the others.
		{"one wild run", []float64{10, 11, 10, 11, 10, 11, 10, 11, 10, 11, 10, 11, 30, 10, 11, 10}, []Signal{
			{Rule: RuleEight, From: 0, To: 11},
			{Rule: RuleOutside, From: 12, To: 12, Above: true},
			{Rule: RuleRange, From: 11, To: 12, Above: true},
			{Rule: RuleRange, From: 12, To: 13},
		}},
		{"eight on one side, seven on the other", []float64{10.2, 12, 10.2, 12, 10.2, 12, 10.2, 12, 9.8, 8, 9.8, 8, 9.8, 8, 9.8, 10.2},
			[]Signal{{Rule: RuleEight, From: 0, To: 7, Above: true}}},
		{"four of five", []float64{12, 8, 12, 8, 12, 8, 12, 8, 5, 5, 10.5, 5, 5, 12, 8, 12},
			[]Signal{{Rule: RuleFourOfFive, From: 8, To: 12}}},
		{"two of three", []float64{12, 8, 12, 8, 12, 8, 12, 8, 12, 17, 15, 17, 8, 7, 8, 7, 9, 7, 10.2},
			[]Signal{{Rule: RuleTwoOfThree, From: 9, To: 11, Above: true}}},
	} {
		c := NewChart(points(tt.times...))
		if diff := cmp.Diff(tt.want, c.Signals); diff != "" {
			t.Errorf("%s: mean %.2f, sigma %.2f (-want +got):\n%s", tt.name, c.Center, c.Sigma, diff)
		}
	}
	names := map[string]bool{}
	for r := RuleOutside; r <= RuleEight; r++ {
		names[r.String()] = true
	}
	if len(names) != 5 || names[Rule(0).String()] || Rule(0).String() != Rule(9).String() {
		t.Errorf("names of the rules: %v", names)
	}
}
