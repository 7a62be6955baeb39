package stats

import (
	"math"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

const (
	// ModifiedZLimit: a time whose modified z-score lies beyond it deserves a look. Iglewicz and Hoaglin, How to Detect
	// and Handle Outliers, ASQC, 1993, as given in the NIST/SEMATECH e-Handbook, 1.3.5.17.
	ModifiedZLimit = 3.5
	// modifiedZScale makes the score comparable with an ordinary z-score; same source.
	modifiedZScale = 0.6745
	// MinOutlier is how many times are needed for a score. This project's own choice.
	MinOutlier = 5
)

// Outliers are the scores of one list of times.
type Outliers struct {
	OK  bool   `json:"ok"`
	Why string `json:"why,omitempty"`
	// Z has one modified z-score a time, in the order given; nil unless OK.
	Z []float64 `json:"z,omitempty"`
	// Flagged has the places (from 0) of the times with a score beyond ModifiedZLimit. To be looked at, never left out.
	Flagged []int `json:"flagged,omitempty"`
}

// ModifiedZ scores how far each time lies from the median, measured by the median absolute deviation: unlike an ordinary
// z-score, which cannot exceed 3 with up to ten times, it is not blind to an outlier that spoils its own yardstick.
func ModifiedZ(times []float64) Outliers {
	if len(times) < MinOutlier {
		return Outliers{Why: "too few runs"}
	}
	spread := mad(times)
	if spread == 0 {
		return Outliers{Why: "more than half of the times are equal"}
	}
	m := median(times)
	o := Outliers{OK: true, Z: make([]float64, len(times))}
	for i, v := range times {
		o.Z[i] = modifiedZScale * (v - m) / spread
		if math.Abs(o.Z[i]) > ModifiedZLimit {
			o.Flagged = append(o.Flagged, i)
		}
	}
	return o
}

// GrubbsResult is the outcome of Grubbs' test.
type GrubbsResult struct {
	OK  bool   `json:"ok"`
	Why string `json:"why,omitempty"`
	// Suspect is the place (from 0) of the time that lies farthest from the mean.
	Suspect int `json:"suspect"`
	// G is its distance in standard deviations, Critical what that must exceed.
	G        float64 `json:"g"`
	Critical float64 `json:"critical"`
	// Outlier: G is beyond Critical.
	Outlier bool `json:"outlier"`
}

// Grubbs tests whether the time farthest from the mean is an outlier among otherwise near-normal times, two-sided, at
// significance alpha (0.05 is usual). It is for one suspect: it must not be repeated to peel off several, since two
// outliers hide each other. NIST/SEMATECH e-Handbook, 1.3.5.17.1.
func Grubbs(times []float64, alpha float64) GrubbsResult {
	return grubbs(times, alpha/2)
}

// grubbs tests at the upper point alpha/n of Student's t.
func grubbs(times []float64, alpha float64) GrubbsResult {
	n := float64(len(times))
	if len(times) < 3 {
		return GrubbsResult{Why: "too few runs"}
	}
	if !(alpha > 0 && alpha < 0.5) {
		return GrubbsResult{Why: "no level of significance"}
	}
	mean, sd := stat.MeanStdDev(times, nil)
	if sd == 0 {
		return GrubbsResult{Why: "all times are equal"}
	}
	r := GrubbsResult{OK: true}
	for i, v := range times {
		if g := math.Abs(v-mean) / sd; g > r.G {
			r.Suspect, r.G = i, g
		}
	}
	t := distuv.StudentsT{Sigma: 1, Nu: n - 2}.Quantile(1 - alpha/n)
	r.Critical = (n - 1) / math.Sqrt(n) * math.Sqrt(t*t/(n-2+t*t))
	r.Outlier = r.G > r.Critical
	return r
}

func allEqual(values []float64) bool {
	for _, v := range values {
		if v != values[0] {
			return false
		}
	}
	return true
}
