package report

import (
	"fmt"
	"math"
	"slices"

	"twobin/procedure"
	"twobin/training/review/stats"
)

// Outlier is a time that deserves a look.
type Outlier struct {
	RunRef
	Step string  `json:"step"`
	Time float64 `json:"ms"`
	// Usual is what was to be expected: the step's own learning curve at that run where it fits, else the step's median.
	Usual float64 `json:"usual"`
	Z     float64 `json:"z"`
	// What happened in that run at that step, or else in that run.
	What []string `json:"what"`
}

func (p *one) outliers(steps []procedure.Step) []Outlier {
	var out []Outlier
	for _, s := range steps {
		var rs []run
		var times []float64
		for _, r := range p.runs {
			if r.Done[s] {
				rs = append(rs, r)
				times = append(times, float64(r.Hands[s]))
			}
		}
		usual := expected(times)
		logs := make([]float64, len(times)) // skewed: see Methods
		for i, t := range times {
			logs[i] = math.Log(max(1, t) / usual[i])
		}
		o := stats.ModifiedZ(logs)
		for _, i := range o.Flagged {
			out = append(out, Outlier{RunRef: rs[i].ref(), Step: s.String(), Time: times[i], Usual: usual[i], Z: o.Z[i], What: what(rs[i], s)})
		}
	}
	slices.SortStableFunc(out, func(a, b Outlier) int {
		switch d := math.Abs(b.Z) - math.Abs(a.Z); {
		case d > 0:
			return 1
		case d < 0:
			return -1
		}
		return 0
	})
	return out
}

// expected is what each time is measured by: while somebody learns, the early times are long by right, so the step's own
// learning curve where it fits; else the median.
func expected(times []float64) []float64 {
	runs := make([]stats.Run, len(times))
	for i, t := range times {
		runs[i] = stats.Run{N: i + 1, Time: max(1, t)}
	}
	c := stats.FitCurve(runs)
	usual := max(1, medianOf(times))
	out := make([]float64, len(times))
	for i := range out {
		if c.OK && (c.Fit == stats.FitGood || c.Fit == stats.FitFair) {
			out[i] = c.At(i + 1)
		} else {
			out[i] = usual
		}
	}
	return out
}

// what says what is known of a run: what happened at the step, else what happened in it at all.
func what(r run, s procedure.Step) []string {
	var at, in []string
	for _, m := range r.Marks {
		text := m.Kind.String()
		if m.Step != procedure.StepNone {
			text += " at " + m.Step.String()
		}
		if m.Text != "" {
			text += ": " + m.Text
		}
		if m.Step == s {
			at = append(at, text)
		} else {
			in = append(in, text)
		}
	}
	switch {
	case len(at) > 0:
		return at
	case len(in) > 0:
		in[0] = "nothing noted at this step, but in this run: " + in[0]
		return in
	case r.Pass > 1:
		return []string{fmt.Sprintf("nothing noted; it was pass %d of this roll", r.Pass)}
	}
	return []string{"nothing noted in this run"}
}
