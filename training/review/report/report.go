package report

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"twobin/procedure"
	"twobin/training/review/read"
	"twobin/training/review/stats"
)

// Format names the JSON form of a report and its version.
const Format = "twobin.review.1"

// Report is the whole review.
type Report struct {
	Format string `json:"format"`
	// Demo: everybody in it is invented.
	Demo  bool        `json:"demo,omitempty"`
	Scope Scope       `json:"scope"`
	Left  []read.Left `json:"left_out,omitempty"`
	// People are those whom the review is about, by name.
	People     []Person    `json:"people"`
	Incidents  []KindRow   `json:"incidents"`
	Comparison *Comparison `json:"comparison,omitempty"`
	Methods    []string    `json:"methods"`
}

// Scope is what the review rests on.
type Scope struct {
	Mode       string    `json:"mode"`
	Since      string    `json:"since,omitempty"`
	Steps      []string  `json:"steps"`
	References []string  `json:"references,omitempty"`
	Drills     int       `json:"drills"`
	Shifts     int       `json:"shifts"`
	Runs       int       `json:"runs"`
	Events     int       `json:"events"`
	First      time.Time `json:"first,omitzero"`
	Last       time.Time `json:"last,omitzero"`
	// Watched counts drills that the program played: they are nobody's.
	Watched int `json:"watched"`
}

// Make makes the report. The error is one of usage: a name that no journal has.
func Make(set read.Set, o Options) (*Report, error) {
	if len(o.Steps) == 0 {
		for _, s := range procedure.Routine() {
			o.Steps = append(o.Steps, s.Step)
		}
	}
	g := gather(set, o)
	if err := g.known(o); err != nil {
		return nil, err
	}
	r := &Report{Format: Format, Left: set.Left, People: []Person{}, Scope: g.scope(set, o), Methods: methods()}
	std := g.standards(o)
	for _, p := range g.people {
		if len(o.Trainees) == 0 || has(o.Trainees, p.name) {
			r.People = append(r.People, p.person(o, std))
		}
	}
	r.Scope.of(r.People)
	r.Incidents = kindRows(g, r.People)
	if o.Compare != nil {
		c, err := g.compare(*o.Compare, o)
		if err != nil {
			return nil, err
		}
		r.Comparison = c
	}
	return r, nil
}

// methods names what was reckoned how, for the reader.
func methods() []string {
	return []string{
		"Times are the operator's own: from when an answer could be given to when it was. What the machine takes is apart. A step that was broken off has no time.",
		"A run is one pass of one roll. Its time is that from pick to bin; receiving, erase and return are left out of it, since they come at other times or not at all.",
		"Percentiles: " + stats.PercentileMethod + ". Below ten times the 90th percentile is the largest, and is called that. Spread: median absolute deviation (MAD).",
		"Learning curve: " + stats.CurveReading + ", run time = first x n to the power b, fitted on logarithms. A summary and a rough forecast, not a target.",
		"Control chart: individuals and moving range over the last 20 runs, for a step with 20 runs or more. The Western Electric run tests raise false alarms: about one point in 92 of a steady process.",
		"Outliers: modified z-score beyond 3.5, on logarithms, measured from the step's own learning curve where that fits (R2 0.4 or more), else from the median. Flagged, never left out.",
		"Comparison: Mann-Whitney rank-sum test, two-sided; difference after Hodges and Lehmann; Holm's correction over all rows.",
	}
}

// gathered is who did what.
type gathered struct {
	people  []*one
	watched int
}

// one is one person's share of the journals.
type one struct {
	name     string
	all      []*read.Session // every drill that they began, whatever is asked for
	sessions []*read.Session // those in scope
	runs     []run           // in scope, in their order
	lastRun  int             // the number of the last completed run
	marks    []marked        // in scope
	incident []incident      // in scope
	every    []incident      // whatever is asked for
}

// run is a run with its number among the completed ones of its person; 0 for one that was not completed.
type run struct {
	*read.Run
	s     *read.Session
	n     int
	total int64
}

type marked struct {
	read.Mark
	s *read.Session
	r *read.Run // nil for none
}

type incident struct {
	*read.Incident
	s *read.Session
}

// gather sorts the set by people.
func gather(set read.Set, o Options) *gathered {
	g := &gathered{}
	byKey := map[string]*one{}
	who := func(name string) *one {
		k := key(name)
		p := byKey[k]
		if p == nil {
			p = &one{name: strings.TrimSpace(name)}
			byKey[k] = p
		}
		return p
	}
	for i := range set.Sessions {
		s := &set.Sessions[i]
		if s.Watched() {
			g.watched++
			continue
		}
		p := who(s.Operator)
		p.all = append(p.all, s)
		for k := range s.Incidents {
			q := who(s.Incidents[k].Who)
			q.every = append(q.every, incident{&s.Incidents[k], s})
		}
		if !o.Mode.keeps(s) {
			continue
		}
		in := o.Since.IsZero() || s.Began.Format(time.DateOnly) >= o.Since.Format(time.DateOnly)
		g.session(s, who, in)
		if in {
			p.sessions = append(p.sessions, s)
		}
	}
	for _, k := range slices.Sorted(maps.Keys(byKey)) {
		g.people = append(g.people, byKey[k])
	}
	return g
}

// session numbers the runs of a session and, if it is in scope, keeps what is in it.
func (g *gathered) session(s *read.Session, who func(string) *one, in bool) {
	for i := range s.Runs {
		r := &s.Runs[i]
		p := who(r.Trainee)
		q := run{Run: r, s: s}
		var ok bool
		if q.total, ok = r.Total(); ok {
			p.lastRun++
			q.n = p.lastRun
		}
		if !in {
			continue
		}
		p.runs = append(p.runs, q)
		for _, m := range r.Marks {
			w := who(m.Who)
			w.marks = append(w.marks, marked{m, s, r})
		}
	}
	if !in {
		return
	}
	for _, m := range s.Loose {
		w := who(m.Who)
		w.marks = append(w.marks, marked{m, s, nil})
	}
	for i := range s.Incidents {
		w := who(s.Incidents[i].Who)
		w.incident = append(w.incident, incident{&s.Incidents[i], s})
	}
}

// known refuses names that no journal has.
func (g *gathered) known(o Options) error {
	names := slices.Concat(o.Trainees, o.References)
	if o.Compare != nil && !o.Compare[0].Period() {
		names = append(names, o.Compare[0].Name, o.Compare[1].Name)
	}
	var there []string
	for _, p := range g.people {
		there = append(there, p.name)
	}
	for _, n := range names {
		if !has(there, n) {
			if len(there) == 0 {
				return fmt.Errorf("no journal has the name %q: there are no journals", n)
			}
			return fmt.Errorf("no journal has the name %q; there are: %s", n, strings.Join(there, ", "))
		}
	}
	return nil
}

func (g *gathered) scope(set read.Set, o Options) Scope {
	s := Scope{
		Mode: o.Mode.String(), References: o.References, Events: set.Events, Watched: g.watched,
	}
	if !o.Since.IsZero() {
		s.Since = o.Since.Format(time.DateOnly)
	}
	for _, st := range o.Steps {
		s.Steps = append(s.Steps, st.String())
	}
	return s
}

// of adds up what the people of the review have done.
func (s *Scope) of(people []Person) {
	for _, p := range people {
		s.Drills += p.Drills
		s.Shifts += p.Shifts
		s.Runs += p.Runs
		if !p.First.IsZero() && (s.First.IsZero() || p.First.Before(s.First)) {
			s.First = p.First
		}
		if p.Last.After(s.Last) {
			s.Last = p.Last
		}
	}
}
