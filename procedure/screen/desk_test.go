package screen

import (
	"context"
	"sync"
	"testing"
	"time"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/charmbracelet/lipgloss"
	"github.com/muesli/termenv"

	"twobin/guard"
	"twobin/procedure"
)

// fakeDesk is a desk whose answer to an intent is a function of the test.
type fakeDesk struct {
	mu      sync.Mutex
	view    procedure.View
	version uint64
	news    chan struct{}
	got     []procedure.Intent
	do      func(d *fakeDesk, i procedure.Intent) error // called with mu held
	clock   func() []procedure.Clock                    // clocks of the view, nil for none
}

func newDesk(v procedure.View) *fakeDesk {
	return &fakeDesk{view: v, version: 1, news: make(chan struct{})}
}

func (d *fakeDesk) View() procedure.View {
	d.mu.Lock()
	defer d.mu.Unlock()
	v := d.view
	if d.clock != nil {
		v.Clocks = d.clock()
	}
	return v
}

func (d *fakeDesk) Wait(ctx context.Context, after uint64) (uint64, error) {
	for {
		d.mu.Lock()
		v, ch := d.version, d.news
		d.mu.Unlock()
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

func (d *fakeDesk) Do(_ context.Context, i procedure.Intent) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.got = append(d.got, i)
	if d.do == nil {
		return nil
	}
	err := d.do(d, i)
	d.version++
	close(d.news)
	d.news = make(chan struct{})
	return err
}

func (d *fakeDesk) intents() []procedure.Intent {
	d.mu.Lock()
	defer d.mu.Unlock()
	return append([]procedure.Intent(nil), d.got...)
}

// hand drives a model by hand: its commands run at once. The only one that waits for the world is Init's Wait, which is
// left out; ticks give nothing.
type hand struct {
	t    *testing.T
	m    *model
	desk *fakeDesk
	now  time.Time
	rung int
	quit bool
}

func drive(t *testing.T, v procedure.View, w, h int, colour bool) *hand {
	t.Helper()
	r := lipgloss.NewRenderer(nil)
	r.SetColorProfile(termenv.Ascii)
	if colour {
		r.SetColorProfile(termenv.ANSI)
	}
	d := newDesk(v)
	x := &hand{t: t, desk: d, now: time.Date(2026, 3, 9, 8, 0, 0, 0, time.UTC)}
	x.m = newModel(t.Context(), d, newStyles(r, colour), Options{Now: func() time.Time { return x.now }})
	x.m.ring = func() { x.rung++ }
	x.m.tick = func() tea.Msg { return nil }
	x.send(tea.WindowSizeMsg{Width: w, Height: h})
	x.look()
	x.pass(time.Second)
	return x
}

// look brings the desk's view to the screen.
func (x *hand) look() { x.run(x.m.look()) }

func (x *hand) pass(d time.Duration) { x.now = x.now.Add(d) }

func (x *hand) send(msg tea.Msg) {
	_, cmd := x.m.Update(msg)
	x.run(cmd)
}

// run runs a command and what follows from it.
func (x *hand) run(cmd tea.Cmd) {
	if cmd == nil {
		return
	}
	switch msg := cmd().(type) {
	case nil:
	case tea.QuitMsg:
		x.quit = true
	case tea.BatchMsg:
		for _, c := range msg {
			x.run(c)
		}
	default:
		x.send(msg)
	}
}

// press sends keys: one name a key ("enter", "ctrl+e", "esc"), anything else as one burst of characters.
func (x *hand) press(keys ...string) {
	for _, k := range keys {
		x.send(keyOf(k))
		x.pass(5 * time.Millisecond)
	}
}

// typed is a person typing: a key every 150 ms.
func (x *hand) typed(s string) {
	for _, r := range s {
		x.pass(150 * time.Millisecond)
		x.send(tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune{r}})
	}
	x.pass(150 * time.Millisecond)
}

