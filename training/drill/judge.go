package drill

import (
	"fmt"
	"time"

	"twobin/procedure"
)

// soon is how long a trouble with a drive or a cut may wait before it counts as late. Own choice.
const soon = 10 * time.Minute

// looksOnce is how often a closed lock may be asked again before that counts as trying one's luck. Own choice: once to
// see it, once to be sure.
const looksOnce = 2

type judgment func(t *trial, e procedure.Entry) Verdict

// judge runs one incident's judge over the entries.
func judge(i Planned, plan *Plan, es []procedure.Entry) Finding {
	f := Finding{Planned: i}
	t := &trial{i: i, plan: plan}
	on := false
	spec, ok := SpecOf(i.Kind)
	if !ok {
		return f
	}
	for _, e := range es {
		if ev, is := e.Event.(procedure.Incident); is && ev.ID == i.ID && ev.Kind == string(i.Kind) {
			if t.past {
				return f
			}
			on, t.began, f.At = true, e.At, e.At
			if i.Dest != "" && ev.Text != "" { // the drive that it really happened to
				t.i.Dest, f.Dest = ev.Text, ev.Text
			}
			continue
		}
		t.proves(e)
		if !on {
			t.passes(e)
			continue
		}
		t.asked = t.asked || t.asks(e)
		if v := spec.judge(t, e); v != NotMet {
			f.Verdict, f.Why, f.At = v, t.why, e.At
			return f
		}
	}
	if on {
		f.Verdict, f.Why = Missed, spec.Missed
		if t.why != "" {
			f.Why = t.why
		}
	}
	return f
}

func judgeCallStart(t *trial, e procedure.Entry) Verdict {
	if act(e) == ActAnswer {
		t.answered = true
	}
	if !t.mine(e) {
		return NotMet
	}
	switch ev := e.Event.(type) {
	case procedure.TooLate:
		t.late = t.late || ev.Step == "start"
	case procedure.Refused:
		t.late = t.late || ev.Asked == (procedure.CopyBegan{}).Name()
	case procedure.PutBack, procedure.RollHeld:
		t.late = t.late || t.answered
		return t.left("put back")
	case procedure.CopyBegan:
		if t.answered {
			return t.is(Wrong, "answered, then went on and started")
		}
		return t.left("started without answering")
	}
	return NotMet
}

func judgeCallDesk(t *trial, e procedure.Entry) Verdict {
	if act(e) == ActAnswer {
		return t.is(Wrong, "answered while %s lay on the desk", t.i.Roll)
	}
	if _, away := e.Event.(procedure.AwayBegan); away {
		return t.is(Wrong, "went away while %s lay on the desk", t.i.Roll)
	}
	if !t.mine(e) {
		return NotMet
	}
	switch ev := e.Event.(type) {
	case procedure.TooLate:
		t.late = t.late || ev.Step == "desk"
	case procedure.RollHeld:
		return t.left("the roll went on hold")
	case procedure.RollBinned:
		return t.left("finished the card first")
	}
	return NotMet
}

func judgeCallErase(t *trial, e procedure.Entry) Verdict {
	if act(e) == ActAnswer {
		t.answered = true
	}
	if !t.mine(e) {
		return NotMet
	}
	switch e.Event.(type) {
	case procedure.EraseBegan:
		return t.is(Wrong, "erased in the middle of a distraction")
	case procedure.PutBack, procedure.RollHeld:
		t.late = t.late || t.answered
		return t.left("put back")
	}
	return NotMet
}

func judgeWanted(t *trial, e procedure.Entry) Verdict {
	if act(e) == ActGive {
		return t.is(Wrong, "handed over a card that is not green")
	}
	if !t.mine(e) {
		return NotMet
	}
	switch ev := e.Event.(type) {
	case procedure.Refused:
		if ev.Asked == (procedure.RollTaken{}).Name() || ev.Asked == (procedure.RollReturned{}).Name() || ev.Asked == "return" {
			return t.is(Wrong, "tried to return a card that is not green")
		}
	case procedure.TooLate:
		t.late = t.late || ev.Step == "desk"
	case procedure.RollBinned, procedure.RollHeld:
		return t.left("kept the card until it was done")
	}
	return NotMet
}

