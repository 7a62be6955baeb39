package text

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"twobin/training/review/report"
)

func num(n int) string { return strconv.Itoa(n) }

func secs(ms float64) string { return report.Seconds(ms) }

// stepHeads are the columns of the table of times: 80 columns in all.
var stepHeads = []column{
	{"step", 8, false}, {"n", 4, true}, {"median", 7, true}, {"p90", 7, true}, {"MAD", 6, true}, {"best", 6, true},
	{"standard", 8, true}, {"over", 7, true}, {"last five, s", 19, false},
}

// Overview is a person's first page: what it comes to.
func Overview(r *report.Report, i int) string {
	p := &page{}
	overview(p, &r.People[i])
	return p.b.String()
}

func overview(p *page, w *report.Person) {
	what := ""
	if w.Reference {
		what = " (reference)"
	}
	p.sub(w.Name + what)
	span := ""
	if !w.First.IsZero() {
		span = ", " + w.First.Format(time.DateOnly) + " to " + w.Last.Format(time.DateOnly)
	}
	p.line(fmt.Sprintf("%s, %s, %s, %d of them completed%s.", count(w.Drills, "drill"), count(w.Shifts, "shift"), count(w.Runs, "run"), w.Completed, span))
	for _, s := range w.Summary() {
		p.wrap("- ", "  ", s)
	}
}

func count(n int, word string) string {
	if n == 1 {
		return "1 " + word
	}
	return num(n) + " " + word + "s"
}

// Compliance is what was not done as it should be, how limits were kept, and where somebody stands with the drills.
func Compliance(r *report.Report, i int) string {
	p := &page{}
	compliance(p, &r.People[i])
	return p.b.String()
}

func compliance(p *page, w *report.Person) {
	cols := []column{{"errors of order and answer", 30, false}, {"n", 5, true}, {"in ten runs", 12, true}}
	p.blank()
	p.heads(cols)
	for _, k := range w.Errors {
		p.row(cols, k.Kind, num(k.N), fmt.Sprintf("%.1f", k.PerTen))
	}
	cols[0].head = "and besides (no errors)"
	p.blank()
	p.heads(cols)
	for _, k := range w.Notes {
		p.row(cols, k.Kind, num(k.N), fmt.Sprintf("%.1f", k.PerTen))
	}
	cols = []column{{"limit", 16, false}, {"is", 8, true}, {"n", 5, true}, {"median", 9, true}, {"longest", 9, true}, {"over", 6, true}}
	p.blank()
	p.heads(cols)
	for _, l := range w.Limits {
		if l.N == 0 {
			p.row(cols, l.Name, limitText(l.Limit), "0", "-", "-", "-")
			continue
		}
		p.row(cols, l.Name, limitText(l.Limit), num(l.N), secs(l.Median), secs(l.Max), num(l.Over))
	}
}

func limitText(ms float64) string {
	if ms <= 0 {
		return "none"
	}
	return secs(ms)
}

// Standing is where somebody stands with each drill.
func Standing(r *report.Report, i int) string {
	p := &page{}
	standing(p, &r.People[i])
	return p.b.String()
}

func standing(p *page, w *report.Person) {
	cols := []column{{"drill", 11, false}, {"stage", 5, true}, {"done", 5, true}, {"passed", 6, true}, {"last time", 11, false}, {"on", 10, false}, {"lacking", 26, false}}
	p.blank()
	p.heads(cols)
	for _, s := range w.Standing {
		if s.Done == 0 {
			p.row(cols, s.Drill, num(s.Stage), "0", "0", "not yet")
			continue
		}
		p.row(cols, s.Drill, num(s.Stage), num(s.Done), num(s.Passed), s.Last, s.When.Format(time.DateOnly), s.Lacking)
	}
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

// Curve is the learning curve.
func Curve(r *report.Report, i int) string {
	p := &page{}
	curve(p, &r.People[i])
	return p.b.String()
}

func curve(p *page, w *report.Person) {
	p.blank()
	p.line("Learning curve: hands-on time of a run, pick to bin")
	p.wrap("", "", w.Curve.Says)
	curvePlot(p, w.Curve, w.Total)
}

// Step is everything about one step of a person: its times, how they lie, its control chart. step counts the steps of the
// review from 0.
func Step(r *report.Report, i, step int) string {
	p := &page{}
	w := &r.People[i]
	if step >= len(w.Steps) {
		return ""
	}
	t := w.Steps[step]
	p.heads(stepHeads)
	timesRow(p, t)
	if t.N > 0 {
		p.line(fmt.Sprintf("%-9s |%s|", t.Step, strip(t, max(t.P90, t.Standard)*1.15+1, stripWide)))
	}
	chartOf(p, w.Charts[step])
	return p.b.String()
}

func chartOf(p *page, c report.Chart) {
	p.blank()
	if c.OK {
		p.line(fmt.Sprintf("Control chart: %s, the last %d runs. Mean %s, limits %s to %s.", c.Step, len(c.Points), secs(c.Center), secs(c.Floor()), secs(c.Upper)))
	} else {
		p.line("Control chart: " + c.Step)
	}
	chartPlot(p, c)
	for _, s := range c.Says {
		p.wrap("- ", "  ", s)
	}
}

// charts shows those that have something to say; the others in one line each.
func charts(p *page, w *report.Person) {
	var quiet, short []string
	for _, c := range w.Charts {
		switch {
		case len(c.Points) == 0:
			short = append(short, fmt.Sprintf("%s (%d)", c.Step, c.N))
		case c.OK && len(c.Signals) == 0:
			quiet = append(quiet, c.Step)
		default:
			chartOf(p, c)
		}
	}
	if len(quiet) > 0 {
		p.blank()
		p.wrap("", "", "Control charts with nothing out of the ordinary: "+strings.Join(quiet, ", ")+".")
	}
	if len(short) > 0 {
		p.blank()
		p.wrap("", "", "No control chart, fewer than 20 runs: "+strings.Join(short, ", ")+".")
	}
}

// Outliers is every time that deserves a look.
func Outliers(r *report.Report, i int) string {
	p := &page{}
	outliers(p, &r.People[i], len(r.People[i].Outliers))
	return p.b.String()
}

// outliers lists at most so many.
func outliers(p *page, w *report.Person, most int) {
	p.blank()
	if len(w.Outliers) == 0 {
		p.line("Outliers: none.")
		return
	}
	p.line("Outliers: single times that deserve a look. They are left in.")
	for i, o := range w.Outliers {
		if i == most {
			p.line(fmt.Sprintf("- and %d more; --json and --html list all.", len(w.Outliers)-most))
			return
		}
		where := "shift"
		if o.Drill != "" {
			where = "drill " + o.Drill
		}
		p.wrap("- ", "  ", fmt.Sprintf("%s, %s pass %d, %s, %s: %s, usually %s. %s.", o.Step, o.Roll, o.Pass, where, o.Began.Format(time.DateOnly),
			secs(o.Time), secs(o.Usual), strings.Join(o.What, "; ")))
	}
}
