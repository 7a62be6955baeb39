package text

import (
	"fmt"
	"strings"

	"twobin/training/review/report"
)

// stepHeads are the columns of the table of times: 80 columns in all.
var stepHeads = []column{
	{"step", 8, false}, {"n", 4, true}, {"median", 7, true}, {"p90", 7, true}, {"MAD", 6, true}, {"best", 6, true},
	{"standard", 8, true}, {"over", 7, true}, {"last five, s", 19, false},
}

// Times is the table of times with their distribution.
func Times(r *report.Report, i int) string {
	p := &page{}
	times(p, &r.People[i])
	return p.b.String()
}

func times(p *page, w *report.Person) {
	p.blank()
	p.heads(stepHeads)
	short, odd := false, false
	for _, t := range append(append([]report.Times{}, w.Steps...), w.Total) {
		if t.Step == w.Total.Step {
			t.Step = "run"
		}
		short = short || t.N > 0 && t.P90IsMax
		odd = odd || t.Broken > 0
		timesRow(p, t)
	}
	if short {
		p.wrap("", "", "m: fewer than ten times, so this is the largest, not a 90th percentile.")
	}
	if odd {
		var b []string
		for _, t := range w.Steps {
			if t.Broken > 0 {
				b = append(b, fmt.Sprintf("%s %d", t.Step, t.Broken))
			}
		}
		if len(b) > 0 {
			p.wrap("", "", "Broken off, so without a time: "+strings.Join(b, ", ")+".")
		}
	}
	distribution(p, w)
	machine(p, w)
}

func timesRow(p *page, t report.Times) {
	if t.N == 0 {
		p.row(stepHeads, t.Step, "0", "-", "-", "-", "-", standardText(t), "-", "no time")
		return
	}
	p90 := secs(t.P90)
	if t.P90IsMax {
		p90 = "m" + p90
	}
	over := "-"
	if d, ok := t.Over(); ok {
		over = signed(d)
	}
	last := make([]string, len(t.Last))
	for i, v := range t.Last {
		last[i] = number(v)
	}
	p.row(stepHeads, t.Step, num(t.N), secs(t.Median), p90, bare(t.MAD), bare(t.Best), standardText(t), over, strings.Join(last, " "))
}

func standardText(t report.Times) string {
	if !t.HasStandard {
		return "none"
	}
	return secs(t.Standard)
}

func signed(ms float64) string {
	if ms > -50 && ms < 50 {
		return "0.0"
	}
	if ms < 0 {
		return "-" + bare(-ms)
	}
	return "+" + bare(ms)
}

// bare is a time without its unit, short enough for a narrow column.
func bare(ms float64) string {
	s := secs(ms)
	if n, ok := strings.CutSuffix(s, " s"); ok {
		if len(n) > 3 { // 10 seconds and more: whole seconds say enough
			return fmt.Sprintf("%.0f", ms/1000)
		}
		return n
	}
	return s
}

// stripWide is how wide a strip of times is.
const stripWide = 66

// number is a time in seconds without the unit, at most three digits where it can be.
func number(ms float64) string {
	if ms < 9950 {
		return fmt.Sprintf("%.1f", ms/1000)
	}
	return fmt.Sprintf("%.0f", ms/1000)
}

// distribution draws all steps on one axis.
func distribution(p *page, w *report.Person) {
	hi := 0.0
	for _, t := range w.Steps {
		hi = max(hi, t.P90)
	}
	if hi <= 0 {
		return
	}
	hi *= 1.15
	p.blank()
	p.line("How the times of a step lie (| median, the denser the darker, > more beyond):")
	for _, t := range w.Steps {
		if t.N > 0 {
			p.line(fmt.Sprintf("%-9s |%s|", t.Step, strip(t, hi, stripWide)))
		}
	}
	left, right := "0 s", secs(hi)
	p.line(strings.Repeat(" ", 11) + left + strings.Repeat(" ", stripWide-len(left)-len(right)) + right)
}

func machine(p *page, w *report.Person) {
	cols := []column{{"machine's time (nobody's)", 26, false}, {"n", 5, true}, {"median", 9, true}, {"longest", 9, true}}
	p.blank()
	p.heads(cols)
	for _, t := range w.Machine {
		if t.N == 0 {
			p.row(cols, t.Step, "0", "-", "-")
			continue
		}
		p.row(cols, t.Step, num(t.N), secs(t.Median), secs(t.Max))
	}
}
