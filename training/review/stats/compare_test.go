package stats

import (
	"fmt"
	"math"
	"math/bits"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// NIST/SEMATECH e-Handbook, 7.3.5: particle counts on wafers of two processes.
var (
	waferA = []float64{0.55, 0.67, 0.43, 0.51, 0.48, 0.60, 0.71, 0.53, 0.44, 0.65, 0.75}
	waferB = []float64{0.49, 0.68, 0.59, 0.72, 0.67, 0.75, 0.65, 0.77, 0.62, 0.48, 0.59}
)

func TestRanksOfTheHandbook(t *testing.T) {
	ranks, ties := doubledRanks(waferA, waferB)
	want := []float64{8, 15.5, 1, 6, 3.5, 11, 18, 7, 2, 13.5, 20.5, 5, 17, 9.5, 19, 15.5, 20.5, 13.5, 22, 12, 3.5, 9.5}
	for i, w := range want {
		if float64(ranks[i])/2 != w {
			t.Errorf("rank of value %d is %v, want %v", i, float64(ranks[i])/2, w)
		}
	}
	if ties != 30 {
		t.Errorf("ties %v, want 30", ties)
	}
}

func TestCompareOfTheHandbook(t *testing.T) {
	c := Compare(waferA, waferB, 0.05)
	// Printed there: U 40, z -1.346 (an older page: 1.346133), p 0.1783, both without corrections. Its U_a, 81, counts the
	// pairs in which b is larger: our UB.
	if !c.OK || c.UA != 40 || c.UB != 81 || c.U != 40 || c.NA != 11 || c.NB != 11 {
		t.Errorf("U: %+v", c)
	}
	z := zScore(c.U, 11, 11, 0, false)
	near(t, "z without corrections", z, -1.346133, 5e-7)
	near(t, "p without corrections", 2*distuv.UnitNormal.CDF(z), 0.1783, 0.00005)
	// Recomputed: with corrections, and counted over all 705,432 splits.
	near(t, "z for ties", zScore(c.U, 11, 11, c.Ties, false), -1.348037, 5e-7)
	near(t, "z", c.Z, -1.3151580, 5e-8)
	near(t, "p of z", 2*distuv.UnitNormal.CDF(c.Z), 0.1884568, 5e-8)
	near(t, "exact p", c.P, 0.1865920, 5e-8)
	near(t, "chance that A is longer", c.AOverB, 0.330579, 5e-7)
	near(t, "rank-biserial", 1-2*c.AOverB, 0.338843, 5e-7)
	if !c.Exact {
		t.Error("not exact with ties and 22 values")
	}
}

// Printed in the documentation of SciPy, after Shier, Statistics 2.3: The Mann-Whitney U Test, 2004; without the
// continuity correction by R.
func TestCompareSmall(t *testing.T) {
	c := Compare([]float64{19, 22, 16, 29, 24}, []float64{20, 11, 17, 12}, 0.05)
	if c.UA != 17 || c.UB != 3 || c.U != 3 || !c.Exact || !c.OK {
		t.Errorf("U: %+v", c)
	}
	near(t, "exact p", c.P, 0.1111111111111111, 5e-16)
	near(t, "p of z with continuity", 2*distuv.UnitNormal.CDF(c.Z), 0.11134688653314041, 5e-15)
	near(t, "p of z without", 2*distuv.UnitNormal.CDF(zScore(3, 5, 4, 0, false)), 0.08641, 0.000005)
}

// Printed in the manual of the NAG library, example g08amc: unequal numbers, many ties.
func TestCompareUnequalWithTies(t *testing.T) {
	a := []float64{13, 6, 12, 7, 12, 7, 10, 7, 10, 7, 16, 7, 10, 8, 9, 8}
	b := []float64{17, 6, 10, 8, 15, 8, 15, 10, 15, 10, 14, 10, 14, 11, 14, 11, 13, 12, 13, 12, 13, 12, 12}
	c := Compare(a, b, 0.05)
	if c.UA != 86 || c.U != 86 || c.Ties != 846 || !c.Exact {
		t.Errorf("U: %+v", c)
	}
	near(t, "z", c.Z, -2.8039, 0.00005)
	near(t, "p of the lower tail", distuv.UnitNormal.CDF(c.Z), 0.0025, 0.00005)
	near(t, "p of the lower tail", distuv.UnitNormal.CDF(c.Z), 0.0025244, 5e-8)
	doubled, _ := doubledRanks(a, b)
	exact := newRankSums(doubled, len(a)).lower(2 * 222)
	near(t, "exact lower tail", exact, 0.0020, 0.00005)
	near(t, "exact lower tail", exact, 0.0020167, 5e-8)
	near(t, "exact, two-sided", c.P, 0.0040, 0.00005)
}

// Hollander and Wolfe, Nonparametric Statistical Methods, 1973, page 69: permeability constants of the human
// chorioamnion, also in the documentation of R's wilcox.test: W 35, one-sided exact p 0.1272; and their estimate of the
// shift, 0.305. Data and values from memory.
func TestCompareShift(t *testing.T) {
	x := []float64{0.80, 0.83, 1.89, 1.04, 1.45, 1.38, 1.91, 1.64, 0.73, 1.46}
	y := []float64{1.15, 0.88, 0.90, 0.74, 1.21}
	c := Compare(x, y, 0.05)
	if c.UA != 35 {
		t.Errorf("W = %v, want 35", c.UA)
	}
	near(t, "shift", c.Shift, 0.305, 1e-9)
	doubled, _ := doubledRanks(y, x) // the upper tail of x is the lower one of y
	sum := 0
	for _, r := range doubled[:len(y)] {
		sum += r
	}
	near(t, "exact one-sided p", newRankSums(doubled, len(y)).lower(sum), 0.1272, 0.00005)
	if back := Compare(y, x, 0.05); math.Abs(back.Shift+c.Shift) > 1e-12 || math.Abs(back.P-c.P) > 1e-12 || back.UA != c.UB {
		t.Errorf("the other way round: %+v", back)
	}
}

// The least exact p of so few runs, and 1 2 3 against 4 5 6 (0.1, as general libraries print it). Under 4 against 4, or
// 3 against 5, no difference can be shown at 0.05.
func TestCompareTooFew(t *testing.T) {
	low := func(n int) []float64 { return []float64{1, 2, 3, 4, 5, 6}[:n] }
	high := func(n int) []float64 { return []float64{11, 12, 13, 14, 15, 16}[:n] }
	for _, tt := range []struct {
		na, nb int
		p      float64
		ok     bool
	}{{3, 3, 0.1000, false}, {3, 4, 0.0571, false}, {3, 5, 0.0357, true}, {4, 4, 0.0286, true}, {4, 5, 0.0159, true}, {5, 5, 0.0079, true}, {1, 6, 0.2857, false}} {
		for _, c := range []Comparison{Compare(low(tt.na), high(tt.nb), 0.05), Compare(high(tt.nb), low(tt.na), 0.05)} {
			near(t, fmt.Sprintf("p of %d and %d", tt.na, tt.nb), c.P, tt.p, 0.00005)
			near(t, "smallest p", smallestP(tt.na, tt.nb), c.P, 1e-12)
			if c.OK != tt.ok || c.U != 0 || !tt.ok && c.Why != "too few runs" {
				t.Errorf("%d and %d: %+v", tt.na, tt.nb, c)
			}
		}
	}
}

// Largest U with a two-sided p of 0.05 or less, without ties: recomputed by counting; the common tables agree.
func TestCriticalU(t *testing.T) {
	for _, tt := range []struct{ na, nb, u int }{{4, 4, 0}, {4, 5, 1}, {4, 6, 2}, {5, 5, 2}, {5, 8, 6}, {6, 6, 5}, {7, 7, 8}, {8, 8, 13}, {9, 9, 17}, {10, 10, 23}, {11, 11, 30}, {12, 12, 37}} {
		doubled := make([]int, tt.na+tt.nb)
		for i := range doubled {
			doubled[i] = 2 * (i + 1)
		}
		d := newRankSums(doubled, tt.na)
		at := func(u int) float64 { return d.twoSided(2*u + tt.na*(tt.na+1)) }
		if at(tt.u) > 0.05 || at(tt.u+1) <= 0.05 {
			t.Errorf("%d and %d: p %v at U %d, %v at the next", tt.na, tt.nb, at(tt.u), tt.u, at(tt.u+1))
		}
	}
}

// The counted distribution against going through every split one by one, on data full of ties.
func TestRankSumsAgainstEverySplit(t *testing.T) {
	values := []float64{1, 1, 2, 2, 2, 3, 5, 5, 8, 9}
	doubled, _ := doubledRanks(values[:4], values[4:])
	got := newRankSums(doubled, 4)
	want := map[int]float64{}
	for split := uint(0); split < 1<<len(values); split++ {
		if bits.OnesCount(split) != 4 {
			continue
		}
		sum := 0
		for i, r := range doubled {
			if split&(1<<i) != 0 {
				sum += r
			}
		}
		want[sum]++
	}
	for s, c := range got.count {
		if c != want[s] {
			t.Errorf("sum %d: %v splits, want %v", s, c, want[s])
		}
	}
	if got.total != 210 {
		t.Errorf("%v splits, want 210", got.total)
	}
}

func TestCompareWithoutAnAnswer(t *testing.T) {
	same := []float64{7, 7, 7, 7, 7}
	if c := Compare(same, same, 0.05); c.OK || c.Why != "all times are equal" || c.P != 1 || c.Z != 0 || c.Shift != 0 || c.AOverB != 0.5 {
		t.Errorf("all equal: %+v", c)
	}
	if c := Compare(nil, same, 0.05); c.OK || c.Why != "too few runs" || c.MedianB != 7 || c.P != 0 {
		t.Errorf("empty: %+v", c)
	}
	if c := Compare(nil, nil, 0.05); c.OK || c.Why != "too few runs" {
		t.Errorf("both empty: %+v", c)
	}
}

// Above 20 without ties, and above 40 with them, the normal curve is used; near the border the two must agree.
func TestCompareNormalIsCloseToExact(t *testing.T) {
	var a, b []float64
	for i := range 12 {
		a, b = append(a, float64(10*i)), append(b, float64(10*i)+17)
	}
	c := Compare(a, b, 0.05)
	doubled, _ := doubledRanks(a, b)
	sum := 0
	for _, r := range doubled[:12] {
		sum += r
	}
	if c.Exact || c.Ties != 0 {
		t.Fatalf("24 values without ties: %+v", c)
	}
	near(t, "p of the normal curve", c.P, newRankSums(doubled, 12).twoSided(sum), 0.01)
}

// Holm's procedure on four p-values: the adjusted values are those of R's p.adjust for the example that is usual in text
// books (0.01, 0.04, 0.03, 0.005; from memory).
func TestHolm(t *testing.T) {
	got := Holm([]float64{0.01, 0.04, 0.03, 0.005})
	for i, want := range []float64{0.03, 0.06, 0.06, 0.02} {
		near(t, fmt.Sprint("adjusted ", i), got[i], want, 1e-12)
	}
	got = Holm([]float64{0.5, 0.9, 0.5})
	for i, v := range got {
		if v != 1 {
			t.Errorf("adjusted %d = %v, want 1", i, v)
		}
	}
	if got := Holm(nil); len(got) != 0 {
		t.Errorf("of none: %v", got)
	}
}
