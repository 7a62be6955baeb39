package stats

import (
	"math"
	"slices"
)

// doubledRanks gives twice the rank of each value of a and then of b among all of them, equal values sharing the mean
// rank (doubled so that it is whole), and the sum of t³-t over the groups of equal values.
func doubledRanks(a, b []float64) ([]int, float64) {
	all := slices.Concat(a, b)
	order := make([]int, len(all))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(i, j int) int {
		switch {
		case all[i] < all[j]:
			return -1
		case all[i] > all[j]:
			return 1
		}
		return i - j
	})
	ranks := make([]int, len(all))
	var ties float64
	for from := 0; from < len(order); {
		to := from
		for to < len(order) && all[order[to]] == all[order[from]] {
			to++
		}
		for _, i := range order[from:to] {
			ranks[i] = from + 1 + to // twice the mean of from+1 … to
		}
		t := float64(to - from)
		ties += t*t*t - t
		from = to
	}
	return ranks, ties
}

// rankSums is the exact distribution of the doubled rank sum of the first group if the groups were drawn at random:
// count[s] of all splits have the sum s.
type rankSums struct {
	count []float64
	total float64
	mean  float64
}

// newRankSums counts by adding one value after the other: ways[k][s] of the values so far have k in the first group with
// the sum s. Counts are whole numbers in float64, exact up to 2^53 and off by less than one part in 10^12 above.
func newRankSums(doubled []int, first int) rankSums {
	var sum int
	for _, r := range doubled {
		sum += r
	}
	ways := make([][]float64, first+1)
	for k := range ways {
		ways[k] = make([]float64, sum+1)
	}
	ways[0][0] = 1
	for i, r := range doubled {
		for k := min(i+1, first); k > 0; k-- {
			for s := sum; s >= r; s-- {
				ways[k][s] += ways[k-1][s-r]
			}
		}
	}
	d := rankSums{count: ways[first], mean: float64(sum) * float64(first) / float64(len(doubled))}
	for _, c := range d.count {
		d.total += c
	}
	return d
}

// twoSided is the share of splits whose sum lies at least as far from the mean as this one.
func (d rankSums) twoSided(sum int) float64 {
	far := math.Abs(float64(sum) - d.mean) // exact: the mean is first × (N+1)
	var n float64
	for s, c := range d.count {
		if math.Abs(float64(s)-d.mean) >= far {
			n += c
		}
	}
	return n / d.total
}

// lower is the share of splits whose sum is not above this one.
func (d rankSums) lower(sum int) float64 {
	var n float64
	for _, c := range d.count[:sum+1] {
		n += c
	}
	return n / d.total
}
