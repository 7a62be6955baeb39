package report

import (
	"errors"
	"fmt"
	"strings"

	"twobin/procedure"
	"twobin/training/review/read"
	"twobin/training/review/stats"
)

// alpha is the level of significance of comparisons.
const alpha = 0.05

// Comparison is two trainees, or one in two periods, step by step.
type Comparison struct {
	A string `json:"a"`
	B string `json:"b"`
	// Basis says which runs were compared.
	Basis string          `json:"basis"`
	Rows  []ComparisonRow `json:"rows"`
}

// ComparisonRow is one step.
type ComparisonRow struct {
	Step string `json:"step"`
	stats.Comparison
	// Holm is P corrected for the number of rows tested; meaningful if OK.
	Holm float64 `json:"p_holm"`
	// Differs: the corrected P is not over 0.05.
	Differs bool `json:"differs"`
	// Quicker is "a" or "b" where the difference is claimed, else empty.
	Quicker string `json:"quicker,omitempty"`
	Says    string `json:"says"`
}

// window are the run numbers that two people are compared by: the same of each, the first five left out where there are
// ten or more (the first runs say most about the first day), at most twenty. Own choice.
func window(a, b int) (lo, hi int) {
	hi = min(a, b)
	lo = 1
	if hi >= 10 {
		lo = 6
	}
	return max(lo, hi-19), hi
}

func (g *gathered) compare(sides [2]Side, o Options) (*Comparison, error) {
	c := &Comparison{A: sides[0].String(), B: sides[1].String()}
	var runs [2][]run
	if sides[0].Period() {
		who, err := g.onlyOne(o)
		if err != nil {
			return nil, err
		}
		for i, s := range sides {
			for _, r := range who.runs {
				if s.in(r.Began) {
					runs[i] = append(runs[i], r)
				}
			}
		}
		c.Basis = "all runs of " + who.name + " in either period"
	} else {
		var ps [2]*one
		for i, s := range sides {
			for _, p := range g.people {
				if key(p.name) == key(s.Name) {
					ps[i] = p
				}
			}
		}
		c.A, c.B = ps[0].name, ps[1].name
		lo, hi := window(ps[0].lastRun, ps[1].lastRun)
		for i, p := range ps {
			for _, r := range p.runs {
				if r.n >= lo && r.n <= hi {
					runs[i] = append(runs[i], r)
				}
			}
		}
		c.Basis = fmt.Sprintf("runs %d to %d of either, so that both had as much practice", lo, hi)
		if hi == 0 {
			c.Basis = "one of them has no completed run"
		}
	}
	c.rows(runs, o.Steps)
	return c, nil
}

// onlyOne is whose periods are compared.
func (g *gathered) onlyOne(o Options) (*one, error) {
	var found []*one
	for _, p := range g.people {
		if len(o.Trainees) == 0 || has(o.Trainees, p.name) {
			found = append(found, p)
		}
	}
	if len(found) != 1 {
		return nil, errors.New("periods are compared for one trainee; name them with --trainee")
	}
	return found[0], nil
}

func (c *Comparison) rows(runs [2][]run, steps []procedure.Step) {
	times := func(rs []run, s procedure.Step) []float64 {
		var out []float64
		for _, r := range rs {
			switch {
			case s == procedure.StepNone && r.n > 0:
				out = append(out, float64(r.total))
			case s != procedure.StepNone && int(s) < read.Steps && r.Done[s]:
				out = append(out, float64(r.Hands[s]))
			}
		}
		return out
	}
	var ps []float64
	for _, s := range append([]procedure.Step{procedure.StepNone}, steps...) {
		row := ComparisonRow{Step: s.String(), Comparison: stats.Compare(times(runs[0], s), times(runs[1], s), alpha)}
		if s == procedure.StepNone {
			row.Step = whole
		}
		if row.OK {
			ps = append(ps, row.P)
		}
		c.Rows = append(c.Rows, row)
	}
	holm := stats.Holm(ps)
	for i := range c.Rows {
		r := &c.Rows[i]
		if r.OK {
			r.Holm, holm = holm[0], holm[1:]
			r.Differs = r.Holm <= alpha
			if r.Differs && r.Shift != 0 {
				r.Quicker = map[bool]string{true: "a", false: "b"}[r.Shift < 0]
			}
		}
		r.Says = r.says(c.A, c.B)
	}
}

func (r *ComparisonRow) says(a, b string) string {
	switch {
	case r.NA == 0 || r.NB == 0:
		return "no times to compare"
	case !r.OK:
		return r.Why + ": nothing can be said"
	case !r.Differs:
		return "no difference shown"
	case r.Quicker == "":
		return "they differ, but not in the middle"
	case r.Quicker == "a":
		return strings.Join([]string{a, "is quicker by", Seconds(-r.Shift)}, " ")
	}
	return strings.Join([]string{b, "is quicker by", Seconds(r.Shift)}, " ")
}
