package screen

import (
	"reflect"
	"strings"
	"testing"
	"time"
	"unicode"

	"pgregory.net/rapid"

	"twobin/guard"
	"twobin/procedure"
)

// everywhere puts a text into every string of a view but those that name a key, a kind or a routine (prompt ids, option
// keys, grades, step ids), and the prompt's own question and options, which are the desk's words.
func everywhere(v procedure.View, text string, lists bool) procedure.View {
	var walk func(x reflect.Value)
	walk = func(x reflect.Value) {
		switch x.Kind() {
		case reflect.String:
			x.SetString(text)
		case reflect.Struct:
			for i := range x.NumField() {
				switch f := x.Type().Field(i); f.Name {
				case "ID", "Key", "Grade", "Prompt", "Bell", "Camera", "Wall", "Commands":
				default:
					if f.IsExported() { // no screen can read the others
						walk(x.Field(i))
					}
				}
			}
		case reflect.Pointer:
			if !x.IsNil() {
				n := reflect.New(x.Type().Elem())
				n.Elem().Set(x.Elem())
				x.Set(n)
				walk(n.Elem())
			}
		case reflect.Slice:
			n := reflect.MakeSlice(x.Type(), x.Len(), x.Len())
			reflect.Copy(n, x)
			if x.Len() == 0 && lists {
				n = reflect.MakeSlice(x.Type(), 1, 1)
			}
			x.Set(n)
			for i := range n.Len() {
				walk(n.Index(i))
			}
		default:
		}
	}
	walk(reflect.ValueOf(&v).Elem())
	return v
}

// panels are the ways to look at a view.
var panels = [][]string{nil, {"?"}, {"ctrl+b"}, {"ctrl+g"}, {"ctrl+o"}, {"ctrl+d"}, {"ctrl+a"}, {"ctrl+w"}}

// The screen that asks for a label does not show it, nor any other: not in the strip, not in messages, notes, causes,
// on the board, behind a command, or when called away.
func TestHideHidesEveryLabel(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		label := rapid.StringMatching(`[A-Z]{1,2}[0-9]{3,4}`).Draw(rt, "label")
		around := rapid.SampledFrom([]string{"%", "roll %.", "(%)", "x%y", "%/CLIPS", "_%_", "\"%\" is not it"}).Draw(rt, "around")
		all := scenes()
		s := all[rapid.IntRange(0, len(all)-1).Draw(rt, "scene")]
		keys := rapid.SampledFrom(panels).Draw(rt, "keys")
		v := everywhere(s.view, strings.ReplaceAll(around, "%", label), true)
		v.Ended, v.World = false, nil // the drill's outside is not the program: it may show what a card shows
		for _, ls := range [][]procedure.Label{v.Strip.Red, v.Strip.Held, v.Strip.Desk, v.Strip.Green} {
			for i := range ls {
				ls[i] = procedure.Label(label)
			}
		}
		v.Strip.Hand, v.Strip.Reader, v.Step.Roll = procedure.Label(label), procedure.Label(label), procedure.Label(label)
		for i := range v.Notes {
			v.Notes[i].Roll = procedure.Label(label)
		}
		p := procedure.Prompt{ID: "pick.card", Kind: procedure.PromptText, Question: "Label as written on the card?", Hide: true}
		if s.view.Prompt != nil && s.view.Prompt.Kind == procedure.PromptErase {
			p.Kind = procedure.PromptErase
		}
		v.Prompt = &p
		x := drive(t, v, 80, 24, false)
		x.press(keys...)
		if s.then != nil {
			x.desk.view.Away = true
			x.look()
		}
		if got := x.m.View(); strings.Contains(strings.ToUpper(got), label) {
			rt.Fatalf("%s %v shows %s:\n%s", s.name, keys, label, got)
		}
	})
}

