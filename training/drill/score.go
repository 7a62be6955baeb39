package drill

import (
	"cmp"
	"fmt"
	"strings"

	"twobin/procedure"
)

// Verdict is what became of an incident. The zero value: it never began.
type Verdict int

// The verdicts.
const (
	NotMet Verdict = iota
	Right
	Late
	Wrong
	Missed
)

var verdictNames = [...]string{NotMet: "not met", Right: "right", Late: "late", Wrong: "wrong", Missed: "missed"}

// String is the verdict's word, also in the journal.
func (v Verdict) String() string {
	if v < NotMet || v > Missed {
		return "unknown"
	}
	return verdictNames[v]
}

// Finding is what became of one incident: the verdict, why in one line, and when it was decided.
type Finding struct {
	Planned
	Verdict Verdict
	Why     string
	At      procedure.Moment
}

// Outcome is how a drill ended. The zero value is: still under way, or broken off without a word.
type Outcome int

// The outcomes.
const (
	BrokenOff Outcome = iota
	Passed
	NotPassed
	Quit
)

var outcomeNames = [...]string{BrokenOff: "broken off", Passed: "passed", NotPassed: "not passed", Quit: "quit"}

// String is the outcome's word, also in the journal.
func (o Outcome) String() string {
	if o < BrokenOff || o > Quit {
		return "unknown"
	}
	return outcomeNames[o]
}

// Slip is something tried out of its order; the program refused it.
type Slip struct {
	At    procedure.Moment
	Roll  procedure.Label
	Asked string
	Due   string
	Why   string
}

// Result is what a drill came to.
type Result struct {
	Drill    string
	Seed     int64
	Trainee  string
	Coach    string
	Outcome  Outcome
	Findings []Finding
	Slips    []Slip
	// AtErase is what the erase refused when it was due, another label above all. It is told, and keeps nobody from a pass.
	AtErase []Slip
	// Misread are answers at a look or a count that were not what stands there. They are told, and keep nobody from a pass.
	Misread []Slip
	// Lacking says which criteria were not met, one line each.
	Lacking []string
	Spans
	// DeskOver and StartOver count limits that were passed.
	DeskOver, StartOver int
	Rolls               int
	Began, Ended        procedure.Moment
}

// Score folds a drill's entries into its result. plan is the one that [NewPlan] gives for the drill and seed of the
// journal's first event.
func Score(d Drill, plan *Plan, es []procedure.Entry) Result {
	r := Result{Drill: d.Name, Seed: plan.Seed, Spans: Spans{Steps: map[procedure.Step]Times{}}}
	s := procedure.NewShift()
	for _, e := range es {
		if s.Apply(e) != nil {
			continue // a journal of a newer version; what is known counts
		}
		r.take(plan, e)
	}
	r.spans(es)
	for _, i := range plan.Incidents {
		r.Findings = append(r.Findings, judge(i, plan, es))
	}
	r.Rolls = len(s.Order)
	if r.Outcome != Quit {
		r.pass(d, plan, s, askedAbout(es))
	}
	return r
}

// take gathers what single entries say.
func (r *Result) take(plan *Plan, e procedure.Entry) {
	if r.Began == (procedure.Moment{}) {
		r.Began = e.At
	}
	r.Ended = e.At
	if took, prompt, ok := procedure.Took(e.Event); ok {
		group, _, _ := strings.Cut(prompt, ".")
		if step, known := procedure.StepByID(group); known {
			r.Steps[step] = append(r.Steps[step], took)
		}
	}
	switch ev := e.Event.(type) {
	case procedure.ShiftOpened:
		r.Trainee, r.Coach = ev.Operator, ev.Coach
	case procedure.TooLate:
		switch ev.Step {
		case "desk":
			r.DeskOver++
		case "start":
			r.StartOver++
		}
	case procedure.Refused:
		slip := Slip{At: e.At, Roll: e.Roll, Asked: ev.Asked, Due: ev.Due, Why: ev.Why}
		switch erase := procedure.StepErase.String(); {
		case isSlip(plan, e.Roll, ev):
			r.Slips = append(r.Slips, slip)
		case (ev.Asked == erase || ev.Asked == (procedure.EraseBegan{}).Name()) && ev.Due == erase:
			r.AtErase = append(r.AtErase, slip)
		}
	case procedure.DestLooked:
		if !ev.Right {
			r.Misread = append(r.Misread, Slip{At: e.At, Roll: e.Roll, Why: fmt.Sprintf("%q is not what stands on %s", ev.Answer, ev.Dest)})
		}
	case procedure.CountRead:
		if !ev.Right {
			r.Misread = append(r.Misread, Slip{At: e.At, Roll: e.Roll, Why: fmt.Sprintf("read %q from the book as the %s; something else had been shown", ev.Read, ev.What)})
		}
	case procedure.IncidentScored:
		if ev.Kind == DrillKind && ev.Result == Quit.String() {
			r.Outcome = Quit
		}
	}
}

// Scored are the entries that keep a result in the journal: one an incident that was met, then the drill itself.
func (r *Result) Scored() []procedure.IncidentScored {
	var out []procedure.IncidentScored
	for _, f := range r.Findings {
		if f.Verdict != NotMet {
			out = append(out, procedure.IncidentScored{Kind: string(f.Kind), ID: f.ID, Result: f.Verdict.String(), Why: f.Why})
		}
	}
	return append(out, procedure.IncidentScored{Kind: DrillKind, ID: r.Drill, Result: r.Outcome.String(), Why: strings.Join(r.Lacking, "; ")})
}

// byTime sorts findings by when they were decided.
func byTime(a, b Finding) int {
	return cmp.Or(cmp.Compare(a.At.Run, b.At.Run), cmp.Compare(a.At.Mono, b.At.Mono))
}
