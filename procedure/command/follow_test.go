package command

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	tea "github.com/charmbracelet/bubbletea"

	"twobin/procedure"
	"twobin/procedure/sheet/harbour"
)

// step gives a model what its read finds.
func step(t *testing.T, m boardModel) boardModel {
	t.Helper()
	next, _ := m.Update(m.read())
	return next.(boardModel)
}

// TestFollow: the board waits for the first shift, shows a journal that grows, says since when it is not readable, and
// goes over to the next shift after the end of its own.
func TestFollow(t *testing.T) {
	t.Parallel()
	home := t.TempDir()
	now := time.Date(2031, 5, 6, 9, 30, 0, 0, time.UTC)
	m := boardModel{home: home, size: -1, w: 80, h: 24, at: now, now: func() time.Time { return now }}
	if m = step(t, m); !strings.Contains(m.View(), "No shift was begun yet") {
		t.Fatalf("before a shift:\n%s", m.View())
	}
	one := harbour.Begin(1, "cart", "Kim")
	one.SetUp("A", "blue")
	save := func(d *harbour.Day, name string) string {
		path := filepath.Join(home, "journals", name)
		if err := os.RemoveAll(path); err != nil {
			t.Fatal(err)
		}
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if _, err := d.WriteJournal(path); err != nil {
			t.Fatal(err)
		}
		return path
	}
	path := save(one, "day1.jsonl")
	if m = step(t, m); m.path != path || strings.Contains(m.View(), "A001") {
		t.Fatalf("at the beginning, %q:\n%s", m.path, m.View())
	}
	one.Receive("A001")
	save(one, "day1.jsonl")
	if m = step(t, m); !strings.Contains(m.View(), "A001") {
		t.Fatalf("the journal grew:\n%s", m.View())
	}
	if err := os.Rename(path, path+".away"); err != nil {
		t.Fatal(err)
	}
	m = step(t, m)
	now = now.Add(10 * time.Minute)
	if m = step(t, m); !strings.Contains(m.View(), "journal not readable since 09:30") || !strings.Contains(m.View(), "A001") {
		t.Fatalf("the journal is gone:\n%s", m.View())
	}
	one.Walk("A001")
	one.Return("A001")
	one.Close()
	one.Add("", procedure.CodeRead{Right: true})
	save(one, "day1.jsonl")
	if m = step(t, m); strings.Contains(m.View(), "not readable") || !m.seen.ended() {
		t.Fatalf("the journal is back:\n%s", m.View())
	}
	two := harbour.Begin(2, "cart", "Kim")
	two.SetUp("A", "blue")
	next := save(two, "day2.jsonl")
	if m = step(t, m); m.path != next || m.seen.shift.Opened.Day != 2 {
		t.Fatalf("the next shift: %q", m.path)
	}
}

// TestFollowFootIsWhole: a narrow foot line ends between characters, and q leaves.
func TestFollowFootIsWhole(t *testing.T) {
	t.Parallel()
	home := twoDays(t)
	f := readJournal(filepath.Join(home, "journals", "day1.jsonl"))
	f.err = errText(strings.Repeat("é", 100))
	for w := 70; w < 75; w++ {
		m := boardModel{path: f.path, seen: f, w: w, h: 24}
		if v := m.View(); !utf8.ValidString(v) {
			t.Errorf("width %d: cut inside a character: %q", w, v[len(v)-20:])
		}
	}
	_, cmd := boardModel{}.Update(tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune{'q'}})
	if cmd == nil {
		t.Fatal("q does nothing")
	}
	if _, ok := cmd().(tea.QuitMsg); !ok {
		t.Error("q does not leave")
	}
}

type errText string

func (e errText) Error() string { return string(e) }
