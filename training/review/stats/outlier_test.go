package stats

import (
	"fmt"
	"slices"
	"testing"
)

// uranium are 8 isotope measurements (Tietjen and Moore), in the NIST/SEMATECH e-Handbook, 1.3.5.17.1.
var uranium = []float64{199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57}

// flow are the flow rates of batches 1 to 10, NIST/SEMATECH e-Handbook, 6.3.2.2.
var flow = []float64{49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1}

func TestModifiedZ(t *testing.T) {
	o := ModifiedZ(uranium)
	if !o.OK || !slices.Equal(o.Flagged, []int{7}) {
		t.Fatalf("uranium: %+v, want the last flagged", o)
	}
	// Recomputed from the formula of the e-Handbook, 1.3.5.17; no published scores were found.
	for i, want := range []float64{-1.3965, -1.2473, -0.7999, -0.3728, 0.3728, 0.3932, 0.5491, 29.9627} {
		near(t, fmt.Sprintf("z of %v", uranium[i]), o.Z[i], want, 0.00005)
	}
	o = ModifiedZ(flow)
	if !o.OK || len(o.Flagged) != 0 {
		t.Errorf("flow rates: %+v, want none flagged", o)
	}
	var most float64
	for _, z := range o.Z {
		most = max(most, z, -z)
	}
	near(t, "largest score of the flow rates", most, 1.8236, 0.00005)
}

// Work-study examples in which an analyst struck out what he knew to be odd. From Principles of Operations Management, 11th
// edition, chapter 10, problem 23: four elements with interrupted observations, all of which the rule finds as well. From
// Operations Management, chapter 10, example 2: the 21 is found; the 5, struck out for a reason that no number shows, is
// not: flag, never delete.
func TestModifiedZAgainstAnAnalyst(t *testing.T) {
	for _, tt := range []struct {
		times   []float64
		flagged []int
		z       float64 // of the value that the analyst struck out first
		struck  int
	}{
		{[]float64{0.8, 0.8, 0.6, 0.8, 3.1, 0.7}, []int{4}, 31.03, 4},
		{[]float64{0.4, 0.5, 1.9, 0.3, 0.6, 0.5}, []int{2}, 9.44, 2},
		{[]float64{1, 2.9, 0.9, 1, 4.4, 0.9}, []int{1, 4}, 12.82, 1},
		{[]float64{1, 2.9, 0.9, 1, 4.4, 0.9}, []int{1, 4}, 22.93, 4},
		{[]float64{2.5, 3.5, 2.8, 2.1, 2.6, 3.3}, nil, 0, -1},
		{[]float64{8, 10, 9, 21, 11}, []int{3}, 7.42, 3},
		{[]float64{2, 1, 5, 2, 1}, nil, 2.02, 2},
	} {
		o := ModifiedZ(tt.times)
		if !o.OK || !slices.Equal(o.Flagged, tt.flagged) {
			t.Errorf("%v: flagged %v (%s), want %v", tt.times, o.Flagged, o.Why, tt.flagged)
			continue
		}
		if tt.struck >= 0 {
			near(t, fmt.Sprintf("z of %v in %v", tt.times[tt.struck], tt.times), o.Z[tt.struck], tt.z, 0.005)
		}
	}
}

// Ours: around a median of 0 with a deviation of 1, the score passes 3.5 between 5.18 and 5.2 (3.5 / 0.6745 = 5.189).
func TestModifiedZLimit(t *testing.T) {
	for v, want := range map[float64]int{5.18: 0, 5.2: 1, -5.18: 0, -5.2: 1} {
		if o := ModifiedZ([]float64{-1, 0, 1, -1, 0, 1, 0, -1, 1, v}); !o.OK || len(o.Flagged) != want {
			t.Errorf("%v: %+v, want %d flagged", v, o, want)
		}
	}
}

func TestModifiedZSaysWhyNot(t *testing.T) {
	for _, tt := range []struct {
		times []float64
		why   string
	}{
		{nil, "too few runs"},
		{[]float64{1}, "too few runs"},
		{[]float64{1, 2, 3, 100}, "too few runs"},
		{[]float64{5, 5, 5, 5, 5}, "more than half of the times are equal"},
		{[]float64{5, 5, 5, 7, 100}, "more than half of the times are equal"},
	} {
		if o := ModifiedZ(tt.times); o.OK || o.Why != tt.why || o.Z != nil || o.Flagged != nil {
			t.Errorf("%v: %+v, want %q", tt.times, o, tt.why)
		}
	}
}

func TestGrubbs(t *testing.T) {
	// Printed: G 2.4687 (cut, not rounded: 2.468765), critical value 2.032 one-sided (e-Handbook), 2.1266 two-sided (by a
	// statistics library).
	one := grubbs(uranium, 0.05)
	near(t, "G", one.G, 2.4687, 0.0001)
	near(t, "G", one.G, 2.4687646, 5e-8)
	near(t, "critical value, one-sided", one.Critical, 2.032, 0.0005)
	near(t, "critical value, one-sided", one.Critical, 2.0316520, 5e-8)
	two := Grubbs(uranium, 0.05)
	near(t, "critical value, two-sided", two.Critical, 2.1266, 0.00005)
	near(t, "critical value, two-sided", two.Critical, 2.1266451, 5e-8)
	if !two.OK || !two.Outlier || two.Suspect != 7 {
		t.Errorf("uranium: %+v, want the last to be an outlier", two)
	}
	if g := Grubbs(flow, 0.05); !g.OK || g.Outlier {
		t.Errorf("flow rates: %+v, want no outlier", g)
	}
	for _, tt := range []struct {
		times []float64
		alpha float64
		why   string
	}{
		{nil, 0.05, "too few runs"},
		{[]float64{1, 2}, 0.05, "too few runs"},
		{[]float64{0.1, 0.1, 0.1}, 0.05, "all times are equal"},
		{uranium, 0, "no level of significance"},
	} {
		if g := Grubbs(tt.times, tt.alpha); g.OK || g.Outlier || g.Why != tt.why {
			t.Errorf("%v: %+v, want %q", tt.times, g, tt.why)
		}
	}
}
