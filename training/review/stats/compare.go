package stats

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Comparison is what two lists of times say about each other: a Mann-Whitney rank-sum test, two-sided, and the size of
// the difference.
type Comparison struct {
	// OK: the test could be made and could have found a difference. If false, Why says why not, and that must not be read
	// as "no difference".
	OK  bool   `json:"ok"`
	Why string `json:"why,omitempty"`
	NA  int    `json:"n_a"`
	NB  int    `json:"n_b"`
	// MedianA and MedianB are to be shown beside P; 0 for an empty list.
	MedianA float64 `json:"median_a"`
	MedianB float64 `json:"median_b"`
	// Shift is by how much a time of A is typically longer than one of B: the median of all differences (Hodges and
	// Lehmann). Negative: A is quicker.
	Shift float64 `json:"shift"`
	// UA counts the pairs in which A's time is the longer, ties half; UB those in which B's is. U is the smaller.
	UA float64 `json:"u_a"`
	UB float64 `json:"u_b"`
	U  float64 `json:"u"`
	// AOverB is UA as a share of all pairs: the chance that a time of A is longer than one of B.
	AOverB float64 `json:"a_over_b"`
	// Ties is the sum of t³-t over all groups of t equal times.
	Ties float64 `json:"ties"`
	// Z is the standardized U with corrections for ties and continuity; never above 0.
	Z float64 `json:"z"`
	// P is the chance of a difference at least as large if there were none. Exact: counted over all ways to split the
	// times, not from the normal curve.
	P     float64 `json:"p"`
	Exact bool    `json:"exact"`
}

// Above these numbers of times the normal curve takes over: without ties and with them. (Own choice for the second; the
// first is that of the published tables.)
const (
	exactUpTo     = 20
	exactTiesUpTo = 40
)

// Compare compares the times a and b of two people, or of one in two periods. Runs of one person are not independent
// while he learns: compare the same run numbers. alpha is the level of significance that is looked for (0.05 is usual):
// where so few runs cannot reach it whatever their times, Why says "too few runs".
//
// NIST/SEMATECH e-Handbook 7.3.5, which however counts the pairs the other way round.
func Compare(a, b []float64, alpha float64) Comparison {
	c := Comparison{NA: len(a), NB: len(b), MedianA: median(a), MedianB: median(b)}
	if len(a) == 0 || len(b) == 0 {
		c.Why = "too few runs"
		return c
	}
	c.Shift = shift(a, b)
	doubled, ties := doubledRanks(a, b)
	na, nb := float64(c.NA), float64(c.NB)
	var sum int
	for _, r := range doubled[:c.NA] {
		sum += r
	}
	c.UA = float64(sum)/2 - na*(na+1)/2
	c.UB = na*nb - c.UA
	c.U = min(c.UA, c.UB)
	c.AOverB = c.UA / (na * nb)
	c.Ties = ties
	c.Z = zScore(c.U, na, nb, ties, true)
	n := c.NA + c.NB
	if c.Exact = n <= exactUpTo || ties > 0 && n <= exactTiesUpTo; c.Exact {
		c.P = newRankSums(doubled, c.NA).twoSided(sum)
	} else {
		c.P = min(1, 2*distuv.UnitNormal.CDF(c.Z))
	}
	switch {
	case smallestP(c.NA, c.NB) > alpha:
		c.Why = "too few runs"
	case allEqual(slices.Concat(a, b)):
		c.Why = "all times are equal"
	default:
		c.OK = true
	}
	return c
}

// zScore is U less its mean in standard deviations; 0 when all values are equal. With continuity, U is moved half a pair
// towards the mean, at most onto it.
func zScore(u, na, nb, ties float64, continuity bool) float64 {
	n := na + nb
	variance := na * nb / 12 * (n + 1 - ties/(n*(n-1)))
	if variance <= 0 {
		return 0
	}
	d := u - na*nb/2 // never above 0
	if continuity {
		d = min(d+0.5, 0)
	}
	return d / math.Sqrt(variance)
}

// smallestP is the least two-sided p that na and nb untied values can give: both ends of all splits.
func smallestP(na, nb int) float64 {
	p := 2.0
	for i := 1; i <= min(na, nb); i++ { // 2 / (na+nb over na)
		p *= float64(i) / float64(max(na, nb)+i)
	}
	return min(p, 1)
}

// shift is the median of all differences a - b.
func shift(a, b []float64) float64 {
	d := make([]float64, 0, len(a)*len(b))
	for _, x := range a {
		for _, y := range b {
			d = append(d, x-y)
		}
	}
	return median(d)
}

// Holm adjusts the p-values of several tests made at once, in their order: reject those whose adjusted value is not over
// the level of significance, and the chance of even one false alarm among all is not over it either. Holm, A simple
// sequentially rejective multiple test procedure, Scandinavian Journal of Statistics 6, 1979.
func Holm(ps []float64) []float64 {
	order := make([]int, len(ps))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(i, j int) int {
		switch {
		case ps[i] < ps[j]:
			return -1
		case ps[i] > ps[j]:
			return 1
		}
		return 0
	})
	adjusted := make([]float64, len(ps))
	least := 0.0
	for k, i := range order {
		least = max(least, min(1, ps[i]*float64(len(ps)-k)))
		adjusted[i] = least
	}
	return adjusted
}
