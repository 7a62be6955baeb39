package screen

import (
	"strings"

	"github.com/charmbracelet/huh"
	"github.com/charmbracelet/lipgloss"
)

// styles is how the screen looks. Words are always in the terminal's own foreground; colour is only in the block that
// stands before a word that says the same (invariant 12), because themes remap the sixteen colours and no contrast can be
// promised for them.
type styles struct {
	text, bold, reverse, cursor lipgloss.Style
	colours                     map[string]lipgloss.Style
	field                       *huh.Theme
}

// tapes are the colours of tape and bins that the sixteen terminal colours can show; other words stand alone.
var tapes = map[string]string{
	"red": "1", "green": "2", "yellow": "3", "blue": "4", "purple": "5", "violet": "5", "magenta": "5", "pink": "13",
	"cyan": "6", "turquoise": "6", "white": "15", "grey": "8", "gray": "8", "orange": "11",
}

// newStyles makes the styles; without colour every block is drawn like text.
func newStyles(r *lipgloss.Renderer, colour bool) styles {
	s := styles{
		text: r.NewStyle(), bold: r.NewStyle().Bold(true), reverse: r.NewStyle().Reverse(true).Bold(true),
		cursor: r.NewStyle().Reverse(true), colours: map[string]lipgloss.Style{},
	}
	for word, c := range tapes {
		s.colours[word] = r.NewStyle()
		if colour {
			s.colours[word] = r.NewStyle().Foreground(lipgloss.Color(c))
		}
	}
	t := huh.ThemeBase()
	t.Focused.Base, t.Blurred.Base = s.text, s.text
	t.Focused.Title, t.Blurred.Title = s.bold, s.bold
	t.Focused.Description, t.Blurred.Description = s.text, s.text
	t.Focused.ErrorMessage, t.Focused.ErrorIndicator = s.bold, s.bold
	t.Focused.TextInput = huh.TextInputStyles{Cursor: s.cursor, CursorText: s.text, Placeholder: s.text, Prompt: s.bold, Text: s.text}
	t.Blurred.TextInput = t.Focused.TextInput
	s.field = t
	return s
}

// block is the mark before a colour's word. A colour that the terminal cannot show has none.
func (s styles) block(word string) string {
	c, ok := s.colours[strings.ToLower(strings.TrimSpace(word))]
	if !ok {
		return ""
	}
	return c.Render("█") + " "
}
