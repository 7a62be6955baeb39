package drill

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

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
	// Lacking says which criteria were not met, one line each.
	Lacking []string
	Spans
	// DeskOver and StartOver count limits that were passed.
	DeskOver, StartOver int
	Rolls               int
	Began, Ended        procedure.Moment
}

// Times are durations of one kind.
type Times []time.Duration

// Spans are the trainee's own times, over all rolls and passes.
type Spans struct {
	Steps map[procedure.Step]Times
	// Critical is the time from tape to start, and from the green bin to the erase or put back. Desk is on the desk.
	Critical, Desk Times
}

// Add takes in the times of another drill.
func (s *Spans) Add(o Spans) {
	if s.Steps == nil {
		s.Steps = map[procedure.Step]Times{}
	}
	for step, t := range o.Steps {
		s.Steps[step] = append(s.Steps[step], t...)
	}
	s.Critical, s.Desk = append(s.Critical, o.Critical...), append(s.Desk, o.Desk...)
}

// Median is the middle one, 0 for none.
func (t Times) Median() time.Duration {
	if len(t) == 0 {
		return 0
	}
	s := slices.Sorted(slices.Values(t))
	return s[(len(s)-1)/2]
}

// Longest is the longest one, 0 for none.
func (t Times) Longest() time.Duration {
	if len(t) == 0 {
		return 0
	}
	return slices.Max(t)
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
		case ev.Asked == erase && ev.Due == erase:
			r.AtErase = append(r.AtErase, slip)
		}
	case procedure.IncidentScored:
		if ev.Kind == DrillKind && ev.Result == Quit.String() {
			r.Outcome = Quit
		}
	}
}

// isSlip: something was tried that was not due. A wrong answer to the question that was asked is none, nor is a label
// that is taken, nor a start that came too late: those are counted by themselves.
func isSlip(plan *Plan, l procedure.Label, ev procedure.Refused) bool {
	switch {
	case ev.Asked == (procedure.RollReceived{}).Name() || ev.Asked == "receive" && l == "":
		return false
	case ev.Asked == (procedure.CopyBegan{}).Name() && strings.HasPrefix(ev.Why, "too long"):
		return false
	case strings.HasPrefix(ev.Asked, "setup.") || strings.HasPrefix(ev.Asked, "close."):
		return false
	case strings.HasPrefix(ev.Asked, "answer "):
		return true
	}
	for _, e := range procedure.Events() {
		if e.Name() == ev.Asked {
			return true
		}
	}
	switch ev.Asked {
	case "receive", "pick", "put back", "note", "operator", "return", "pull":
		return true
	case "erase":
		return ev.Due != procedure.StepErase.String()
	}
	return false
}

// spans measures from event to event, within one run of the program.
func (r *Result) spans(es []procedure.Entry) {
	critical := map[procedure.Label]procedure.Moment{}
	desk := map[procedure.Label]procedure.Moment{}
	end := func(from map[procedure.Label]procedure.Moment, e procedure.Entry, into *Times) {
		at, ok := from[e.Roll]
		if !ok {
			return
		}
		delete(from, e.Roll)
		if d, trusted := e.At.Since(at); trusted {
			*into = append(*into, d)
		}
	}
	for _, e := range es {
		switch ev := e.Event.(type) {
		case procedure.TapeMoved:
			critical[e.Roll] = e.At
		case procedure.RollTaken:
			if ev.For == "erase" {
				critical[e.Roll] = e.At
			}
		case procedure.CopyBegan, procedure.EraseBegan:
			end(critical, e, &r.Critical)
		case procedure.CardPulled:
			desk[e.Roll] = e.At
		case procedure.RollBinned:
			end(desk, e, &r.Desk)
		case procedure.PutBack, procedure.RollHeld:
			end(critical, e, &r.Critical)
			end(desk, e, &r.Desk)
		}
	}
}

// askedAbout has the IDs of the incidents that the camera department was asked about.
func askedAbout(es []procedure.Entry) map[string]bool {
	out := map[string]bool{}
	for _, e := range es {
		if act(e) == ActAsk {
			out[e.Event.(procedure.Incident).Text] = true
		}
	}
	return out
}

// pass asks the criteria.
func (r *Result) pass(d Drill, plan *Plan, s *procedure.Shift, asked map[string]bool) {
	lack := func(format string, a ...any) { r.Lacking = append(r.Lacking, fmt.Sprintf(format, a...)) }
	if !s.Closed {
		lack("the shift was not closed")
	}
	if s.Closed && (!s.TapesRight || !s.BookRight) {
		lack("tapes or book lines did not add up")
	}
	here := 0
	for _, l := range s.Order {
		roll := s.Rolls[l]
		here++
		switch {
		case roll.Held != nil:
		case roll.Place != procedure.PlaceReturned:
			lack("%s was not closed: %s", l, roll.Place)
		default:
			_, wentOn := plan.WentOn(l, s)
			if p, ok := plan.Roll(l); ok && p.Erase && !roll.Erased && !wentOn {
				lack("%s was to be erased at the cart, and was not", l)
			}
		}
	}
	if due := plan.due(s, asked); here < due {
		lack("%d of %d cards were taken in", here, due)
	}
	late := 0
	for _, f := range r.Findings {
		switch f.Verdict {
		case Wrong, Missed:
			spec, _ := SpecOf(f.Kind)
			lack("%s: %s", spec.Title, f.Verdict)
		case Late:
			late++
		case Right, NotMet:
		}
	}
	if late > d.Late {
		lack("%d incidents handled late, %d allowed", late, d.Late)
	}
	if len(r.Slips) > d.Orders {
		lack("%d things tried out of their order, %d allowed", len(r.Slips), d.Orders)
	}
	if !d.AnyDesk && r.DeskOver > d.Desk {
		lack("%d cards lay on the desk too long, %d allowed", r.DeskOver, d.Desk)
	}
	r.Outcome = NotPassed
	if len(r.Lacking) == 0 {
		r.Outcome = Passed
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
