package sheet

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"strings"
	"time"

	"twobin/procedure"
)

//go:embed paper.css
var paperCSS string

//go:embed sheet.html
var sheetHTML string

// CSS is the look of everything that is made for screen and paper: light, dark and print.
func CSS() template.CSS { return template.CSS(paperCSS) } //nolint:gosec // our own file

// stamp is one time of a roll with its name.
type stamp struct{ Name, At string }

// Funcs are the helpers of the templates: when, short, size, join.
func Funcs() template.FuncMap {
	return template.FuncMap{
		"when":  func(t time.Time) string { return t.Format("2006-01-02 15:04:05 -07:00") },
		"short": shortTime,
		"size":  procedure.SizeText,
		"join":  func(s []string) string { return strings.Join(s, ", ") },
	}
}

// shortTime is a day and a minute, empty for no time.
func shortTime(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.Format("2006-01-02 15:04")
}

// stamps lists what a roll has reached, with the date only where it is another than the shift's, which stands in the row.
func stamps(r *Row) []stamp {
	var out []stamp
	for _, s := range []struct {
		name string
		at   time.Time
	}{
		{"arrived", r.Came}, {"started", r.Started}, {"proven", r.Proven}, {"green", r.Green}, {"erased", r.Erased}, {"returned", r.Returned},
	} {
		if s.at.IsZero() {
			continue
		}
		form := "15:04:05"
		if s.at.Format(time.DateOnly) != r.Date {
			form = "2006-01-02 15:04:05"
		}
		out = append(out, stamp{s.name, s.at.Format(form)})
	}
	return out
}

// WriteHTML writes the sheet as one page.
func (s *Sheet) WriteHTML(w io.Writer) error {
	funcs := Funcs()
	funcs["row"] = func(r Row) template.HTML { return r.html() }
	t, err := template.New("sheet").Funcs(funcs).Parse(sheetHTML)
	if err != nil {
		return fmt.Errorf("write the sheet as HTML: %w", err)
	}
	if err := t.Execute(w, struct {
		Sheet *Sheet
		CSS   template.CSS
	}{s, CSS()}); err != nil {
		return fmt.Errorf("write the sheet as HTML: %w", err)
	}
	return nil
}
