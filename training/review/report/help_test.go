package report

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"twobin/procedure"
	"twobin/training/review/read"
)

// day0 is when invented sessions begin; one a day.
var day0 = time.Date(2031, 5, 5, 9, 0, 0, 0, time.UTC)

// session is one of one person, with runs that have this time at one step and a millisecond at every other of the nine.
func session(who string, day int, step procedure.Step, times ...int64) read.Session {
	s := read.Session{
		Path: fmt.Sprintf("%s-%d.jsonl", who, day), Operator: who, Began: day0.AddDate(0, 0, day), Lines: 30,
		Limits: read.Limits{Start: 30_000, Desk: 180_000, Erase: 60_000},
	}
	for i, ms := range times {
		s.Runs = append(s.Runs, oneRun(who, s.Began.Add(time.Duration(i)*time.Minute), step, ms))
	}
	return s
}

func oneRun(who string, began time.Time, step procedure.Step, ms int64) read.Run {
	r := read.Run{Roll: "A001", Pass: 1, Trainee: who, Began: began, First: 1, Last: 30, SeatToStart: -1, Desk: -1, LookToErase: -1}
	for s := procedure.StepPick; s <= procedure.StepBin; s++ {
		r.Done[s], r.Hands[s] = true, 1
	}
	r.Hands[step], r.Done[step] = ms, true
	return r
}

func mustMake(t *testing.T, o Options, ss ...read.Session) *Report {
	t.Helper()
	r, err := Make(read.Set{Sessions: ss}, o)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > tol {
		t.Errorf("%s = %v, want %v within %v", what, got, want, tol)
	}
}

// stepOf finds a person's row of a step.
func stepOf(t *testing.T, p Person, s procedure.Step) Times {
	t.Helper()
	for _, x := range p.Steps {
		if x.Step == s.String() {
			return x
		}
	}
	t.Fatalf("no row %s", s)
	return Times{}
}

// sane fails on any number that JSON cannot hold, and on words that mean that somebody divided by nothing.
func sane(t *testing.T, r *Report) string {
	t.Helper()
	b, err := json.Marshal(r)
	if err != nil {
		t.Fatalf("the report holds no number: %v", err)
	}
	for _, w := range []string{"NaN", "Inf", "%!"} {
		if strings.Contains(string(b), w) {
			t.Errorf("the report says %q", w)
		}
	}
	return string(b)
}
