package read

import (
	"strings"
	"time"

	"twobin/procedure"
	"twobin/procedure/journal"
	"twobin/training/drill"
)

// folder folds one journal after the other; it belongs to one goroutine.
type folder struct {
	raw   []byte
	names map[string]bool // every event that this version knows

	s     *Session
	line  *journal.Line
	d     data
	state map[string]*way // by label
	here  map[int]string  // lane -> label under way
	last  int             // index of the run that was received last, -1 for none

	skipped skipped
}

// skipped counts events that are not known.
type skipped struct {
	n, line int
	what    string
}

// way is where a roll is in its pass.
type way struct {
	run  int // index of the run under way, -1 for none
	pass int

	hands    [Steps]int64 // of steps not completed yet
	tape     bool
	scanned  bool
	right    bool // card's label was read right
	binned   bool
	seatedAt moment
	pulledAt moment
	lookedAt moment
}

// moment is a monotonic time within a run of the program; zero: never.
type moment struct {
	run int
	at  time.Duration
}

func newFolder() *folder {
	f := &folder{names: map[string]bool{}}
	for _, e := range procedure.Events() {
		f.names[e.Name()] = true
	}
	return f
}

// fold gives the session of a journal's lines; nil, and why, if it is none of a shift or drill.
func (f *folder) fold(path string, lines []journal.Line) (*Session, skipped, string) {
	f.s = &Session{Path: path, Lines: len(lines)}
	f.state, f.here, f.skipped = map[string]*way{}, map[int]string{}, skipped{}
	f.last = -1
	opened := false
	for i := range lines {
		f.line = &lines[i]
		err := decode(f.line, &f.d)
		if err != nil || !f.names[f.line.Event] {
			f.skip(err)
			continue
		}
		if f.line.Event == (procedure.ShiftOpened{}).Name() && !opened {
			opened = true
			f.open()
		}
		f.event()
	}
	if !opened {
		return nil, f.skipped, "is no journal of a shift or drill: it has no beginning"
	}
	return f.s, f.skipped, ""
}

func (f *folder) skip(err error) {
	if f.skipped.n == 0 {
		f.skipped.line, f.skipped.what = int(f.line.Seq), f.line.Event
		if err != nil {
			f.skipped.what += " in an unknown form"
		}
	}
	f.skipped.n++
}

func (f *folder) open() {
	d := &f.d
	f.s.Drill, f.s.Seed, f.s.Coach = d.Drill, d.Seed, d.Coach
	f.s.Operator, f.s.Production, f.s.Began = d.Operator, d.Production, f.line.Time
	f.s.Limits = Limits{d.Policy.StartMS, d.Policy.DeskMS, d.Policy.EraseMS}
}

func (f *folder) now() moment { return moment{f.line.Run, f.line.Mono} }

// since is the time from a, in milliseconds, less so much; -1 if it was not measured within one run of the program.
func (f *folder) since(a moment, less int64) int64 {
	if a.run != f.line.Run {
		return -1
	}
	return max(0, (f.line.Mono-a.at).Milliseconds()-less)
}

// who is the operator of the line, or who opened the journal.
func (f *folder) who() string {
	if f.line.Operator != "" {
		return f.line.Operator
	}
	return f.s.Operator
}

// roll is the way of a label.
func (f *folder) roll(label string) *way {
	w := f.state[label]
	if w == nil {
		w = &way{run: -1}
		f.state[label] = w
	}
	return w
}

// run is the run under way of a roll, begun if there is none. Whoever takes over gets one of their own.
func (f *folder) run(w *way) *Run {
	if w.run >= 0 {
		r := &f.s.Runs[w.run]
		if sameName(r.Trainee, f.who()) {
			r.Last = f.line.Seq
			return r
		}
		r.Shared = true
		return f.begin(w, true)
	}
	return f.begin(w, false)
}

func (f *folder) begin(w *way, shared bool) *Run {
	f.s.Runs = append(f.s.Runs, Run{
		Roll: strings.Clone(f.line.Roll), Pass: max(1, w.pass), Trainee: f.who(), Began: f.line.Time, First: f.line.Seq, Last: f.line.Seq,
		SeatToStart: -1, Desk: -1, LookToErase: -1, Shared: shared,
	})
	w.run = len(f.s.Runs) - 1
	return &f.s.Runs[w.run]
}

// mark notes something, with the run it belongs to if there is one.
func (f *folder) mark(k Kind, step procedure.Step, text string) {
	m := Mark{Kind: k, Step: step, Line: f.line.Seq, Text: text, Who: f.who()}
	label := f.line.Roll
	if label == "" {
		label = f.here[f.line.Lane]
	}
	if w := f.state[label]; label != "" && w != nil && w.run >= 0 {
		r := &f.s.Runs[w.run]
		r.Marks = append(r.Marks, m)
		return
	}
	f.s.Loose = append(f.s.Loose, m)
}

// answer adds an answer's time to the step that its prompt belongs to. Time at "next" (what now?) is no step's.
func (f *folder) answer(w *way) {
	group, _, _ := strings.Cut(f.d.Prompt, ".")
	if step, ok := procedure.StepByID(group); ok {
		w.hands[step] += f.d.TookMS
	}
}

// done completes a step.
func (f *folder) done(w *way, step procedure.Step) *Run {
	r := f.run(w)
	r.Hands[step] += w.hands[step]
	r.Done[step] = true
	w.hands[step] = 0
	return r
}

// broken drops what was begun of the steps named, and counts the one that was under way.
func (f *folder) broken(w *way, step procedure.Step) {
	if w.run >= 0 && step > procedure.StepNone && int(step) < Steps {
		r := &f.s.Runs[w.run]
		r.Last = f.line.Seq
		if r.Broken[step] < 255 {
			r.Broken[step]++
		}
	}
	w.hands = [Steps]int64{}
}

// leave ends a pass: the next pick begins another run.
func (f *folder) leave(w *way) {
	*w = way{run: -1, pass: w.pass}
	for lane, l := range f.here {
		if l == f.line.Roll {
			delete(f.here, lane)
		}
	}
}

// sameName compares names of people: case and blanks around do not matter.
func sameName(a, b string) bool {
	return a == b || strings.EqualFold(strings.TrimSpace(a), strings.TrimSpace(b))
}

// slip says whether a refusal means that something was tried out of its order. A wrong label or a late start is none:
// they are counted by themselves.
func slip(d *data, names map[string]bool) bool {
	switch {
	case d.Asked == (procedure.RollReceived{}).Name(), d.Asked == "receive":
		return false
	case d.Asked == (procedure.CopyBegan{}).Name() && strings.HasPrefix(d.Why, "too long"):
		return false
	case strings.HasPrefix(d.Asked, "setup."), strings.HasPrefix(d.Asked, "close."):
		return false
	case strings.HasPrefix(d.Asked, "answer "), names[d.Asked]:
		return true
	}
	switch d.Asked {
	case "pick", "put back", "note", "operator", "return", "pull":
		return true
	case "erase":
		return d.Due != procedure.StepErase.String()
	}
	return false
}

// isDrill: the result of the whole drill, not of one incident.
func (d *data) isDrill() bool { return d.Kind == drill.DrillKind }
