package procedure

import (
	"context"
	"maps"
	"slices"
	"time"

	"twobin/guard"
)

// snapshot is the state as shown: immutable, with the times from which clocks run.
type snapshot struct {
	view   View
	clocks []clockBase
}

// clockBase is a clock with its beginning on the monotonic clock; Less is machine time that does not count.
type clockBase struct {
	name  string
	from  time.Time
	less  time.Duration
	limit time.Duration
}

// View is the state now. It takes no lock that a drive could hold up. See [Desk].
func (r *Runner) View() View {
	s := r.shot.Load()
	v := s.view
	now := r.cfg.Now()
	for _, c := range s.clocks {
		d := now.Sub(c.from) - c.less
		v.Clocks = append(v.Clocks, Clock{Name: c.name, Since: d, Limit: c.limit, Over: d > c.limit})
	}
	v.Lock = lockNow(v.Lock, v.Clocks)
	if v.Copy != nil {
		c := *v.Copy
		if f := r.sample.Load(); f != nil {
			p := (*f)(now)
			c.Phase, c.Done, c.FilesDone, c.PerSecond, c.Left, c.LeftKnown = p.Phase, p.Done, p.FilesDone, p.PerSecond, p.Left, p.LeftKnown
			c.Dests = p.Dests
		}
		v.Copy = &c
	}
	return v
}

// lookLimit is the condition of the lock that the look is fresh.
const lookLimit = "L8"

// lockNow is the lock as the clock has it: a look that was fresh when it was taken grows old on the screen.
func lockNow(lock []guard.Condition, clocks []Clock) []guard.Condition {
	i := slices.IndexFunc(clocks, func(c Clock) bool { return c.Name == "look" && c.Over })
	k := slices.IndexFunc(lock, func(c guard.Condition) bool { return c.ID == lookLimit && c.Holds })
	if i < 0 || k < 0 {
		return lock
	}
	lock = slices.Clone(lock)
	lock[k].Holds, lock[k].Says, lock[k].Do = false, "the look is older than "+Clockface(clocks[i].Limit), "put back, then look again."
	return lock
}

// Wait blocks until something newer than version after is shown. See [Desk].
func (r *Runner) Wait(ctx context.Context, after uint64) (uint64, error) {
	for {
		r.mu.Lock()
		v, ch := r.version, r.changed
		r.mu.Unlock()
		if v > after {
			return v, nil
		}
		select {
		case <-ctx.Done():
			return v, ctx.Err()
		case <-ch:
		}
	}
}

// refresh works out the prompt and publishes a new snapshot. The state is locked.
func (r *Runner) refresh() {
	r.ensureSighted()
	r.closeWork()
	r.setPrompt()
	r.dropQuestions()
	r.shot.Store(r.picture())
	r.version++
	close(r.changed)
	r.changed = make(chan struct{})
}

// setPrompt replaces the prompt when another one is due; only then does the time of its answer begin anew.
func (r *Runner) setPrompt() {
	p := r.ask()
	if p != nil && r.prompt != nil && p.ID == r.prompt.ID && p.Question == r.prompt.Question && !r.renew {
		p.Seq = r.prompt.Seq
		r.prompt = p
		return
	}
	if p != nil {
		r.seq++
		p.Seq = r.seq
	}
	if p == nil || r.prompt == nil || p.ID != r.prompt.ID || r.renew {
		r.asked, r.quiet = r.cfg.Now(), 0
	}
	r.prompt, r.renew = p, false
}

// dropQuestions takes away what the camera department is asked when a critical step is due: the log sheet still has it.
func (r *Runner) dropQuestions() {
	if r.inCritical() != nil {
		r.notices = slices.DeleteFunc(r.notices, func(n Notice) bool { return n.camera })
	}
}

func (r *Runner) picture() *snapshot {
	s := r.shift
	v := View{
		Drill: r.cfg.Drill, Production: r.draft.production, Day: r.draft.day, Station: r.station(), Operator: r.operator(),
		Brief: r.cfg.Brief, Prompt: r.prompt, Notices: append([]Notice(nil), r.notices...), Working: r.working, Busy: r.job != nil,
		Bell: r.bell, BellSeq: r.bellSeq, Ended: r.ended, Closed: s.Closed, Away: !r.away.IsZero(),
	}
	if s.Opened != nil {
		v.Production, v.Day, v.Drill = s.Opened.Production, s.Opened.Day, s.Opened.Drill
	}
	v.Strip = s.Strip(r.lane)
	v.Step = r.stepView()
	for _, n := range s.Notes {
		if !n.Done {
			v.Notes = append(v.Notes, n)
		}
	}
	v.Board, v.Missing = s.boardLines(), s.missing()
	roll := s.InLane(r.lane)
	snap := &snapshot{}
	if roll != nil {
		r.rollView(&v, roll)
		snap.clocks = r.clocksOf(roll)
	}
	if s.Closed && !s.CodeRight {
		v.Code = r.code
		if !r.codeWritten {
			v.Shown = []string{"Closing code: " + r.code}
		}
	}
	v.Amiss = r.amiss()
	if v.Away {
		v.AwayText = []string{"You are at: " + v.Step.Title + ".", "Next is: " + v.Step.Next + "."}
	}
	v.Commands = r.commands(roll)
	if r.cfg.World != nil {
		v.World = r.cfg.World()
	}
	snap.view = v
	return snap
}

