package screen

import (
	"errors"
	"strings"
	"testing"
	"time"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/google/go-cmp/cmp"

	"twobin/procedure"
)

func pasteOf(s string) tea.KeyMsg {
	return tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune(s), Paste: true}
}

// want compares what the desk was sent so far, and forgets it.
func (x *hand) want(is ...procedure.Intent) {
	x.t.Helper()
	if diff := cmp.Diff(is, x.desk.intents()); diff != "" {
		x.t.Errorf("sent (-want +got):\n%s", diff)
	}
	x.desk.mu.Lock()
	x.desk.got = nil
	x.desk.mu.Unlock()
}

func startView() procedure.View {
	return at(procedure.StepStart, pick("start.go", "Start the copy now.", procedure.Option{Key: "s", Text: "start"}))
}

func choiceView() procedure.View {
	return at(procedure.StepMark, pick("mark.green", "Green tape on.", procedure.Option{Key: "g", Text: "green tape is on"}, procedure.Option{Key: "n", Text: "not yet"}))
}

func TestKeysSend(t *testing.T) {
	t.Parallel()
	text := at(procedure.StepReceive, ask("receive.from", "Who hands it over?"))
	log := at(procedure.StepLog, ask("log.notes", "Notes?"))
	def := at(procedure.StepReceive, &procedure.Prompt{ID: "receive.from", Kind: procedure.PromptText, Question: "Who?", Default: "Robin", Seq: 3})
	tests := []struct {
		name string
		view procedure.View
		keys []string
		want []procedure.Intent
	}{
		{"an option is its key alone", choiceView(), []string{"g"}, []procedure.Intent{procedure.Answer{ID: "mark.green", Seq: 7, Text: "g"}}},
		{"with caps lock on", choiceView(), []string{"G"}, []procedure.Intent{procedure.Answer{ID: "mark.green", Seq: 7, Text: "g"}}},
		{"enter is no answer of a choice", choiceView(), []string{"enter", "x", "1"}, nil},
		{"a line", text, []string{"R", "o", "enter"}, []procedure.Intent{procedure.Answer{ID: "receive.from", Seq: 7, Text: "Ro"}}},
		{"a line in a huh field", log, []string{"a", "b", "backspace", "enter"}, []procedure.Intent{procedure.Answer{ID: "log.notes", Seq: 7, Text: "a"}}},
		{"an empty line in a huh field", log, []string{"enter"}, []procedure.Intent{procedure.Answer{ID: "log.notes", Seq: 7}}},
		{"an empty line takes the default, in the desk", def, []string{"enter"}, []procedure.Intent{procedure.Answer{ID: "receive.from", Seq: 3}}},
		{"? in a line that has begun is text", text, []string{"w", "?", "enter"}, []procedure.Intent{procedure.Answer{ID: "receive.from", Seq: 7, Text: "w?"}}},
		{"called away", text, []string{"ctrl+a"}, []procedure.Intent{procedure.DoAway{}}},
		{"on hold", text, []string{"ctrl+o", "torn tape", "enter"}, []procedure.Intent{procedure.DoHold{Reason: "torn tape"}}},
		{"on hold needs a reason", text, []string{"ctrl+o", " ", "enter"}, nil},
		{"never mind", text, []string{"ctrl+o", "t", "esc"}, nil},
		{"note", text, []string{"ctrl+n", "B new plate", "enter"}, []procedure.Intent{procedure.DoNote{Text: "B new plate"}}},
		{"arrived", text, []string{"ctrl+r", "b004", "enter"}, []procedure.Intent{procedure.DoArrived{Label: "b004"}}},
		{"does not fit", choiceView(), []string{"ctrl+f", "no green tape", "enter"}, []procedure.Intent{procedure.DoMisfit{Text: "no green tape"}}},
		{"operator", text, []string{"ctrl+t", "Sam", "enter"}, []procedure.Intent{procedure.DoOperator{Name: "Sam"}}},
		{"destination", text, []string{"ctrl+d", "/mnt/x", "enter"}, []procedure.Intent{procedure.DoDestination{Path: "/mnt/x"}}},
		{"destination out of use", text, []string{"ctrl+d", "drop RAID", "enter"}, []procedure.Intent{procedure.DoDrop{Name: "RAID"}}},
		{"camera", text, []string{"ctrl+k", "C yellow", "enter"}, []procedure.Intent{procedure.DoCamera{Text: "C yellow"}}},
		{"quit", text, []string{"ctrl+q"}, []procedure.Intent{procedure.DoQuit{}}},
		{"ctrl+c", text, []string{"ctrl+c"}, []procedure.Intent{procedure.DoQuit{}}},
		{"quit in a critical step puts back first", startView(), []string{"ctrl+c"}, []procedure.Intent{procedure.DoPutBack{Reason: "quit"}, procedure.DoQuit{}}},
		{"put back", startView(), []string{"esc"}, []procedure.Intent{procedure.DoPutBack{}}},
		{"called away in a critical step", startView(), []string{"ctrl+a"}, []procedure.Intent{procedure.DoAway{}}},
		{"no other command in a critical step", startView(), []string{"ctrl+o", "ctrl+n", "ctrl+r", "ctrl+b", "ctrl+f", "ctrl+t", "ctrl+d", "ctrl+k", "ctrl+g"}, nil},
		{"on hold at a closed lock", at(procedure.StepReseat, pick("reseat.look", "The lock is closed.", procedure.Option{Key: "l", Text: "look again"})),
			[]string{"ctrl+o", "one more take", "enter"}, []procedure.Intent{procedure.DoHold{Reason: "one more take"}}},
		{"critical: its key", startView(), []string{"s"}, []procedure.Intent{procedure.Answer{ID: "start.go", Seq: 7, Text: "s"}}},
		{"critical: a burst is no decision", startView(), []string{"ss", "xs"}, nil},
		{"esc outside a critical step is nothing", text, []string{"esc"}, nil},
		{"esc in a hidden prompt sends nothing", at(procedure.StepPick, askHidden("pick.card", "Label?")), []string{"enter", "esc"}, nil},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			x := drive(t, tt.view, 80, 24, false)
			x.press(tt.keys...)
			x.want(tt.want...)
		})
	}
}

