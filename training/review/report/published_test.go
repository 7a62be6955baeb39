package report

import (
	"math"
	"testing"

	"twobin/procedure"
)

// TestPercentileAsPublished: wafer resistivities of the NIST/SEMATECH e-Handbook, 7.2.6.2, in 0.1 milliohm cm taken as
// milliseconds: the 90th percentile is printed there as 95.1981 ohm cm; the 25th is recomputed.
func TestPercentileAsPublished(t *testing.T) {
	t.Parallel()
	data := []int64{951772, 951567, 951937, 951959, 951442, 950610, 951591, 951195, 951065, 950925, 951990, 951682}
	r := mustMake(t, Options{}, session("Ada", 0, procedure.StepLook, data...))
	x := stepOf(t, r.People[0], procedure.StepLook)
	near(t, "p90", x.P90, 951981, 0.5)
	near(t, "median", x.Median, 951579, 1e-6)
	if x.N != 12 || x.P90IsMax || x.Best != 950610 {
		t.Errorf("row %+v", x.Summary)
	}
}

// TestChartAsPublished: diameters of engine parts, SAS/QC documentation (data set Jets), twenty values in 0.1 as
// milliseconds times hundred. Mean 80.39 and mean range 5.326316 follow from the data; limits with 1.128 and 3.267.
func TestChartAsPublished(t *testing.T) {
	t.Parallel()
	data := []int64{7840, 8010, 8440, 7910, 8040, 8350, 7380, 8350, 7500, 7680, 7050, 8030, 8240, 7940, 8640, 9050, 7770, 8250, 7990, 8320}
	r := mustMake(t, Options{}, session("Ada", 0, procedure.StepCount, data...))
	for _, c := range r.People[0].Charts {
		if c.Step != "count" {
			continue
		}
		near(t, "center", c.Center, 8039, 1e-6)
		near(t, "upper", c.Upper, 9455.5733, 1e-3)
		near(t, "lower", c.Lower, 6622.4267, 1e-3)
		near(t, "upper limit of the range", c.RangeUpper, 1740.1074, 1e-3)
		if !c.OK || len(c.Points) != 20 || len(c.Signals) != 0 || c.Says[0] != "nothing out of the ordinary" {
			t.Errorf("chart %+v", c)
		}
	}
	// With nineteen there is none, and it says so.
	r = mustMake(t, Options{}, session("Ada", 0, procedure.StepCount, data[:19]...))
	if c := r.People[0].Charts[procedure.StepCount-1]; c.OK || c.Points != nil || c.Says[0] != "no chart: 19 runs of 20" {
		t.Errorf("with 19 runs: %+v", c)
	}
}

// TestCurveAsPublished: the 80 % curve from 10 (ten units printed in a text book's table), in ten-thousandths as
// milliseconds. The standard is the time of unit 20, printed as 3.8121.
func TestCurveAsPublished(t *testing.T) {
	t.Parallel()
	data := []int64{100_000, 80_000, 70_210, 64_000, 59_564, 56_168, 53_449, 51_200, 49_295, 47_651}
	for i := range data {
		data[i] -= 8 // the other eight steps have a millisecond each
	}
	ref := session("Morgan", 0, procedure.StepLook, 38_121-8+1)
	r := mustMake(t, Options{References: []string{"morgan"}}, session("Ada", 1, procedure.StepLook, data...), ref)
	c := r.People[0].Curve
	near(t, "rate", c.Rate, 0.8, 1e-4)
	near(t, "exponent", c.B, -0.3219281, 1e-4)
	near(t, "first", c.First, 100_000, 20)
	if c.FitWord != "good" || !c.Forecast.OK || c.Forecast.Met || c.Forecast.Run != 20 {
		t.Errorf("curve %+v", c)
	}
	// Sums of units 11 to 20: 104.8494 less 63.1537, as printed.
	near(t, "practice", c.Forecast.Practice, (104.8494-63.1537)*10_000, 100)
	near(t, "standard", r.People[0].Total.Standard, 38_122, 1e-9)
}

// TestOutlierAsPublished: uranium isotope measurements of Tietjen and Moore, in the NIST/SEMATECH e-Handbook, 1.3.5.17.1;
// the last one is the outlier. The score is on logarithms here, so it is reckoned anew, by hand.
func TestOutlierAsPublished(t *testing.T) {
	t.Parallel()
	data := []int64{19931, 19953, 20019, 20082, 20192, 20195, 20218, 24557}
	r := mustMake(t, Options{}, session("Ada", 0, procedure.StepLog, data...))
	o := r.People[0].Outliers
	if len(o) != 1 || o[0].Step != "log" || o[0].Time != 24557 || o[0].Roll != "A001" || o[0].What[0] != "nothing noted in this run" {
		t.Fatalf("outliers %+v", o)
	}
	med := (math.Log(20082) + math.Log(20192)) / 2
	// Distances from the median, in order: the middle two are those of 19953 and 20195 or their neighbours.
	dev := []float64{}
	for _, v := range data {
		dev = append(dev, math.Abs(math.Log(float64(v))-med))
	}
	for i := range dev {
		for j := i + 1; j < len(dev); j++ {
			if dev[j] < dev[i] {
				dev[i], dev[j] = dev[j], dev[i]
			}
		}
	}
	want := 0.6745 * (math.Log(24557) - med) / ((dev[3] + dev[4]) / 2)
	near(t, "z", o[0].Z, want, 1e-9)
}

// TestComparisonAsPublished: particle counts of the NIST/SEMATECH e-Handbook, 7.3.5, in hundredths as milliseconds, as two
// periods of one trainee: U 40, no difference at 0.05; the exact p was enumerated over all 705,432 splits.
func TestComparisonAsPublished(t *testing.T) {
	t.Parallel()
	a := []int64{55, 67, 43, 51, 48, 60, 71, 53, 44, 65, 75}
	b := []int64{49, 68, 59, 72, 67, 75, 65, 77, 62, 48, 59}
	sides, err := ParseSides("2031-05-05..2031-05-05, 2031-05-06..2031-05-08")
	if err != nil {
		t.Fatal(err)
	}
	r := mustMake(t, Options{Compare: sides}, session("Ada", 0, procedure.StepMark, a...), session("Ada", 1, procedure.StepMark, b...))
	for _, x := range r.Comparison.Rows {
		if x.Step != "mark" {
			continue
		}
		if !x.OK || x.U != 40 || x.NA != 11 || x.NB != 11 || x.MedianA != 55 || x.MedianB != 65 || x.Differs || x.Says != "no difference shown" {
			t.Errorf("row %+v", x)
		}
		near(t, "p", x.P, 0.186592, 1e-6)
		near(t, "chance", x.AOverB, 40.0/121, 1e-9)
		// Two rows can be tested, this one and the whole run: the other seven steps are all equal.
		near(t, "Holm", x.Holm, 2*0.186592, 1e-5)
	}
}