// rollView fills in what belongs to the roll under way.
func (r *Runner) rollView(v *View, roll *Roll) {
	switch {
	case roll.Step == StepSeat && roll.Seated == nil && roll.TapeMoved && v.Working == "":
		v.Working = "waiting for the card in the reader"
	case roll.Step == StepReseat && roll.Seated == nil && v.Prompt == nil && v.Working == "":
		v.Working = "waiting for the card in the reader"
	case roll.Step == StepPull && roll.Copy == CopyRunning:
		v.Working = "waiting for the proof; the card stays in the reader"
	}
	if roll.Step == StepCount && !roll.CountShown && roll.Scanned != nil {
		v.Shown = []string{plural(roll.Scanned.Files, "file"), SizeText(roll.Scanned.Bytes)}
	}
	if roll.Copy == CopyRunning && roll.Scanned != nil {
		v.Copy = &CopyView{Roll: roll.Label, Phase: "beginning", Files: roll.Scanned.Files, Bytes: roll.Scanned.Bytes}
	}
	if roll.Step == StepReseat || roll.Step == StepErase {
		if roll.Lock != nil {
			v.Lock = roll.Lock.Conditions
		}
		if v.Prompt != nil && v.Prompt.Kind == PromptErase {
			v.EraseText = r.eraseText(roll)
		}
	}
}

// clocksOf are the clocks that run for a roll: start limit, desk limit, age of the look.
func (r *Runner) clocksOf(roll *Roll) []clockBase {
	base := func(m Moment) time.Time { return r.stamped.Add(-(r.shift.Last.Mono - m.Mono)) }
	var cs []clockBase
	same := func(m Moment) bool { return m.Run == r.shift.Last.Run }
	if (roll.Step == StepStart || roll.Step == StepSeat) && roll.Seated != nil && same(roll.SeatedAt) {
		c := clockBase{name: "start", from: base(roll.SeatedAt), limit: r.shift.StartLimit()}
		if roll.Scanned != nil {
			c.less = ms(roll.Scanned.ScanMS)
			cs = append(cs, c)
		}
	}
	if roll.Place == PlaceDesk && same(roll.Since) {
		cs = append(cs, clockBase{name: "desk", from: base(roll.Since), limit: r.shift.DeskLimit()})
	}
	if roll.Step == StepErase && roll.Lock != nil && roll.Lock.Open && !roll.Lock.Void && same(roll.Lock.At) {
		cs = append(cs, clockBase{name: "look", from: base(roll.Lock.At), limit: r.shift.EraseLimit()})
	}
	return cs
}

// Strip is the desk as a strip, seen from one lane.
func (s *Shift) Strip(lane int) Strip {
	st := Strip{Red: append([]Label(nil), s.Red...), ReaderNote: "empty"}
	for _, l := range s.Order {
		switch r := s.Rolls[l]; {
		case r.Held != nil:
			st.Held = append(st.Held, l)
		case r.Place == PlaceDesk:
			st.Desk = append(st.Desk, l)
		case r.Place == PlaceGreenBin:
			st.Green = append(st.Green, l)
		}
	}
	roll := s.InLane(lane)
	if roll == nil {
		return st
	}
	switch roll.Place {
	case PlaceHand:
		st.Hand = roll.Label
	case PlaceDesk:
		st.ReaderNote = "card out"
	case PlaceReader:
		st.Reader = roll.Label
		st.ReaderNote = readerNote(roll)
	default:
	}
	return st
}

func (s *Shift) boardLines() []BoardLine {
	out := make([]BoardLine, 0, len(s.Order))
	for _, l := range s.Order {
		r := s.Rolls[l]
		b := BoardLine{Label: l, Place: r.Place, Since: r.Since.Wall, Next: r.Step.Spec().Title}
		if r.Held != nil {
			b.Held = r.Held.Reason
		}
		out = append(out, b)
	}
	return out
}

// missing is Missing in one list, by camera.
func (s *Shift) missing() []Label {
	m := s.Missing()
	var out []Label
	for _, c := range slices.Sorted(maps.Keys(m)) {
		out = append(out, m[c]...)
	}
	return out
}

func readerNote(r *Roll) string {
	switch {
	case r.Out:
		return "card out"
	case r.Copy == CopyRunning:
		return "copying"
	case r.Erasing:
		return "erasing"
	case r.Erased:
		return "erased"
	case r.Copy == CopyIsProven && !r.Binned:
		return "copied"
	}
	return "seated"
}

