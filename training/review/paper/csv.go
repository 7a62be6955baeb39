package paper

import (
	"encoding/csv"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"twobin/procedure"
	"twobin/training/review/report"
)

// WriteCSV writes every time of every run as RFC 4180: one line a run and step that was completed or broken off. Times are
// whole milliseconds; a step that was broken off has none.
func WriteCSV(w io.Writer, r *report.Report) error {
	out := csv.NewWriter(w)
	out.UseCRLF = true
	rows := [][]string{{
		"trainee", "kind", "drill", "began", "roll", "pass", "run", "step", "state", "hands_on_ms", "machine_ms_of_run", "away_ms_of_run", "shared", "happened", "journal", "line",
	}}
	for _, p := range r.People {
		for _, run := range p.AllRuns {
			rows = append(rows, runRows(p.Name, run, r.Scope.Steps)...)
		}
	}
	for _, row := range rows {
		for i := range row {
			row[i] = harmless(row[i])
		}
		if err := out.Write(row); err != nil {
			return fmt.Errorf("write the review as CSV: %w", err)
		}
	}
	out.Flush()
	if err := out.Error(); err != nil {
		return fmt.Errorf("write the review as CSV: %w", err)
	}
	return nil
}

func runRows(name string, r report.RunRow, steps []string) [][]string {
	kind, number := "shift", ""
	if r.Drill != "" {
		kind = "drill"
	}
	if r.Number > 0 {
		number = strconv.Itoa(r.Number)
	}
	var out [][]string
	for _, s := range steps {
		ms, done := r.Hands[s]
		state, taken := "done", strconv.FormatInt(ms, 10)
		if !done {
			if !slices.Contains(r.Broken, s) {
				continue
			}
			state, taken = "broken off", ""
		}
		out = append(out, []string{
			name, kind, r.Drill, r.Began.Format(time.RFC3339), r.Roll, strconv.Itoa(r.Pass), number, s, state, taken,
			strconv.FormatInt(r.Machine, 10), strconv.FormatInt(r.Away, 10), strconv.FormatBool(r.Shared), happened(r, s), r.Path, strconv.FormatInt(r.Line, 10),
		})
	}
	return out
}

// happened is what was noted at a step of a run.
func happened(r report.RunRow, step string) string {
	var out []string
	for _, m := range r.Marks {
		if m.Step == step {
			t := m.Kind
			if m.Text != "" {
				t += ": " + m.Text
			}
			out = append(out, t)
		}
	}
	return strings.Join(out, "; ")
}

// harmless makes a text that a spreadsheet would take for a formula begin with an apostrophe, and takes control
// characters out. The signs are those that OWASP, "CSV Injection", names (from memory).
func harmless(s string) string {
	s = procedure.Plain(s)
	if t := strings.TrimLeft(s, " \u00A0\u3000"); t != "" && strings.ContainsRune("=+-@＝＋－＠", []rune(t)[0]) {
		return "'" + s
	}
	return s
}
