package plain

import (
	"bufio"
	"errors"
	"fmt"
	"slices"
	"strings"

	"twobin/procedure"
)

// printer prints what is new in a view, and nothing twice.
type printer struct {
	w       *bufio.Writer
	bell    bool
	drill   bool
	seq     int
	step    string
	notices []procedure.Notice
	working string
	lock    string
	shown   string
	amiss   string
	away    bool
	bellSeq int
	reader  string
	world   []string
	reason  string
	again   bool // something was said since: the prompt is printed once more
	done    int64
	phase   string
}

// line prints one line; in a drill it says so.
func (p *printer) line(s string) {
	if p.drill {
		s = "DRILL " + s
	}
	// The writer keeps its first error and gives it when flushed.
	_, _ = p.w.WriteString(procedure.Plain(strings.ReplaceAll(s, "\n", " ")) + "\n")
}

func (p *printer) show(v procedure.View) {
	p.drill = v.Drill != ""
	p.showNotices(v)
	p.showWorld(v)
	p.showStep(v)
	p.showLock(v)
	p.showCopy(v)
	if v.BellSeq != p.bellSeq {
		p.bellSeq = v.BellSeq
		p.line(map[bool]string{true: "\a", false: ""}[p.bell] + "bell: " + v.Bell)
	}
	if v.Away != p.away {
		p.away = v.Away
		if v.Away {
			p.line("called away. " + strings.Join(v.AwayText, " ") + " Say back when you are back.")
		}
	}
	if n := v.Strip.ReaderNote; n != p.reader {
		p.reader = n
		p.line("reader: " + n)
	}
	if v.Working != p.working {
		p.working = v.Working
		if v.Working != "" {
			p.line("waiting: " + v.Working)
		}
	}
	if s := strings.Join(v.Shown, ", "); s != p.shown {
		p.shown = s
		if s != "" {
			p.line("for the book: " + s)
		}
	}
	if s := strings.Join(v.Amiss, "; "); s != p.amiss {
		p.amiss = s
		for _, a := range v.Amiss {
			p.line("open: " + a)
		}
	}
	if v.Prompt != nil && !v.Away && (v.Prompt.Seq != p.seq || p.again) {
		p.seq = v.Prompt.Seq
		p.prompt(v)
	}
	p.again = p.again && v.Away
}

// showNotices prints those that were not there at the last view.
func (p *printer) showNotices(v procedure.View) {
	old := p.notices
	for _, n := range v.Notices {
		if i := index(old, n); i >= 0 {
			old = append(append([]procedure.Notice(nil), old[:i]...), old[i+1:]...)
			continue
		}
		p.again = true
		p.line(n.Grade + ": " + n.What)
		if n.Safe != "" {
			p.line("  safe: " + n.Safe)
		}
		if n.Do != "" {
			p.line("  now: " + n.Do)
		}
	}
	p.notices = v.Notices
}

// showWorld prints what is new of a drill's outside.
func (p *printer) showWorld(v procedure.View) {
	for _, l := range v.World {
		if !slices.Contains(p.world, l) {
			p.line("| " + procedure.Plain(l))
			p.again = true
		}
	}
	p.world = v.World
	if v.Reason != "" && v.Reason != p.reason {
		p.line("| Why: " + procedure.Plain(v.Reason))
		p.again = true
	}
	p.reason = v.Reason
}

func index(ns []procedure.Notice, n procedure.Notice) int {
	for i := range ns {
		if ns[i] == n {
			return i
		}
	}
	return -1
}

// showStep prints the step when another one, or another roll, is due. The label is left out where it is asked for.
func (p *printer) showStep(v procedure.View) {
	s := v.Step
	key := fmt.Sprint(s.ID, s.Title, s.Roll, v.Prompt != nil && v.Prompt.Hide)
	if key == p.step {
		return
	}
	p.step = key
	head := s.Title
	if s.Number > 0 {
		head = fmt.Sprintf("step %d %s", s.Number, s.Title)
	}
	if s.Critical {
		head += ", critical: nothing else now"
	}
	if s.Roll != "" && (v.Prompt == nil || !v.Prompt.Hide) {
		head += fmt.Sprintf(" (%s, %s tape)", s.Roll, procedure.Plain(s.Colour))
	}
	if v.Brief || len(s.Hands) == 0 {
		p.line("-- " + head + ": " + s.Brief)
		return
	}
	p.line("-- " + head)
	for _, h := range s.Hands {
		p.line("   " + h)
	}
}

func (p *printer) showLock(v procedure.View) {
	var b strings.Builder
	for _, c := range v.Lock {
		word := "holds "
		if !c.Holds {
			word = "closed"
		}
		fmt.Fprintf(&b, "%s %s %s\n", c.ID, word, c.Says)
	}
	if b.String() == p.lock {
		return
	}
	p.lock = b.String()
	for _, l := range strings.Split(strings.TrimSuffix(p.lock, "\n"), "\n") {
		if l != "" {
			p.line("lock: " + procedure.Plain(l))
		}
	}
}

// showCopy prints progress when the phase changes or a good part more is done: lines that scroll are read slowly.
func (p *printer) showCopy(v procedure.View) {
	c := v.Copy
	if c == nil {
		p.phase, p.done = "", 0
		return
	}
	step := max(c.Bytes/10, 1)
	if c.Phase == p.phase && c.Done-p.done < step {
		return
	}
	p.phase, p.done = c.Phase, c.Done
	t := fmt.Sprintf("copy: %s, %s of %s, %d of %d files", c.Phase, procedure.SizeText(c.Done), procedure.SizeText(c.Bytes), c.FilesDone, c.Files)
	if c.PerSecond > 0 {
		t += ", " + procedure.SizeText(c.PerSecond) + " a second"
	}
	if c.LeftKnown {
		t += ", " + procedure.Clockface(c.Left) + " left"
	}
	p.line(t)
}

func (p *printer) prompt(v procedure.View) {
	q := v.Prompt
	for _, l := range v.EraseText {
		p.line("   " + l)
	}
	t := "[" + q.ID + "] " + q.Question
	if q.Default != "" {
		t += " (empty line: " + procedure.Plain(q.Default) + ")"
	}
	if q.Kind == procedure.PromptErase {
		t += " Answer: erase LABEL. To leave: put back."
	}
	var o []string
	for _, x := range q.Options {
		o = append(o, x.Key+" = "+x.Text)
	}
	if len(o) > 0 {
		t += " " + strings.Join(o, ", ")
	}
	p.line(t)
}

// told says whether the view has a notice that was not printed yet: it then explains the no.
func (p *printer) told(v procedure.View) bool {
	p.again = true
	for _, n := range v.Notices {
		if index(p.notices, n) < 0 {
			return true
		}
	}
	return false
}

// refused says no where no notice does.
func (p *printer) refused(err error) {
	p.again = true
	var r *procedure.Refusal
	if errors.As(err, &r) {
		p.line("refused: " + procedure.Plain(r.Why))
		return
	}
	p.line("failed: " + procedure.Plain(err.Error()))
}

func (p *printer) help() {
	for _, c := range procedure.Commands() {
		w := c.Word
		if c.Args != "" {
			w += " " + c.Args
		}
		p.line(fmt.Sprintf("   %-20s %s", w, c.Text))
	}
}