// The erase: typed, then ctrl+e. Not Enter, not pasted, not typed ahead, never out of the clipboard.
func TestEraseKeys(t *testing.T) {
	t.Parallel()
	want := procedure.Answer{ID: "erase.label", Seq: 7, Text: "A003"}
	tests := []struct {
		name string
		keys []tea.Msg
		want []procedure.Intent
	}{
		{"typed and confirmed", []tea.Msg{keyOf("A"), keyOf("0"), keyOf("0"), keyOf("3"), keyOf("ctrl+e")}, []procedure.Intent{want}},
		{"enter confirms nothing", []tea.Msg{keyOf("A"), keyOf("0"), keyOf("enter"), keyOf("enter")}, nil},
		{"nothing typed", []tea.Msg{keyOf("ctrl+e")}, nil},
		{"pasted", []tea.Msg{pasteOf("A003"), keyOf("ctrl+e")}, nil},
		{"clipboard key", []tea.Msg{keyOf("ctrl+v"), keyOf("ctrl+e")}, nil},
		{"no history", []tea.Msg{keyOf("up"), keyOf("down"), keyOf("ctrl+e")}, nil},
		{"put back", []tea.Msg{keyOf("A"), keyOf("esc")}, []procedure.Intent{procedure.DoPutBack{}}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			x := drive(t, eraseView(), 80, 24, false)
			for _, k := range tt.keys {
				x.pass(50 * time.Millisecond)
				x.send(k)
			}
			x.want(tt.want...)
		})
	}
}

// A critical view takes keys only after it was drawn and the keys had been quiet for 300 ms.
func TestTypeAheadDoesNotReachCritical(t *testing.T) {
	t.Parallel()
	for _, v := range []procedure.View{startView(), eraseView()} {
		x := drive(t, choiceView(), 80, 24, false)
		x.desk.view = v
		x.look()
		for range 20 { // hammering for 2 s
			x.pass(100 * time.Millisecond)
			x.send(keyOf("s"))
			x.send(keyOf("ctrl+e"))
			x.send(keyOf("esc"))
		}
		x.want()
		if x.m.entry.value() != "" {
			t.Errorf("typed ahead into the erase: %q", x.m.entry.value())
		}
		x.pass(301 * time.Millisecond)
		x.send(keyOf("esc"))
		x.want(procedure.DoPutBack{})
	}
}

// What follows an answer in the same burst never reaches the next prompt, whichever kind it is.
func TestTypeAheadDoesNotAnswerTheNextPrompt(t *testing.T) {
	t.Parallel()
	first := choiceView()
	second := at(procedure.StepReceive, &procedure.Prompt{ID: "receive.from", Kind: procedure.PromptText, Question: "Who?", Default: "Robin", Seq: 8})
	x := drive(t, first, 80, 24, false)
	x.desk.do = func(d *fakeDesk, i procedure.Intent) error { d.view = second; return nil }
	x.send(keyOf("gng"))
	x.send(keyOf("enter"))
	x.send(keyOf("xy"))
	x.send(keyOf("enter"))
	x.want(procedure.Answer{ID: "mark.green", Seq: 7, Text: "g"})
	if got := x.m.entry.value(); got != "" {
		t.Errorf("the new line holds %q", got)
	}
	x.pass(time.Second)
	x.send(keyOf("enter"))
	x.want(procedure.Answer{ID: "receive.from", Seq: 8})
}