func judgeLabel(t *trial, e procedure.Entry) Verdict {
	if !t.mine(e) && act(e) == "" {
		return NotMet
	}
	switch ev := e.Event.(type) {
	case procedure.RollHeld:
		return t.is(Right, "on hold until somebody who knows has said which it is")
	case procedure.LabelRead:
		if t.asked {
			return t.is(Right, "asked before going on")
		}
		want := string(t.i.Other)
		if ev.Where == "tape" {
			want = string(t.i.Roll)
		}
		if ev.Read != want {
			return t.is(Wrong, "%s reads %s; what was typed is %s", ev.Where, want, ev.Read)
		}
	case procedure.CopyBegan:
		return t.is(Wrong, "copied under a label that nobody had settled")
	}
	return NotMet
}

// judgeLacks: the card is stopped, somebody is asked, and what was lacking is logged, before its copy begins.
func judgeLacks(t *trial, e procedure.Entry) Verdict {
	if t.asked && t.fixed {
		return t.left("asked, and logged")
	}
	if !t.mine(e) {
		return NotMet
	}
	switch ev := e.Event.(type) {
	case procedure.RollReceived:
		t.fixed = ev.Lacks != ""
		if t.asked && !t.fixed {
			return t.is(Right, "asked, and it was put right")
		}
		t.late = !t.fixed
	case procedure.NoteMade:
		t.fixed = t.fixed || hasWord(ev.Text, lacking()...)
	case procedure.RollHeld:
		return t.left("on hold until somebody is asked")
	case procedure.CopyBegan:
		switch {
		case t.fixed:
			return t.is(Wrong, "logged, but nobody was asked whose card it is")
		case t.asked:
			return t.is(Late, "asked when it was in the bin, and not logged")
		}
		return t.is(Wrong, "taken in and copied as if nothing was lacking")
	}
	if t.asked && t.fixed {
		return t.left("asked, and logged")
	}
	return NotMet
}

func judgeTogether(t *trial, e procedure.Entry) Verdict {
	const both = 2
	switch ev := e.Event.(type) {
	case procedure.RollReceived:
		switch e.Roll {
		case t.i.Other:
			t.first, t.count = true, t.count+1
		case t.i.Roll:
			if !t.first {
				return t.is(Wrong, "%s went into the bin before %s, which was shot first", t.i.Roll, t.i.Other)
			}
			t.count++
		}
		d, _ := e.At.Since(t.began)
		t.late = t.late || t.count == both && d > 3*time.Minute
	case procedure.RollPicked:
		if t.count < both {
			return t.is(Wrong, "a card was left outside the bin")
		}
	case procedure.LabelRead:
		if e.Roll == t.i.Other && ev.Where == "card" {
			if ev.Read == string(t.i.Roll) {
				return t.is(Wrong, "took %s although %s came first", t.i.Roll, t.i.Other)
			}
			return t.left("both into the bin, then first in, first out")
		}
	}
	return NotMet
}

func judgeSkip(t *trial, e procedure.Entry) Verdict {
	has := func(text string) bool { return hasWord(department.ReplaceAllString(text, " "), t.i.Keys...) }
	switch ev := e.Event.(type) {
	case procedure.GapAsked:
		if t.asked && has(ev.Answer) {
			return t.left("asked for %s and logged the answer", t.i.Other)
		}
		t.late = true
		if !t.asked {
			t.why = fmt.Sprintf("logged %q before anybody was asked", procedure.Plain(ev.Answer))
			return NotMet
		}
		t.why = fmt.Sprintf("logged %q; that is not what the camera department says", procedure.Plain(ev.Answer))
	case procedure.NoteMade:
		if t.late && t.asked && (has(ev.Text) || hasWord(ev.Text, string(t.i.Other))) {
			return t.left("asked for %s and logged the answer", t.i.Other)
		}
	case procedure.ShiftClosed:
		if t.late {
			return t.is(Wrong, "%s", t.why)
		}
	}
	return NotMet
}

func judgeReused(t *trial, e procedure.Entry) Verdict {
	switch ev := e.Event.(type) {
	case procedure.RollReceived:
		if _, planned := t.plan.Roll(e.Roll); !planned {
			return t.is(Wrong, "took it in as %s; nobody had said so", e.Roll)
		}
		if e.Roll == t.i.Roll {
			if !t.asked {
				return t.is(Wrong, "gave it a label of your own instead of asking")
			}
			return t.is(Right, "refused, asked, took it in as %s", e.Roll)
		}
	case procedure.Refused:
		t.back = t.back || ev.Asked == (procedure.RollReceived{}).Name()
	}
	return NotMet
}
