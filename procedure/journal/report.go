package journal

import (
	"fmt"
	"time"
)

// Report is what a check of one journal found.
type Report struct {
	Path string `json:"path"`
	// Whole: every line is as it was written and follows the one before.
	Whole bool `json:"whole"`
	// Lines counts the good lines, Runs the times a process opened the journal.
	Lines int `json:"lines"`
	Runs  int `json:"runs"`
	// First and Last are the wall-clock times of the first and the last good line; zero if there is none.
	First time.Time `json:"first,omitzero"`
	Last  time.Time `json:"last,omitzero"`
	// Code is the closing code; empty unless Whole and at least one line. Lines cut off at the end show only in its
	// difference from the code in the paper book.
	Code string `json:"code,omitempty"`
	// Damage is where the journal breaks; nil if it is whole.
	Damage *Damage `json:"damage,omitempty"`
}

// String is the report in one line.
func (r Report) String() string {
	if !r.Whole {
		return fmt.Sprintf("%s: damaged at %v; %d lines before it are good", r.Path, r.Damage, r.Lines)
	}
	return fmt.Sprintf("%s: whole, %d lines, code %s", r.Path, r.Lines, r.Code)
}

// Verify reads the journal at path, checks every line and the chain, and changes nothing. The error is one of reading
// only; what is wrong with the journal is in the report.
func Verify(path string) (Report, error) {
	lines, damage, err := ReadFile(path)
	if err != nil {
		return Report{Path: path}, err
	}
	return report(path, lines, damage), nil
}

func report(path string, lines []Line, damage *Damage) Report {
	r := Report{Path: path, Whole: damage == nil, Lines: len(lines), Damage: damage}
	if len(lines) == 0 {
		return r
	}
	last := lines[len(lines)-1]
	r.First, r.Last, r.Runs = lines[0].Time, last.Time, last.Run
	if r.Whole {
		r.Code = CodeOf(last)
	}
	return r
}
