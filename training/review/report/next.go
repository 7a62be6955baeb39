package report

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"twobin/training/drill"
	"twobin/training/review/read"
)

// Proposal is a drill to do next, with the reason.
type Proposal struct {
	Drill  string `json:"drill"`
	Title  string `json:"title"`
	Reason string `json:"reason"`
}

// proposals is how many drills are proposed.
const proposals = 3

// Weights of the reasons for a drill. Own choice; compliance weighs more than novelty.
const (
	weighWrong  = 8
	weighFailed = 5
	weighLate   = 3
	weighNew    = 2
	weighUnmet  = 1
)

// next proposes drills: incidents whose last time was wrong or missed, then drills not passed, then late ones, then what
// was never done, in the order of the stages.
func (p *one) next(out Person) []Proposal {
	last := map[string]incident{}
	for _, in := range p.every {
		if in.Result != "" {
			last[in.Kind] = in
		}
	}
	type scored struct {
		Proposal
		weight, stage int
	}
	var all []scored
	open := openStage(out.Standing)
	for i, d := range drill.Drills() {
		st := out.Standing[i]
		var reasons []string
		weight := 0
		add := func(w int, format string, a ...any) {
			weight += w
			reasons = append(reasons, fmt.Sprintf(format, a...))
		}
		var unmet []string
		for _, slot := range d.Slots {
			spec, _ := drill.SpecOf(slot.Kind)
			in, met := last[string(slot.Kind)]
			switch {
			case !met:
				unmet = append(unmet, spec.Title)
			case in.Result == drill.Wrong.String(), in.Result == drill.Missed.String():
				add(weighWrong, "%s: %s on %s", spec.Title, in.Result, in.At.Format(time.DateOnly))
			case in.Result == drill.Late.String():
				add(weighLate, "%s: late on %s", spec.Title, in.At.Format(time.DateOnly))
			}
		}
		switch {
		case st.Done == 0:
			add(weighNew, "never done")
		case st.Last != drill.Passed.String():
			add(weighFailed, "%s on %s", st.Last, st.When.Format(time.DateOnly))
		}
		if len(unmet) > 0 && st.Done > 0 {
			add(weighUnmet, "not yet met: %s", strings.Join(unmet, ", "))
		}
		if d.Stage > open { // earlier ones are passed first
			continue
		}
		if d.Name == drill.LongDay { // it has everything: only when nothing smaller trains it
			weight, reasons = 1, []string{"everything at once, for a whole day"}
		}
		if weight > 0 {
			all = append(all, scored{Proposal{d.Name, d.Title, strings.Join(reasons, "; ")}, weight, d.Stage})
		}
	}
	slices.SortStableFunc(all, func(a, b scored) int { return cmp.Or(cmp.Compare(b.weight, a.weight), cmp.Compare(a.stage, b.stage)) })
	var ps []Proposal
	for _, s := range all[:min(proposals, len(all))] {
		ps = append(ps, s.Proposal)
	}
	return fill(ps, out.Standing)
}

// openStage is the highest stage that may be done: that of the first drill not passed.
func openStage(ss []Standing) int {
	for _, s := range ss {
		if s.Passed == 0 {
			return s.Stage
		}
	}
	return ss[len(ss)-1].Stage
}

// fill adds what was done longest ago until there are enough, and for who has done little what comes afterwards.
func fill(ps []Proposal, ss []Standing) []Proposal {
	rest := slices.Clone(ss)
	slices.SortStableFunc(rest, func(a, b Standing) int { return a.When.Compare(b.When) })
	for _, s := range rest {
		if len(ps) >= proposals {
			break
		}
		if s.Done > 0 && s.Last == drill.Passed.String() && !proposed(ps, s.Drill) {
			ps = append(ps, Proposal{s.Drill, s.Title, "passed; done longest ago (" + s.When.Format(time.DateOnly) + ")"})
		}
	}
	for _, s := range ss {
		if len(ps) < proposals && s.Done == 0 && !proposed(ps, s.Drill) {
			ps = append(ps, Proposal{s.Drill, s.Title, fmt.Sprintf("new; when every drill before stage %d is passed", s.Stage)})
		}
	}
	return ps
}

func proposed(ps []Proposal, name string) bool {
	return slices.ContainsFunc(ps, func(x Proposal) bool { return x.Drill == name })
}

// Ready is whether the record says that somebody is ready, and what is lacking. It is the record's word: the trainer's
// own eyes come first.
type Ready struct {
	Ready bool `json:"ready"`
	// Lacks is about compliance, Time about times; both one line each.
	Lacks []string `json:"lacks,omitempty"`
	Time  []string `json:"time,omitempty"`
}

const (
	// recent is how many of the last incidents and sessions count for being ready. Own choice.
	recentIncidents = 10
	recentSessions  = 5
	// nearStandard: so many times the standard is near enough. Own choice: the half of a reference's own runs are over it.
	nearStandard = 1.25
)

func (p *one) ready(out Person) Ready {
	var r Ready
	var missing []string
	for _, s := range out.Standing {
		if s.Passed == 0 && s.Drill != drill.LongDay {
			missing = append(missing, s.Drill)
		}
	}
	if len(missing) > 0 {
		r.Lacks = append(r.Lacks, "drills not passed yet: "+strings.Join(missing, ", "))
	}
	judged := slices.DeleteFunc(slices.Clone(p.every), func(i incident) bool { return i.Result == "" })
	judged = judged[max(0, len(judged)-recentIncidents):]
	bad := 0
	for _, in := range judged {
		if in.Result == drill.Wrong.String() || in.Result == drill.Missed.String() {
			bad++
		}
	}
	switch {
	case len(judged) == 0:
		r.Lacks = append(r.Lacks, "no incident was met yet")
	case bad > 0:
		r.Lacks = append(r.Lacks, fmt.Sprintf("wrong or missed: %d of the last %d incidents", bad, len(judged)))
	}
	if bad := p.lastBad(); len(bad) > 0 {
		r.Lacks = append(r.Lacks, "wrong or missed the last time: "+strings.Join(bad, ", "))
	}
	if n := p.recentSlips(); n > 0 {
		r.Lacks = append(r.Lacks, fmt.Sprintf("tried out of its order in the last %d drills and shifts: %d", min(recentSessions, len(p.sessions)), n))
	}
	r.Time = timeLacks(out.Total)
	r.Ready = len(r.Lacks) == 0 && len(r.Time) == 0
	return r
}

// lastBad lists the kinds of incident that were wrong or missed when they last happened.
func (p *one) lastBad() []string {
	last := map[string]string{}
	for _, in := range p.every {
		if in.Result != "" {
			last[in.Kind] = in.Result
		}
	}
	var out []string
	for _, k := range slices.Sorted(maps.Keys(last)) {
		if last[k] == drill.Wrong.String() || last[k] == drill.Missed.String() {
			out = append(out, k)
		}
	}
	return out
}

func (p *one) recentSlips() int {
	last := p.sessions[max(0, len(p.sessions)-recentSessions):]
	n := 0
	for _, m := range p.marks {
		if m.Kind == read.Order && slices.Contains(last, m.s) {
			n++
		}
	}
	return n
}

func timeLacks(t Times) []string {
	if !t.HasStandard || t.N == 0 {
		return nil
	}
	last := medianOf(t.Last)
	if last > nearStandard*t.Standard {
		return []string{fmt.Sprintf("the last %d runs took %s in the middle; the standard is %s", len(t.Last), Seconds(last), Seconds(t.Standard))}
	}
	return nil
}