// While the desk works on an intent, no other is sent; the next prompt takes keys only when it is there.
func TestOneIntentAtATime(t *testing.T) {
	t.Parallel()
	x := drive(t, choiceView(), 80, 24, false)
	_, cmd := x.m.Update(keyOf("g"))
	if cmd == nil {
		t.Fatal("no command for the answer")
	}
	x.pass(time.Second)
	x.press("g", "n", "ctrl+a", "ctrl+o")
	x.want() // cmd has not run: nothing was sent, and nothing queued
	x.run(cmd)
	x.want(procedure.Answer{ID: "mark.green", Seq: 7, Text: "g"})
	x.pass(time.Second)
	x.press("n")
	x.want(procedure.Answer{ID: "mark.green", Seq: 7, Text: "n"})
}

// Quitting while something is on its way waits for it, then quits.
func TestQuitWhileBusy(t *testing.T) {
	t.Parallel()
	x := drive(t, choiceView(), 80, 24, false)
	_, cmd := x.m.Update(keyOf("g"))
	x.press("ctrl+q")
	x.want()
	x.run(cmd)
	x.want(procedure.Answer{ID: "mark.green", Seq: 7, Text: "g"}, procedure.DoQuit{})
	if !x.quit {
		t.Error("still there")
	}
}

func TestRefusals(t *testing.T) {
	t.Parallel()
	t.Run("a put back that is refused keeps the screen", func(t *testing.T) {
		t.Parallel()
		x := drive(t, startView(), 80, 24, false)
		x.desk.do = func(_ *fakeDesk, i procedure.Intent) error { return &procedure.Refusal{Why: "the erase has begun"} }
		x.press("ctrl+c")
		x.want(procedure.DoPutBack{Reason: "quit"})
		if x.quit {
			t.Error("quit all the same")
		}
	})
	t.Run("a wrong label is typed anew, a path is corrected", func(t *testing.T) {
		t.Parallel()
		for id, want := range map[string]string{"pick.card": "", "setup.to": "/mnt/x"} {
			p := ask(id, "?")
			p.Hide = id == "pick.card"
			x := drive(t, at(procedure.StepPick, p), 80, 24, false)
			x.desk.do = func(_ *fakeDesk, i procedure.Intent) error { return &procedure.Refusal{Why: "no"} }
			x.press("/mnt/x", "enter")
			if got := x.m.entry.value(); got != want {
				t.Errorf("%s: the line holds %q after a refusal, want %q", id, got, want)
			}
		}
	})
	t.Run("any other error is told", func(t *testing.T) {
		t.Parallel()
		x := drive(t, choiceView(), 80, 24, false)
		x.desk.do = func(_ *fakeDesk, i procedure.Intent) error { return errors.New("the journal\x1b cannot be written") }
		x.press("g")
		if got := x.m.View(); !strings.Contains(got, "the journal· cannot be written") {
			t.Errorf("not told:\n%s", got)
		}
	})
}

// Called away: the screen is frozen, the first key asks, only b comes back, and then the screen is what it was, with
// what was half typed.
func TestAwayAndBack(t *testing.T) {
	t.Parallel()
	v := at(procedure.StepReceive, ask("receive.from", "Who hands it over?"))
	x := drive(t, v, 80, 24, false)
	x.desk.do = func(d *fakeDesk, i procedure.Intent) error {
		switch i.(type) {
		case procedure.DoAway:
			d.view.Away, d.view.AwayText = true, []string{"You are at: Receive.", "Next is: Pick."}
		case procedure.DoBack:
			d.view.Away = false
		}
		return nil
	}
	x.typed("Rob")
	before := x.m.View()
	x.press("ctrl+a")
	x.desk.view.Notices = []procedure.Notice{{Grade: "info", What: "Something new."}}
	x.look()
	frozen := x.m.View()
	for _, want := range []string{"You are at: Receive.", "Next is: Pick."} {
		if !strings.Contains(frozen, want) {
			t.Errorf("%q is missing:\n%s", want, frozen)
		}
	}
	if strings.Contains(frozen, "Something new") || strings.Contains(frozen, "Back?") {
		t.Errorf("the frozen screen shows something new:\n%s", frozen)
	}
	x.desk.view.Notices = nil
	x.look()
	x.pass(time.Second)
	x.press("b")
	if !strings.Contains(x.m.View(), "Back?") {
		t.Errorf("the first key does not ask:\n%s", x.m.View())
	}
	x.press("x", "enter")
	x.want(procedure.DoAway{})
	x.press("b")
	x.want(procedure.DoBack{})
	if diff := cmp.Diff(before, x.m.View()); diff != "" {
		t.Errorf("not the screen that was left (-left +back):\n%s", diff)
	}
}
