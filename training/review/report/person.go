package report

import (
	"time"

	"twobin/procedure"
	"twobin/training/review/read"
	"twobin/training/review/stats"
)

// Person is what the review says about one trainee.
type Person struct {
	Name string `json:"name"`
	// Reference: their times are (part of) the standard.
	Reference bool `json:"reference"`
	Drills    int  `json:"drills"`
	Shifts    int  `json:"shifts"`
	// Runs counts passes begun, Completed those with a time.
	Runs      int        `json:"runs"`
	Completed int        `json:"completed"`
	First     time.Time  `json:"first,omitzero"`
	Last      time.Time  `json:"last,omitzero"`
	Ready     Ready      `json:"ready"`
	Errors    []KindN    `json:"errors"`
	Notes     []KindN    `json:"notes"`
	Limits    []Limit    `json:"limits"`
	Next      []Proposal `json:"next"`
	Standing  []Standing `json:"standing"`
	// Total is the time of a run, Steps that of its steps, in milliseconds.
	Total    Times     `json:"total_ms"`
	Steps    []Times   `json:"steps_ms"`
	Machine  []Times   `json:"machine_ms"`
	Curve    Curve     `json:"curve"`
	Charts   []Chart   `json:"charts"`
	Outliers []Outlier `json:"outliers"`
	// AllRuns are the runs one by one, oldest first.
	AllRuns []RunRow `json:"all_runs"`
}

// Times describes the times of one step, of the whole run, or of the machine.
type Times struct {
	Step string `json:"step"`
	stats.Summary
	// Broken counts how often the step was broken off: such a run has no time here.
	Broken int `json:"broken_off"`
	// Standard is the median of the references; HasStandard: there is one.
	Standard    float64 `json:"standard"`
	HasStandard bool    `json:"has_standard"`
	// Limit is the policy's limit on this step, 0 for none; see Person.Limits for how it went.
	Limit float64 `json:"limit"`
	// All are the times themselves, in the order of the runs.
	All []float64 `json:"all,omitempty"`
}

// Over is by how much the median is over the standard; false without one.
func (t Times) Over() (float64, bool) { return t.Median - t.Standard, t.HasStandard && t.N > 0 }

// KindN is how often something happened.
type KindN struct {
	Kind string `json:"kind"`
	N    int    `json:"n"`
	// PerTen is N for ten runs; 0 without runs.
	PerTen float64 `json:"per_ten_runs"`
}

// Limit is how a limit of the policy was kept.
type Limit struct {
	Name string `json:"name"`
	stats.Summary
	// Limit is that of the newest journal, in milliseconds; Over counts runs over the limit of their own journal.
	Limit float64 `json:"limit"`
	Over  int     `json:"over"`
}

// standards are the medians of the references, by step; index 0 is the whole run.
type standards [read.Steps]struct {
	median float64
	ok     bool
}

func (g *gathered) standards(o Options) standards {
	var times [read.Steps][]float64
	for _, p := range g.people {
		if !has(o.References, p.name) {
			continue
		}
		for _, r := range p.runs {
			if r.n > 0 {
				times[0] = append(times[0], float64(r.total))
			}
			for s := 1; s < read.Steps; s++ {
				if r.Done[s] {
					times[s] = append(times[s], float64(r.Hands[s]))
				}
			}
		}
	}
	var out standards
	for s, ts := range times {
		out[s].median, out[s].ok = stats.Percentile(ts, 0.5)
	}
	return out
}