func keyOf(name string) tea.KeyMsg {
	named := map[string]tea.KeyType{
		"enter": tea.KeyEnter, "esc": tea.KeyEsc, "ctrl+e": tea.KeyCtrlE, "ctrl+a": tea.KeyCtrlA, "ctrl+o": tea.KeyCtrlO,
		"ctrl+n": tea.KeyCtrlN, "ctrl+r": tea.KeyCtrlR, "ctrl+b": tea.KeyCtrlB, "ctrl+f": tea.KeyCtrlF, "ctrl+t": tea.KeyCtrlT,
		"ctrl+d": tea.KeyCtrlD, "ctrl+g": tea.KeyCtrlG, "ctrl+q": tea.KeyCtrlQ, "ctrl+c": tea.KeyCtrlC, "ctrl+k": tea.KeyCtrlK,
		"ctrl+v": tea.KeyCtrlV, "ctrl+w": tea.KeyCtrlW, "ctrl+x": tea.KeyCtrlX, "backspace": tea.KeyBackspace, "up": tea.KeyUp, "down": tea.KeyDown,
	}
	if t, ok := named[name]; ok {
		return tea.KeyMsg{Type: t}
	}
	return tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune(name)}
}

// The sample day. Names are invented.
func sampleStrip() procedure.Strip {
	return procedure.Strip{
		Red:    []procedure.Label{"A004", "B002", "A005"},
		Held:   []procedure.Label{"B001"},
		Reader: "A003", ReaderNote: "copying",
		Green: []procedure.Label{"A001", "A002"},
	}
}

func base() procedure.View {
	return procedure.View{Production: "Harbour Lights", Day: 3, Station: "cart", Operator: "Kim", Strip: sampleStrip()}
}

// at is the sample day at a step, with a prompt.
func at(s procedure.Step, p *procedure.Prompt) procedure.View {
	v := base()
	sp := s.Spec()
	v.Step = procedure.StepView{
		Step: s, ID: sp.ID, Number: s.Number(), Title: sp.Title, Critical: sp.Critical, Roll: "A003", Camera: "A", Colour: "blue",
		Hands: sp.Hands, Brief: sp.Brief, Why: sp.Why, Mark: "under way", Next: (s + 1).Spec().Title,
	}
	v.Prompt = p
	return v
}

func ask(id, q string) *procedure.Prompt {
	return &procedure.Prompt{ID: id, Kind: procedure.PromptText, Question: q, Seq: 7}
}

func askHidden(id, q string) *procedure.Prompt {
	p := ask(id, q)
	p.Hide = true
	return p
}

func pick(id, q string, os ...procedure.Option) *procedure.Prompt {
	return &procedure.Prompt{ID: id, Kind: procedure.PromptChoice, Question: q, Options: os, Seq: 7}
}

func sampleCopy() *procedure.CopyView {
	return &procedure.CopyView{
		Roll: "A003", Phase: "copying", Files: 214, FilesDone: 96, Bytes: 118_200_000_000, Done: 51_300_000_000,
		PerSecond: 210_000_000, Left: 318 * time.Second, LeftKnown: true,
		Dests: []procedure.DestView{
			{Name: "SHUTTLE", Written: 51_300_000_000, Read: 12_000_000_000, PerSecond: 118_000_000, Left: 318 * time.Second, LeftKnown: true, FreeText: "1.20 TB free"},
			{Name: "RAID", Written: 50_900_000_000, Read: 11_800_000_000, PerSecond: 98_000_000, Left: 402 * time.Second, LeftKnown: true, FreeText: "8.10 TB free"},
		},
	}
}

func eraseView() procedure.View {
	v := at(procedure.StepErase, &procedure.Prompt{ID: "erase.label", Kind: procedure.PromptErase,
		Question: "Type the label, read from the tape you kept.", Hide: true, Seq: 7})
	v.EraseText = []string{
		"214 files, 118.2 GB, will be removed from this card.",
		"Proven copies: SHUTTLE, RAID.",
		"After it: 2 copies on 2 devices. Kinds of media, off site: not known here.",
	}
	for _, c := range []string{
		"the roll went through look, mark and bin", "the card is this card, its contents are the proven ones",
		"every file has 2 or more equal read-backs", "the destinations are separate devices",
		"the destinations are mounted and hold every file", "the roll has no open hold", "the journal is whole",
		"the fresh look is younger than 1:00",
	} {
		v.Lock = append(v.Lock, guard.Condition{ID: "L" + string(rune('1'+len(v.Lock))), Holds: true, Says: c})
	}
	v.Clocks = []procedure.Clock{{Name: "look", Since: 12 * time.Second, Limit: time.Minute}}
	return v
}
