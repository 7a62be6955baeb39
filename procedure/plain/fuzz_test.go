package plain

import (
	"bytes"
	"context"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"unicode"
	"unicode/utf8"

	"twobin/procedure"
)

// asker is a desk that asks one question of every kind after the other, whatever comes, and keeps what it was told.
type asker struct {
	mu      sync.Mutex
	n       int
	told    []procedure.Intent
	asked   []procedure.Prompt
	changed chan struct{}
}

// prompts are one of every kind, with text in it that no terminal may see raw.
var prompts = []procedure.Prompt{
	{ID: "receive.label", Kind: procedure.PromptText, Question: "Label?\x1b[2J"},
	{ID: "next", Kind: procedure.PromptChoice, Question: "What is next?", Options: []procedure.Option{{Key: "a", Text: "a card\u202e arrives"}, {Key: "c", Text: "close"}}},
	{ID: "pick.card", Kind: procedure.PromptText, Question: "Label as written on the card?", Hide: true},
	{ID: "return.to", Kind: procedure.PromptText, Question: "Who takes it?", Default: "Robin\r"},
	{ID: "erase.label", Kind: procedure.PromptErase, Question: "Type the label.", Hide: true},
}

func (a *asker) View() procedure.View {
	a.mu.Lock()
	defer a.mu.Unlock()
	p := prompts[a.n%len(prompts)]
	p.Seq = a.n + 1
	return procedure.View{
		Drill: "x", Prompt: &p, Ended: a.n >= 200, Away: a.n%7 == 6,
		Notices: []procedure.Notice{{Grade: "look", What: "clip\x07.mov", Cause: "cause\x9b31m"}},
	}
}

func (a *asker) Do(_ context.Context, i procedure.Intent) error {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.told = append(a.told, i)
	a.asked = append(a.asked, prompts[a.n%len(prompts)])
	a.n++
	close(a.changed)
	a.changed = make(chan struct{})
	if _, quit := i.(procedure.DoQuit); quit {
		a.n = 200
	}
	if a.n%3 == 0 {
		return &procedure.Refusal{Asked: "x", Why: "no\x1b]0;x\x07"}
	}
	return nil
}

func (a *asker) Wait(ctx context.Context, after uint64) (uint64, error) {
	for {
		a.mu.Lock()
		n, ch := uint64(a.n), a.changed
		a.mu.Unlock()
		if n > after {
			return n, nil
		}
		select {
		case <-ctx.Done():
			return n, ctx.Err()
		case <-ch:
		}
	}
}

// Whatever is typed or piped in, as one stream: it ends, nothing raw reaches the terminal, every line of a drill says so,
// and the erase is answered by its own word alone, on a line that came after it was asked.
func FuzzRun(f *testing.F) {
	for _, s := range []string{
		"A001\na\nA001\nRobin\nerase A001\n", "put back\nhold A003 x\nnote y\n\n\nquit\n", "why\nhelp\ncause\nboard\n?\n",
		"\x00\xff\xfe\n\r\n\x1b[A\n", "erase A001", strings.Repeat("x", maxLine+1), ":a\n: \n::\nERASE a001\ndone 3\nto /x\ndrop y\n",
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, in []byte) {
		synctest.Test(t, func(t *testing.T) {
			a := &asker{changed: make(chan struct{})}
			var out bytes.Buffer
			err := Run(t.Context(), a, Options{In: bytes.NewReader(in), Out: &out})
			if err != nil && !strings.Contains(err.Error(), "plain input") {
				t.Errorf("%q: %v", in, err)
			}
			for _, l := range strings.Split(strings.TrimSuffix(out.String(), "\n"), "\n") {
				if !utf8.ValidString(l) || strings.ContainsFunc(l, func(r rune) bool { return unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r) }) {
					t.Errorf("%q is printed raw: %q", in, l)
				}
				if l != "" && !strings.HasPrefix(l, "DRILL") {
					t.Errorf("%q: a line of a drill without its word: %q", in, l)
				}
			}
			for n, i := range a.told {
				if ans, ok := i.(procedure.Answer); ok && ans.ID == "erase.label" && ans.Text != "" && a.asked[n].ID == "erase.label" && !bytes.Contains(bytes.ToLower(in), []byte("erase ")) {
					t.Errorf("%q answers the erase with %q", in, ans.Text)
				}
			}
		})
	})
}
