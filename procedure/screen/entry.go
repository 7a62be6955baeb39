package screen

import (
	"slices"
	"strings"

	"github.com/charmbracelet/bubbles/cursor"
	"github.com/charmbracelet/bubbles/key"
	"github.com/charmbracelet/bubbles/textinput"
	tea "github.com/charmbracelet/bubbletea"
	"github.com/charmbracelet/huh"

	"twobin/procedure"
)

// Lengths of an entry, in characters. A path is the longest thing that is typed; a label has six at most.
const (
	maxEntry = 1000
	maxLabel = 12
)

// entry is one line that is being typed. Set-up and log use a huh field, everything else a plain line. A huh field is
// used by itself, not in a form: a form completes through messages that could reach the next prompt's form.
// The zero value takes no text.
type entry struct {
	line  textinput.Model
	field *huh.Input
	on    bool
	erase bool
}

// newEntry makes the line for a prompt: empty, without history, suggestions or clipboard key.
func newEntry(p *procedure.Prompt, st styles, width int) entry {
	if p == nil || p.Kind == procedure.PromptChoice {
		return entry{}
	}
	if p.Kind == procedure.PromptErase {
		e := newLine(st, width, maxLabel)
		e.erase = true
		return e
	}
	group, _, _ := strings.Cut(p.ID, ".")
	if group != "setup" && group != "log" {
		return newLine(st, width, maxEntry)
	}
	f := huh.NewInput().Title(procedure.Plain(question(p))).CharLimit(maxEntry)
	f.WithTheme(st.field)
	f.WithKeyMap(huh.NewDefaultKeyMap())
	f.WithWidth(width)
	f.Focus()
	return entry{field: f, on: true}
}

func newLine(st styles, width, limit int) entry {
	in := textinput.New()
	in.Prompt = "> "
	in.CharLimit = limit
	in.Width = max(8, min(limit, width-len(in.Prompt)-1))
	in.PromptStyle, in.TextStyle = st.bold, st.text
	in.Cursor.Style, in.Cursor.TextStyle = st.cursor, st.text
	in.Cursor.SetMode(cursor.CursorStatic)
	in.KeyMap.Paste = key.NewBinding()
	in.ShowSuggestions = false
	in.Focus()
	return entry{line: in, on: true}
}

// value is what was typed, as it stands there.
func (e *entry) value() string {
	if e.field != nil {
		s, _ := e.field.GetValue().(string)
		return s
	}
	return e.line.Value()
}

func (e *entry) empty() bool { return e.value() == "" }

// clear empties the line.
func (e *entry) clear() {
	if e.field != nil {
		empty := ""
		e.field.Value(&empty)
		return
	}
	e.line.SetValue("")
}

// width gives the line the room it has.
func (e *entry) width(w int) {
	if !e.on {
		return
	}
	if e.field != nil {
		e.field.WithWidth(w)
		return
	}
	e.line.Width = max(8, min(e.line.CharLimit, w-len(e.line.Prompt)-1))
}

// press gives one key to the line. Pasted text is not taken for an erase. What cannot be shown safely is left out.
func (e *entry) press(k tea.KeyMsg) {
	if !e.on || (e.erase && k.Paste) {
		return
	}
	if k.Type == tea.KeyRunes {
		k.Runes = slices.DeleteFunc(slices.Clone(k.Runes), func(r rune) bool { return procedure.Plain(string(r)) != string(r) })
	}
	if e.field != nil {
		m, _ := e.field.Update(k) // its commands only blink the cursor or leave the field, which this screen does itself
		if f, ok := m.(*huh.Input); ok {
			e.field = f
		}
		return
	}
	e.line, _ = e.line.Update(k)
}

// question is the prompt's question with its default in brackets.
func question(p *procedure.Prompt) string {
	if p.Default == "" {
		return p.Question
	}
	return p.Question + " [" + p.Default + "]"
}
