package report

import (
	"fmt"
	"strings"
	"time"

	"twobin/procedure"
	"twobin/training/review/stats"
)

// Seconds is a time in milliseconds for reading: tenths of a second below a hundred seconds, m:ss above.
func Seconds(ms float64) string {
	if ms < 99_950 {
		return fmt.Sprintf("%.1f s", ms/1000)
	}
	return procedure.Clockface(time.Duration(ms+500) * time.Millisecond)
}

func medianOf(times []float64) float64 {
	m, _ := stats.Percentile(times, 0.5)
	return m
}

// Line is a proposal in one line.
func (p Proposal) Line() string { return p.Drill + " (" + p.Title + "): " + p.Reason }

// Summary is what the review comes to for one person, one line each: what a trainer reads first.
func (p *Person) Summary() []string {
	var out []string
	switch {
	case p.Runs == 0 && p.Drills+p.Shifts == 0:
		return []string{"No drill or shift in this review."}
	case p.Ready.Ready:
		out = append(out, "Ready, by the record: every drill passed, nothing wrong or missed or out of order lately"+p.inTime()+".")
	default:
		out = append(out, "Not ready yet, by the record: "+strings.Join(append(append([]string{}, p.Ready.Lacks...), p.Ready.Time...), "; ")+".")
	}
	out = append(out, "Order and answers: "+p.slips()+".")
	out = append(out, "Costs time: "+p.costs()+".")
	out = append(out, "Getting better: "+p.Curve.Says)
	switch n := len(p.Outliers); n {
	case 0:
		out = append(out, "Out of the ordinary: no single time.")
	case 1:
		out = append(out, "Out of the ordinary: one time; see the outliers.")
	default:
		out = append(out, fmt.Sprintf("Out of the ordinary: %d times; see the outliers.", n))
	}
	for i, n := range p.Next {
		out = append(out, fmt.Sprintf("Next %d: %s.", i+1, n.Line()))
	}
	return out
}

// inTime says that the times are at the standard too, if there is one.
func (p *Person) inTime() string {
	if !p.Total.HasStandard || p.Total.N == 0 {
		return "; nothing is said about times, since there is no standard"
	}
	return ", times near the standard"
}

// slips is the errors in one line.
func (p *Person) slips() string {
	var parts []string
	for _, k := range p.Errors {
		if k.N > 0 {
			parts = append(parts, fmt.Sprintf("%s %d", k.Kind, k.N))
		}
	}
	if len(parts) == 0 {
		return "no error"
	}
	return strings.Join(parts, ", ") + " (times in " + fmt.Sprint(p.Runs) + " runs)"
}

// costs names the steps that cost most: over the standard where there is one, else the longest.
func (p *Person) costs() string {
	var best *Times
	for i := range p.Steps {
		t := &p.Steps[i]
		if t.N == 0 {
			continue
		}
		if best == nil || gain(t) > gain(best) {
			best = t
		}
	}
	switch {
	case best == nil:
		return "no step has a time yet"
	case !best.HasStandard:
		return fmt.Sprintf("%s is the longest step, %s in the middle", best.Step, Seconds(best.Median))
	case gain(best) <= 0:
		return "no step is over the standard"
	}
	return fmt.Sprintf("%s, %s in the middle, %s over the standard", best.Step, Seconds(best.Median), Seconds(gain(best)))
}

func gain(t *Times) float64 { return t.Median - t.Standard }

// Probability is a p-value for reading: never a bare zero.
func Probability(p float64) string {
	if p < 0.001 {
		return "<0.001"
	}
	return fmt.Sprintf("%.3f", p)
}
