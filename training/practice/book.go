package practice

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"twobin/procedure"
	"twobin/procedure/journal"
	"twobin/training/drill"
)

// Run is one drill of a trainee, as its journal has it.
type Run struct {
	Path    string
	Drill   string
	Seed    int64
	Trainee string
	Coach   Coach
	// Outcome is the result's word, "show" for one that was watched; empty for one that has no end.
	Outcome string
	Began   time.Time
	// Sandbox is where a drill without an end has left its files, if they are still there. CutOff: the power was cut
	// as part of the drill, so it waits to be gone on with.
	Sandbox string
	CutOff  bool
	Entries []procedure.Entry
}

// Book is what a trainee has been shown, has done and has passed, oldest first. It is a fold over the drill journals:
// there is no second memory.
type Book []Run

// Folder is where a trainee's drill journals lie. Names that differ in letters outside A-Z share one: [ReadBook] tells
// whose a journal is by the name in it.
func Folder(home, trainee string) string {
	return filepath.Join(home, "drills", procedure.FolderName(strings.ToLower(trainee)))
}

// ReadBook reads a trainee's journals; case and blanks around a name do not matter. One that cannot be read whole counts as far as it goes.
func ReadBook(home, trainee string) (Book, error) {
	dir := Folder(home, trainee)
	es, err := os.ReadDir(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("read drill journals: %w", err)
	}
	var b Book
	for _, e := range es {
		if filepath.Ext(e.Name()) != ".jsonl" {
			continue
		}
		if r, ok := readRun(filepath.Join(dir, e.Name())); ok && sameName(r.Trainee, trainee) {
			b = append(b, r)
		}
	}
	slices.SortStableFunc(b, func(a, c Run) int { return a.Began.Compare(c.Began) })
	return b, nil
}

// sameName compares a name from a journal with one that was typed. A journal holds valid UTF-8 only: what a terminal of
// another encoding gave stands there as replacement characters, one a byte.
func sameName(a, b string) bool {
	valid := func(s string) string {
		return strings.Map(func(r rune) rune { return r }, strings.TrimSpace(s))
	}
	return strings.EqualFold(valid(a), valid(b))
}

// readRun reads one journal; false if it is none of a drill.
func readRun(path string) (Run, bool) {
	lines, _, err := journal.ReadFile(path)
	if err != nil {
		return Run{}, false
	}
	r := Run{Path: path}
	cut := false
	for _, l := range lines {
		e, err := procedure.EntryOf(l)
		if err != nil {
			break
		}
		r.Entries = append(r.Entries, e)
		switch ev := e.Event.(type) {
		case procedure.ShiftOpened:
			r.Drill, r.Seed, r.Trainee, r.Coach, r.Began = ev.Drill, ev.Seed, ev.Operator, Coach(ev.Coach), e.At.Wall
		case procedure.RunBegan:
			cut = false
		case procedure.DestinationSet:
			r.Sandbox = filepath.Dir(filepath.Dir(ev.Path))
		case procedure.Incident:
			cut = cut || ev.Kind == string(drill.PowerCut)
		case procedure.IncidentScored:
			if ev.Kind == drill.DrillKind {
				r.Outcome = ev.Result
			}
		}
	}
	r.CutOff = cut && r.Outcome == ""
	return r, r.Drill != ""
}

// Waiting is the newest drill that the power cut has left waiting; false for none.
func (b Book) Waiting() (Run, bool) {
	for _, r := range slices.Backward(b) {
		if r.CutOff {
			if st, err := os.Stat(r.Sandbox); err == nil && st.IsDir() {
				return r, true
			}
		}
	}
	return Run{}, false
}

// Standing is where a trainee stands with one drill.
type Standing struct {
	Shown, Done, Passed int
	// Last is the outcome of the last time it was done, empty for never.
	Last string
	When time.Time
	// BestCoach is the least coaching with which it was passed.
	BestCoach Coach
}

// Of is a trainee's standing with a drill.
func (b Book) Of(name string) Standing {
	var s Standing
	for _, r := range b {
		if r.Drill != name {
			continue
		}
		if r.Coach == Shown {
			if r.Outcome == string(Shown) { // watched to its end
				s.Shown++
			}
			continue
		}
		s.Done++
		s.Last, s.When = r.Outcome, r.Began
		if s.Last == "" {
			s.Last = drill.BrokenOff.String()
		}
		if r.Outcome == drill.Passed.String() {
			s.Passed++
			if rank(r.Coach) > rank(s.BestCoach) {
				s.BestCoach = r.Coach
			}
		}
	}
	return s
}

// rank orders coaching from most to least.
func rank(c Coach) int { return slices.Index([]Coach{Full, Brief, Silent}, c) }

// Next proposes what to do: a drill and how much coaching. First every drill is passed with full coaching in the
// first stage and brief coaching later, in order; then without coaching; then the long day, again and again.
func (b Book) Next() (drill.Drill, Coach) {
	ds := drill.Drills()
	for _, want := range []Coach{Full, Brief, Silent} {
		for _, d := range ds {
			if want == Full && d.Stage > 1 || want == Brief && d.Name == drill.LongDay {
				continue
			}
			if s := b.Of(d.Name); s.Passed == 0 || rank(s.BestCoach) < rank(want) {
				return d, want
			}
		}
	}
	return ds[len(ds)-1], Silent
}

// Line is the standing in words.
func (s Standing) Line() string {
	switch {
	case s.Done == 0 && s.Shown == 0:
		return "new"
	case s.Done == 0:
		return "shown"
	case s.Passed > 0:
		return fmt.Sprintf("passed (coach %s), done %s, last: %s", s.BestCoach, times(s.Done), s.Last)
	}
	return fmt.Sprintf("done %s, last: %s", times(s.Done), s.Last)
}

func times(n int) string {
	if n == 1 {
		return "once"
	}
	return fmt.Sprintf("%d times", n)
}

// Earlier gathers a trainee's own times from drills that were done to the end, except the journal named.
func (b Book) Earlier(except string) drill.Spans {
	var out drill.Spans
	for _, r := range b {
		d, ok := drill.Find(r.Drill)
		if r.Path == except || r.Coach == Shown || !ok || r.Outcome == "" || r.Outcome == drill.Quit.String() {
			continue
		}
		out.Add(drill.Score(d, drill.NewPlan(d, r.Seed), r.Entries).Spans)
	}
	return out
}