// The figures that count asks for are not on the screen that asks, though the copy is.
func TestHideHidesFigures(t *testing.T) {
	t.Parallel()
	v := at(procedure.StepCount, askHidden("count.size", "Read from the book: what size?"))
	v.Copy = sampleCopy()
	got := drive(t, v, 120, 40, false).m.View()
	for _, figure := range []string{"214", "118.2", "51.3", "210.0", "118.0", "98.0", "1.20 TB", "96 of"} {
		if strings.Contains(got, figure) {
			t.Errorf("%s is shown:\n%s", figure, got)
		}
	}
	for _, kept := range []string{"43 %", "5:18 left", "6:42 left", "SHUTTLE"} {
		if !strings.Contains(got, kept) {
			t.Errorf("%s is missing:\n%s", kept, got)
		}
	}
}

// Text from outside never reaches the terminal as control: no escape, no C1 control, no mark that turns the direction
// of text, no line break of its own.
func TestOutsideTextIsPlain(t *testing.T) {
	t.Parallel()
	const evil = "x\x1b[2J\x1b]0;t\a\x9b31m\u202eabc\u2066\r\n\tz\u200b\xff"
	for _, hide := range []bool{false, true} {
		for _, s := range scenes() {
			for _, keys := range panels {
				v := everywhere(s.view, evil, true)
				v.Ended = false
				if s.view.Prompt != nil {
					p := *s.view.Prompt
					p.Question, p.Default, p.Hide = evil, evil, hide
					for i := range p.Options {
						p.Options = append([]procedure.Option(nil), p.Options...)
						p.Options[i].Text = evil
					}
					v.Prompt = &p
				}
				v.Lock = append(v.Lock, guard.Condition{ID: evil, Says: evil})
				x := drive(t, v, 80, 24, false)
				x.press(keys...)
				x.m.trouble = procedure.Plain(evil)
				checkPlain(t, s.name, x.m.View())
				x.desk.view.Away = true
				x.look()
				checkPlain(t, s.name+" away", x.m.View())
			}
		}
	}
}

func checkPlain(t *testing.T, name, got string) {
	t.Helper()
	for _, r := range got {
		if r != '\n' && (unicode.IsControl(r) || unicode.In(r, unicode.Cf, unicode.Zl, unicode.Zp) || r == unicode.ReplacementChar) {
			t.Errorf("%s: %U reaches the terminal", name, r)
			return
		}
	}
	if n := strings.Count(got, "\n"); n > 23 {
		t.Errorf("%s: %d lines", name, n+1)
	}
}

// What is pasted into a line is shown, so the same holds for it.
func TestPastedTextIsPlain(t *testing.T) {
	t.Parallel()
	for _, id := range []string{"setup.to", "receive.from"} {
		x := drive(t, at(procedure.StepReceive, ask(id, "Where?")), 80, 24, false)
		x.send(pasteOf("/mnt/\u202ea\x1b[2Jb\r\nc"))
		checkPlain(t, id, x.m.View())
		if got, want := x.m.entry.value(), "/mnt/a[2Jbc"; got != want {
			t.Errorf("%s: pasted %q, want %q", id, got, want)
		}
		x.pass(time.Second)
	}
}

// A label that only a message knows (one that was typed wrongly, or of a roll that is elsewhere) is hidden too.
func TestHideHidesUnknownLabels(t *testing.T) {
	t.Parallel()
	for _, v := range []procedure.View{at(procedure.StepPick, askHidden("pick.card", "Label?")), eraseView()} {
		v.Notices = []procedure.Notice{{Grade: "look", What: `"q0417" is not the label; Q0417 is elsewhere.`, Do: "look for AB123."}}
		got := drive(t, v, 80, 24, false).m.View()
		for _, l := range []string{"q0417", "Q0417", "AB123"} {
			if strings.Contains(got, l) {
				t.Errorf("%s is shown:\n%s", l, got)
			}
		}
		if !strings.Contains(got, "is not the label") {
			t.Errorf("the message is gone:\n%s", got)
		}
	}
}
