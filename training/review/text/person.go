package text

import (
	"fmt"
	"strconv"
	"time"

	"twobin/training/review/report"
)

func num(n int) string { return strconv.Itoa(n) }

func secs(ms float64) string { return report.Seconds(ms) }

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
