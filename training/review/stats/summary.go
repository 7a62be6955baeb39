package stats

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
)

// PercentileMethod names how percentiles are taken, for the reader of a report: of the methods in use, R6 of Hyndman and
// Fan (American Statistician, 1996), which the NIST/SEMATECH e-Handbook describes in 7.2.6.2. Spreadsheets use R7.
const PercentileMethod = "R6"

// Summary describes one list of times. The zero value describes an empty one.
type Summary struct {
	// N is how many times there are. With none, all other fields are 0.
	N      int     `json:"n"`
	Mean   float64 `json:"mean"`
	Median float64 `json:"median"`
	// P90 is the 90th percentile. P90IsMax: with fewer than 10 times it is the largest, and should be called that.
	P90      float64 `json:"p90"`
	P90IsMax bool    `json:"p90_is_max"`
	// MAD is the median absolute deviation from the median, unscaled.
	MAD  float64 `json:"mad"`
	Best float64 `json:"best"`
	Max  float64 `json:"max"`
	// Last has the last five times, or as many as there are, in the order given.
	Last []float64 `json:"last"`
}

// Summarize describes times, which stand in the order in which they were taken.
func Summarize(times []float64) Summary {
	if len(times) == 0 {
		return Summary{}
	}
	sorted := slices.Sorted(slices.Values(times))
	s := Summary{N: len(times), Mean: stat.Mean(times, nil), Median: quantile(sorted, 0.5), MAD: mad(sorted),
		Best: sorted[0], Max: sorted[len(sorted)-1], Last: slices.Clone(times[max(0, len(times)-5):])}
	s.P90, _ = Percentile(times, 0.9)
	s.P90IsMax = AtEnd(s.N, 0.9)
	return s
}

// Percentile is the value below which the share p (0 to 1) of the population behind times lies, by method R6. False:
// there are no times, or p is no share.
func Percentile(times []float64, p float64) (float64, bool) {
	if len(times) == 0 || !(p >= 0 && p <= 1) {
		return 0, false
	}
	return quantile(slices.Sorted(slices.Values(times)), p), true
}

// AtEnd says whether the percentile p of n times is simply the largest of them, so that it should be called that: with
// R6 a 90th percentile needs 10 times to be more than a guess, a 95th 20.
func AtEnd(n int, p float64) bool { return position(n, p) >= float64(n) }

// position is p(N+1), the place of the percentile among the sorted values, counted from 1.
func position(n int, p float64) float64 { return p * float64(n+1) }

// quantile is R6 on sorted values, of which there is at least one.
func quantile(sorted []float64, p float64) float64 {
	n := len(sorted)
	at := position(n, p)
	k := int(at)
	switch {
	case k < 1:
		return sorted[0]
	case k >= n:
		return sorted[n-1]
	}
	return sorted[k-1] + (at-float64(k))*(sorted[k]-sorted[k-1])
}

// median of values in any order; 0 for none.
func median(values []float64) float64 {
	m, _ := Percentile(values, 0.5)
	return m
}

// mad is the median absolute deviation, unscaled. (Times 1.4826 it estimates the deviation of normal data.)
func mad(values []float64) float64 {
	m := median(values)
	dev := make([]float64, len(values))
	for i, v := range values {
		dev[i] = math.Abs(v - m)
	}
	return median(dev)
}
