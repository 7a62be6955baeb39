package paper

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"math"
	"strings"
	"time"

	"twobin/procedure"
	"twobin/procedure/sheet"
	"twobin/training/review/report"
)

//go:embed review.css
var reviewCSS string

//go:embed review.html
var reviewHTML string

// WriteHTML writes the review as one page.
func WriteHTML(w io.Writer, r *report.Report) error {
	t, err := template.New("review").Funcs(funcs()).Parse(reviewHTML)
	if err != nil {
		return fmt.Errorf("write the review as HTML: %w", err)
	}
	css := sheet.CSS() + template.CSS(reviewCSS) //nolint:gosec // our own file
	if err := t.Execute(w, struct {
		R   *report.Report
		CSS template.CSS
	}{r, css}); err != nil {
		return fmt.Errorf("write the review as HTML: %w", err)
	}
	return nil
}

// funcs are the template's. Every text from a journal goes through plain, or through a helper that does it.
func funcs() template.FuncMap {
	return template.FuncMap{
		"plain": procedure.Plain,
		"join":  func(s []string) string { return procedure.Plain(strings.Join(s, "; ")) },
		"names": func(s []string) string { return procedure.Plain(strings.Join(s, ", ")) },
		"secs":  report.Seconds,
		"day": func(t time.Time) string {
			if t.IsZero() {
				return ""
			}
			return t.Format(time.DateOnly)
		},
		"last":    last,
		"over":    over,
		"tenth":   func(v float64) string { return fmt.Sprintf("%.1f", v) },
		"prob":    report.Probability,
		"share":   func(v float64) string { return fmt.Sprintf("%.0f %%", 100*v) },
		"curve":   curvePlot,
		"spread":  spread,
		"chart":   chartPlot,
		"add":     func(a, b int) int { return a + b },
		"summary": func(p report.Person) []string { return p.Summary() },
		"busy":    func(p report.Person) bool { return p.Runs > 0 || p.Drills+p.Shifts > 0 },
	}
}

func last(t report.Times) string {
	out := make([]string, len(t.Last))
	for i, v := range t.Last {
		out[i] = fmt.Sprintf("%.1f", v/1000)
	}
	return strings.Join(out, "  ")
}

func over(t report.Times) string {
	d, ok := t.Over()
	switch {
	case !ok:
		return "-"
	case math.Abs(d) < 50: // less than what is shown
		return "0.0 s"
	case d < 0:
		return "-" + report.Seconds(-d)
	}
	return "+" + report.Seconds(d)
}
