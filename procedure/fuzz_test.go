package procedure

import (
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"
)

// A label that is accepted is in normal form, and its parts make it again.
func FuzzParseLabel(f *testing.F) {
	for _, s := range []string{"A003", " a3 ", "AB1200", "A000", "3A", "", "Ä1", "A99999", "A003\x00"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		l, err := ParseLabel(s)
		if err != nil {
			if strings.ContainsFunc(err.Error(), unicode.IsControl) {
				t.Errorf("ParseLabel(%q): control characters in %q", s, err)
			}
			return
		}
		if again, err := ParseLabel(string(l)); err != nil || again != l || MakeLabel(l.Camera(), l.Number()) != l || l.Number() < 1 {
			t.Errorf("ParseLabel(%q) = %q, which gives %q, %v", s, l, again, err)
		}
	})
}

// Whatever stands in a journal's data: an event or an error, and what was decoded encodes and decodes again.
func FuzzDecodeEvent(f *testing.F) {
	for _, e := range Events() {
		name, data, err := EncodeEvent(e)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(name, []byte(data))
	}
	f.Fuzz(func(t *testing.T, name string, data []byte) {
		e, err := DecodeEvent(name, data)
		if err != nil {
			return
		}
		n, d, err := EncodeEvent(e)
		if err != nil || n != name {
			t.Fatalf("decoded %s, encodes as %s: %v", name, n, err)
		}
		if _, err := DecodeEvent(n, d); err != nil {
			t.Fatalf("%s %s does not decode again: %v", n, d, err)
		}
	})
}

// Plain makes any text safe for a terminal.
func FuzzPlain(f *testing.F) {
	f.Add("A003\x1b[2J\u202e\u200b\xff")
	f.Add("\u2060\u00ad\u206a\U000e0041\u180e\u0085\u2029\x9b")
	f.Fuzz(func(t *testing.T, s string) {
		p := Plain(s)
		if !utf8.ValidString(p) || strings.ContainsFunc(p, func(r rune) bool {
			return unicode.In(r, unicode.Cc, unicode.Cf, unicode.Zl, unicode.Zp, unicode.Bidi_Control)
		}) {
			t.Errorf("Plain(%q) = %q", s, p)
		}
	})
}

// Any line of plain mode is an intent, with any view.
func FuzzParseLine(f *testing.F) {
	for _, s := range []string{"put back", "hold A003 bad copy", "erase A003", "do open RAID", "arrived A001", "note x", "quit", "done 3", ""} {
		f.Add(s, true)
	}
	f.Fuzz(func(t *testing.T, s string, erase bool) {
		v := View{Prompt: &Prompt{ID: "pick.card", Kind: PromptText, Seq: 1}}
		if erase {
			v.Prompt.Kind = PromptErase
		}
		i := ParseLine(v, s)
		if i == nil {
			t.Fatalf("ParseLine(%q) gives no intent", s)
		}
		if a, ok := i.(Answer); ok && erase && a.ID == v.Prompt.ID && a.Text != "" && !strings.HasPrefix(strings.ToLower(s), "erase ") {
			t.Errorf("ParseLine(%q) answers the erase without its word", s)
		}
	})
}

// Own words that begin like a command stay own words where they are asked; a colon makes any line an answer.
func TestParseLineOwnWords(t *testing.T) {
	t.Parallel()
	notes := View{Prompt: &Prompt{ID: "receive.gap", Kind: PromptText, Seq: 1}}
	next := View{Prompt: &Prompt{ID: "next", Kind: PromptChoice, Seq: 1}}
	for _, c := range []struct {
		v    View
		line string
		want Intent
	}{
		{notes, "camera department", Answer{ID: "receive.gap", Seq: 1, Text: "camera department"}},
		{notes, "to be asked", Answer{ID: "receive.gap", Seq: 1, Text: "to be asked"}},
		{notes, "close to the end", Answer{ID: "receive.gap", Seq: 1, Text: "close to the end"}},
		{notes, ":hold it", Answer{ID: "receive.gap", Seq: 1, Text: "hold it"}},
		{notes, "hold bad copy", DoHold{Reason: "bad copy"}},
		{next, "to /media/x", DoDestination{Path: "/media/x"}},
		{next, "close", DoClose{}},
	} {
		if got := ParseLine(c.v, c.line); got != c.want {
			t.Errorf("ParseLine(%s, %q) = %#v, want %#v", c.v.Prompt.ID, c.line, got, c.want)
		}
	}
}

func TestBook(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		n    int64
		text string
		read map[string]bool
	}{
		// 1 GB is 10^9 bytes (IEC 80000-13).
		{118_400_000_000, "118.4 GB", map[string]bool{"118.4": true, "118,4 gb": true, "118.4 GB": true, "118": false, "118.4 MB": false, "": false}},
		{2_100_057, "2.1 MB", map[string]bool{"2.1": true, "2.10": true, "2.1 GB": false}},
		{812, "812 B", map[string]bool{"812": true, "812 b": true, "813": false}},
		{5_000_000_000_000, "5.00 TB", map[string]bool{"5": true, "5.00 TB": true}},
	} {
		if got := SizeText(c.n); got != c.text {
			t.Errorf("SizeText(%d) = %q, want %q", c.n, got, c.text)
		}
		for read, want := range c.read {
			if got := SameSize(read, c.n); got != want {
				t.Errorf("SameSize(%q, %d) = %v, want %v", read, c.n, got, want)
			}
		}
	}
}