func (p *one) person(o Options, std standards) Person {
	out := Person{Name: p.name, Reference: has(o.References, p.name), Runs: len(p.runs)}
	for _, s := range p.sessions {
		if s.Drill == "" {
			out.Shifts++
		} else {
			out.Drills++
		}
		if out.First.IsZero() {
			out.First = s.Began
		}
		out.Last = s.Began
	}
	for _, r := range p.runs {
		if r.n > 0 {
			out.Completed++
		}
	}
	out.Total = p.total(std)
	for _, s := range o.Steps {
		out.Steps = append(out.Steps, p.step(s, std))
	}
	out.Machine = p.machine()
	out.Limits = p.limits()
	out.Errors, out.Notes = p.count(read.Errors()), p.count(read.Notes())
	out.Curve = p.curve(std)
	out.Charts = p.charts(o.Steps)
	out.Outliers = p.outliers(o.Steps)
	out.Standing = p.standing()
	out.Ready = p.ready(out)
	out.Next = p.next(out)
	out.AllRuns = p.rows()
	return out
}

// whole is the name of the whole run among the steps.
const whole = "whole run"

func (p *one) total(std standards) Times {
	t := Times{Step: whole, Standard: std[0].median, HasStandard: std[0].ok}
	for _, r := range p.runs {
		if r.n > 0 {
			t.All = append(t.All, float64(r.total))
		} else {
			t.Broken++
		}
	}
	t.Summary = stats.Summarize(t.All)
	return t
}

func (p *one) step(s procedure.Step, std standards) Times {
	t := Times{Step: s.String(), Standard: std[s].median, HasStandard: std[s].ok}
	for _, r := range p.runs {
		t.Broken += int(r.Broken[s])
		if r.Done[s] {
			t.All = append(t.All, float64(r.Hands[s]))
		}
		switch s {
		case procedure.StepStart:
			t.Limit = float64(r.s.Limits.Start)
		case procedure.StepErase:
			t.Limit = float64(r.s.Limits.Erase)
		default:
		}
	}
	t.Summary = stats.Summarize(t.All)
	return t
}

// machine is the machine's time, which is nobody's.
func (p *one) machine() []Times {
	parts := []struct {
		name string
		ms   func(*read.Run) int64
	}{
		{"scan", func(r *read.Run) int64 { return r.Scan }}, {"copy and read-back", func(r *read.Run) int64 { return r.Copy }},
		{"fresh look", func(r *read.Run) int64 { return r.Look }}, {"erase", func(r *read.Run) int64 { return r.Erase }},
	}
	var out []Times
	for _, part := range parts {
		t := Times{Step: part.name}
		for _, r := range p.runs {
			if ms := part.ms(r.Run); ms > 0 {
				t.All = append(t.All, float64(ms))
			}
		}
		t.Summary = stats.Summarize(t.All)
		t.All = nil
		out = append(out, t)
	}
	return out
}

// limits is how the policy's limits were kept.
func (p *one) limits() []Limit {
	parts := []struct {
		name  string
		span  func(*read.Run) int64
		limit func(read.Limits) int64
	}{
		{"seat to start", func(r *read.Run) int64 { return r.SeatToStart }, func(l read.Limits) int64 { return l.Start }},
		{"on the desk", func(r *read.Run) int64 { return r.Desk }, func(l read.Limits) int64 { return l.Desk }},
		{"look to erase", func(r *read.Run) int64 { return r.LookToErase }, func(l read.Limits) int64 { return l.Erase }},
	}
	var out []Limit
	for _, part := range parts {
		l := Limit{Name: part.name}
		var times []float64
		for _, r := range p.runs {
			limit := part.limit(r.s.Limits)
			l.Limit = float64(limit)
			if ms := part.span(r.Run); ms >= 0 {
				times = append(times, float64(ms))
				if limit > 0 && ms > limit { // on the limit is not over it
					l.Over++
				}
			}
		}
		l.Summary = stats.Summarize(times)
		out = append(out, l)
	}
	return out
}

func (p *one) count(kinds []read.Kind) []KindN {
	var out []KindN
	for _, k := range kinds {
		n := KindN{Kind: k.String()}
		for _, m := range p.marks {
			if m.Kind == k {
				n.N++
			}
		}
		if len(p.runs) > 0 {
			n.PerTen = 10 * float64(n.N) / float64(len(p.runs))
		}
		out = append(out, n)
	}
	return out
}
