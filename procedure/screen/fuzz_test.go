package screen

import (
	"strings"
	"testing"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"twobin/procedure"
)

// fuzzKey makes a key of two bytes: what it is, and how long before it (so that limits of typing ahead are met).
func fuzzKey(a, b byte) (msg tea.Msg, after time.Duration) {
	after = time.Duration(b%8) * 70 * time.Millisecond
	switch {
	case a < 32:
		return tea.KeyMsg{Type: tea.KeyType(a)}, after // what a terminal's control characters become
	case a < 127:
		return tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune{rune(a)}}, after
	case a < 160:
		return tea.KeyMsg{Type: tea.KeyType(-1 - int(a-127))}, after // arrows, function keys and the like
	case a < 180:
		return tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune{rune(a), 0x1b, 0x202e, rune(b), 0xfffd}}, after
	case a < 200:
		return tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune("A003\x1b[2J\u202e\r\n" + string(rune(b))), Paste: true}, after
	case a < 220:
		return tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune{rune(a)}, Alt: true}, after
	}
	return tea.WindowSizeMsg{Width: int(a), Height: int(b) / 4}, after
}

// FuzzKeys: no keys make the screen panic or let a control character through, a question gets an answer only under its own
// id and number, and an erase is never asked for without its own key.
func FuzzKeys(f *testing.F) {
	all := scenes()
	erase := 0
	for i, s := range all {
		if s.view.Prompt != nil && s.view.Prompt.Kind == procedure.PromptErase {
			erase = i
		}
	}
	f.Add(byte(erase), []byte("A\x020\x020\x023\x02\x05\x02"))
	f.Add(byte(0), []byte("\x1b\x00?\x01\x0f\x00x\x00\r\x00\xb0A\x90\x02"))
	f.Add(byte(3), []byte("\x0f\x05t\x00o\x00\r\x05\x01\x05b\x05\xf0\x50\xf0\x02"))
	f.Fuzz(func(t *testing.T, scene byte, keys []byte) {
		v := all[int(scene)%len(all)].view
		x := drive(t, v, 80, 24, false)
		confirmed := false
		for i := 0; i+1 < min(len(keys), 200); i += 2 {
			msg, after := fuzzKey(keys[i], keys[i+1])
			x.pass(after)
			if k, ok := msg.(tea.KeyMsg); ok && k.Type == tea.KeyCtrlE {
				confirmed = true
			}
			x.send(msg)
			if w, ok := msg.(tea.WindowSizeMsg); !ok || w.Height >= 24 {
				got := x.m.View()
				if strings.ContainsAny(got, "\x1b\x07\u202e\u009b") {
					t.Fatalf("a control character reaches the terminal: %q", got)
				}
			}
		}
		for _, i := range x.desk.intents() {
			a, ok := i.(procedure.Answer)
			if !ok {
				continue
			}
			if v.Prompt == nil || a.ID != v.Prompt.ID || a.Seq != v.Prompt.Seq {
				t.Errorf("answered %+v, asked was %+v", a, v.Prompt)
			}
			if v.Prompt != nil && v.Prompt.Kind == procedure.PromptErase && !confirmed {
				t.Errorf("an erase was asked for without its key: %+v", a)
			}
		}
	})
}