func (r *Runner) stepView() StepView {
	step := r.shift.Due(r.lane)
	if r.draft.arriving != nil || len(r.draft.gap) > 0 {
		step = StepReceive
	}
	sp := step.Spec()
	v := StepView{
		Step: step, ID: sp.ID, Number: step.Number(), Title: sp.Title, Hands: sp.Hands, Brief: sp.Brief, Why: sp.Why, Mark: "due",
	}
	if w, ok := map[string]Step{whichHeld: StepPick, "erase": StepReseat, "return": StepReturn}[r.draft.which]; ok && r.shift.InLane(r.lane) == nil {
		sp = w.Spec() // it is asked which roll the step is for
		v = StepView{Step: w, ID: sp.ID, Number: w.Number(), Title: sp.Title, Hands: []string{}, Brief: "First: which roll is it?", Why: sp.Why, Mark: "due"}
		step = w
	}
	if step != StepReceive && r.shift.InLane(r.lane) != nil {
		roll := r.shift.InLane(r.lane)
		v.Roll, v.Camera, v.Colour = roll.Label, roll.Label.Camera(), roll.Colour
		v.Critical = sp.Critical
		if v.Critical && step == StepReseat && roll.LookedBy != r.shift.Operator {
			v.Critical = false // the new operator's own look comes first
		}
		v.Mark = "under way"
		if step == StepPull && roll.Copy != CopyIsProven {
			v.Hands, v.Brief, v.Mark = []string{"Leave the card in the reader until its copies are proven."}, "Leave the card in the reader until its copies are proven.", "waiting"
		}
		if step == StepErase || step == StepReseat && roll.Seated != nil {
			v.Roll = "" // the label is going to be asked, and is read from the tape
		}
	}
	if a := r.draft.arriving; a != nil && a.label != "" {
		v.Roll, v.Camera, v.Colour = a.label, a.label.Camera(), r.shift.Colour(a.label.Camera())
	}
	if next := step + 1; next < stepEnd {
		v.Next = next.Spec().Title
	} else {
		v.Next = StepPick.Spec().Title + " the next roll"
	}
	switch {
	case !r.shift.Ready:
		v = StepView{Title: "Set-up", Brief: "The set-up, once a shift.", Mark: "due", Next: StepReceive.Spec().Title,
			Why: "What is agreed and checked before the first card comes does not have to be thought of when ten come at once."}
	case r.shift.Closing || r.shift.Closed:
		v = StepView{Title: "Close", Brief: "The close of the shift.", Mark: "due", Next: "the next shift",
			Why: "At the close everything must add up: rolls, tapes, lines in the book. What does not is found today, not by post next week."}
	}
	return v
}

// commands are the words that make sense now, besides the answer.
func (r *Runner) commands(roll *Roll) []string {
	if r.shift.Opened == nil || r.shift.Closed {
		return []string{"why", "quit"}
	}
	if roll != nil && roll.Step.Critical() {
		return []string{"put back", "hold REASON", "misfit TEXT", "why", "quit"}
	}
	return []string{"arrived LABEL", "hold REASON", "note TEXT", "away", "board", "misfit TEXT", "operator NAME", "to PATH", "why", "quit"}
}

// tick looks once in a while whether a limit has passed.
func (r *Runner) tick() {
	defer r.wg.Done()
	const every = 250 * time.Millisecond
	t := time.NewTicker(every)
	defer t.Stop()
	for {
		select {
		case <-r.ctx.Done():
			return
		case <-t.C:
			r.mu.Lock()
			was := r.job
			r.furtherWork()
			if r.limits() || r.job != was {
				r.refresh()
			}
			r.mu.Unlock()
		}
	}
}

// limits journals and tells, once, that a limit has passed. It says whether anything changed.
func (r *Runner) limits() bool {
	roll := r.shift.InLane(r.lane)
	if roll == nil || r.broken != nil || r.ended {
		return false
	}
	now := r.cfg.Now()
	changed := false
	for _, c := range r.clocksOf(roll) {
		if now.Sub(c.from)-c.less <= c.limit || r.overTold[c.name] == roll.Since {
			continue
		}
		r.overTold[c.name] = roll.Since
		changed = true
		if c.name == "look" {
			continue // the erase itself is refused then, with what to do
		}
		if r.record(roll.Label, TooLate{Step: c.name, LimitMS: c.limit.Milliseconds()}) != nil {
			return true
		}
		if c.name == "start" {
			r.notify(Notice{Grade: "stop", What: "Too long since the card was seated.", Safe: "nothing was copied.", Do: "card out, tape back on, red bin: put back."})
			continue
		}
		r.ring("fault")
		r.notify(Notice{Grade: "look", What: string(roll.Label) + " lies on the desk too long.", Safe: "its copies are proven.", Do: "look, mark, bin: finish it now."})
	}
	return changed
}

// Nudge shows the state again, because the drill's world changed.
func (r *Runner) Nudge() { r.locked(func() {}) }

// Record journals an event of a drill's world (an incident, its score). It is refused in a shift.
func (r *Runner) Record(roll Label, ev Event) error {
	switch ev.(type) {
	case Incident, IncidentScored:
	default:
		return &Refusal{Asked: ev.Name(), Why: "not an event of a drill's world"}
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	defer r.refresh()
	if r.cfg.Drill == "" {
		return &Refusal{Asked: ev.Name(), Why: "no drill is under way"}
	}
	return r.record(roll, ev)
}
