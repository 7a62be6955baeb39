package text

import (
	"fmt"

	"twobin/training/review/read"
)

// Timeline is one run, event by event.
func Timeline(ms []read.Moment) string {
	p := &page{}
	cols := []column{{"line", 5, true}, {"after", 8, true}, {"what", 50, false}, {"answer took", 12, true}}
	p.heads(cols)
	for _, m := range ms {
		took := ""
		if m.Answered {
			took = fmt.Sprintf("%.1f s", m.Took.Seconds())
		}
		after := fmt.Sprintf("%d:%04.1f", int(m.At.Minutes()), m.At.Seconds()-60*float64(int(m.At.Minutes())))
		p.row(cols, fmt.Sprint(m.Line), after, m.Text, took)
	}
	if len(ms) == 0 {
		p.line("No events.")
	}
	return p.b.String()
}
