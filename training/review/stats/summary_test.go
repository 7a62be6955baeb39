package stats

import (
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// near wants got within tol of want; tol is half a unit of the last place that the source prints.
func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.9g, want %.9g ± %.1g", what, got, want, tol)
	}
}

// wafers are 12 resistivities in ohm cm: NIST/SEMATECH e-Handbook, 7.2.6.2. (A copy that is often seen has 95.1772 for the
// ninth value; the 25th percentile tells the two apart.)
var wafers = []float64{95.1772, 95.1567, 95.1937, 95.1959, 95.1442, 95.0610, 95.1591, 95.1195, 95.1065, 95.0925, 95.1990, 95.1682}

func TestPercentile(t *testing.T) {
	for _, tt := range []struct{ p, want, tol float64 }{
		{0.90, 95.1981, 0.00005},   // printed there
		{0.90, 95.198070, 5e-7},    // this and the following recomputed by its formula
		{0.05, 95.061000, 5e-7},    // k = 0: the smallest
		{0.25, 95.109750, 5e-7},    // R7 would give 95.116250
		{0.50, 95.157900, 5e-7},    //
		{0.75, 95.189575, 5e-7},    // R7: 95.181325
		{0.95, 95.199000, 5e-7},    // k = N: the largest
		{0.00, 95.061000, 5e-7},    //
		{1.00, 95.199000, 5e-7},    //
		{1.0 / 13, 95.0610, 5e-7},  // exactly on the first value
		{12.0 / 13, 95.1990, 5e-7}, // exactly on the last
	} {
		got, ok := Percentile(wafers, tt.p)
		if !ok {
			t.Errorf("p = %v: not ok", tt.p)
		}
		near(t, "percentile", got, tt.want, tt.tol)
	}
	for _, p := range []float64{-0.1, 1.1, math.NaN()} {
		if got, ok := Percentile(wafers, p); ok || got != 0 {
			t.Errorf("p = %v: %v, %v", p, got, ok)
		}
	}
	if got, ok := Percentile(nil, 0.5); ok || got != 0 {
		t.Errorf("of nothing: %v, %v", got, ok)
	}
}

// With R6 a 90th percentile differs from the maximum from N = 10 on, a 95th from N = 20 on. (At N = 9 and 19 the position
// p(N+1) is N exactly.)
func TestAtEnd(t *testing.T) {
	for _, tt := range []struct {
		n    int
		p    float64
		want bool
	}{{1, 0.9, true}, {8, 0.9, true}, {9, 0.9, true}, {10, 0.9, false}, {18, 0.95, true}, {19, 0.95, true}, {20, 0.95, false}, {1, 0.5, true}, {2, 0.5, false}} {
		if got := AtEnd(tt.n, tt.p); got != tt.want {
			t.Errorf("AtEnd(%d, %v) = %v", tt.n, tt.p, got)
		}
		times := make([]float64, tt.n)
		for i := range times {
			times[i] = float64(i * i)
		}
		if v, _ := Percentile(times, tt.p); (v == times[tt.n-1]) != tt.want {
			t.Errorf("N = %d: percentile %v is %v, largest %v", tt.n, tt.p, v, times[tt.n-1])
		}
	}
}

// Published: the median absolute deviation of 1 1 2 2 4 6 9, and of 1 to 9 with and without a wild value, as general
// statistics libraries print it in their documentation. The last row is ours.
func TestMAD(t *testing.T) {
	for _, tt := range []struct {
		values      []float64
		median, mad float64
	}{
		{[]float64{1, 1, 2, 2, 4, 6, 9}, 2, 1},
		{[]float64{1, 2, 3, 4, 5, 6, 7, 8, 9}, 5, 2},
		{[]float64{1, 2, 3, 4, 5, 6, 7, 8, 100}, 5, 2},
		{[]float64{8, 1, 7, 2, 5, 3}, 4, 2.5},
	} {
		if m, d := median(tt.values), mad(tt.values); m != tt.median || d != tt.mad {
			t.Errorf("%v: median %v, MAD %v; want %v, %v", tt.values, m, d, tt.median, tt.mad)
		}
	}
}

func TestSummarize(t *testing.T) {
	times := []float64{9, 3, 8, 2, 10, 4}
	got := Summarize(times)
	want := Summary{N: 6, Mean: 6, Median: 6, P90: 10, P90IsMax: true, MAD: 3, Best: 2, Max: 10, Last: []float64{3, 8, 2, 10, 4}}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
	if diff := cmp.Diff([]float64{9, 3, 8, 2, 10, 4}, times); diff != "" {
		t.Errorf("the argument was changed: %s", diff)
	}
	if diff := cmp.Diff(Summary{N: 1, Mean: 7, Median: 7, P90: 7, P90IsMax: true, Best: 7, Max: 7, Last: []float64{7}}, Summarize([]float64{7})); diff != "" {
		t.Errorf("one time: %s", diff)
	}
	if diff := cmp.Diff(Summary{}, Summarize(nil)); diff != "" {
		t.Errorf("none: %s", diff)
	}
	if s := Summarize(wafers); s.P90IsMax || s.N != 12 {
		t.Errorf("12 values: %+v", s)
	}
}
