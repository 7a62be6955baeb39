package text

import (
	"fmt"
	"strings"
	"time"

	"twobin/training/review/report"
)

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
