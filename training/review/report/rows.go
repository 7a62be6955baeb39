package report

import (
	"twobin/procedure"
	"twobin/training/review/read"
)

// RunRow is one run with all its times.
type RunRow struct {
	RunRef
	// Number among the completed runs of the trainee, 0 for one that was not completed.
	Number  int              `json:"number"`
	Total   int64            `json:"total_ms"`
	Hands   map[string]int64 `json:"hands_ms"`
	Broken  []string         `json:"broken_off,omitempty"`
	Machine int64            `json:"machine_ms"`
	Away    int64            `json:"away_ms"`
	Shared  bool             `json:"shared,omitempty"`
	Marks   []RunMark        `json:"marks,omitempty"`
}

// RunMark is something that happened in a run.
type RunMark struct {
	Kind string `json:"kind"`
	Step string `json:"step,omitempty"`
	Line int64  `json:"line"`
	Text string `json:"text,omitempty"`
}

func (p *one) rows() []RunRow {
	out := make([]RunRow, 0, len(p.runs))
	for _, r := range p.runs {
		row := RunRow{RunRef: r.ref(), Number: r.n, Hands: map[string]int64{}, Machine: r.Machine(), Away: r.Away, Shared: r.Shared}
		if r.n > 0 {
			row.Total = r.total
		}
		for s := procedure.StepReceive; int(s) < read.Steps; s++ {
			if r.Done[s] {
				row.Hands[s.String()] = r.Hands[s]
			}
			if r.Broken[s] > 0 {
				row.Broken = append(row.Broken, s.String())
			}
		}
		for _, m := range r.Marks {
			k := RunMark{Kind: m.Kind.String(), Line: m.Line, Text: m.Text}
			if m.Step != procedure.StepNone {
				k.Step = m.Step.String()
			}
			row.Marks = append(row.Marks, k)
		}
		out = append(out, row)
	}
	return out
}
