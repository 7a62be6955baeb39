package doctor

import (
	"fmt"
	"io/fs"
	"strings"
	"syscall"
	"testing"
	"time"

	"twobin/guard"
)

// Whatever is wrong, the report fits a screen of 80x24, and every subject that stops a shift is on it with its word.
func TestTextFits(t *testing.T) {
	long := "/Volumes/" + strings.Repeat("a very long name of a drive ", 12)
	wide := "/媒体/" + strings.Repeat("撮影", 40)
	tests := map[string]func(*fake){
		"healthy":          func(*fake) {},
		"long data folder": func(f *fake) { f.env.Home = long },
		"five long destinations": func(f *fake) {
			f.env.To = []string{long + "1", wide, long + "3", long + "4", long + "5"}
		},
		"seven missing destinations": func(f *fake) {
			for i := range 7 {
				p := fmt.Sprintf("%s%d", long, i)
				f.env.To = append(f.env.To, p)
				f.errs[p] = &guard.Error{Op: "identify", Kind: guard.KindGone}
			}
		},
		"all wrong": func(f *fake) {
			f.env.Home = long
			f.terminal.Width = 20
			f.trial = Trial{Flush: syscall.EIO}
			f.wall = time.Unix(0, 0)
			f.watchErr = fs.ErrPermission
			for i := range 9 {
				p := fmt.Sprintf("%s%d", long, i)
				f.env.To = append(f.env.To, p)
				f.errs[p] = &guard.Error{Op: "identify", Kind: guard.KindStalled}
			}
		},
		"control characters": func(f *fake) { f.env.Home = "/home/\x1b[2J\u202e\n\x00\xff" },
	}
	for name, broken := range tests {
		t.Run(name, func(t *testing.T) {
			f := healthy()
			broken(f)
			r := Check(t.Context(), f.env)
			text := r.Text()
			lines := strings.Split(strings.TrimSuffix(text, "\n"), "\n")
			if len(lines) > 23 { // the prompt needs a line too
				t.Errorf("%d lines, want 23 at most:\n%s", len(lines), text)
			}
			for _, l := range lines {
				if cellsOf(l) > 80 {
					t.Errorf("%d cells, want 80 at most: %s", cellsOf(l), l)
				}
				if strings.ContainsAny(l, "\x1b\x00\u202e\r") || strings.ToValidUTF8(l, "") != l {
					t.Errorf("unclean: %q", l)
				}
			}
			if lines[len(lines)-1] != r.Verdict() {
				t.Errorf("last line %q, want the verdict %q", lines[len(lines)-1], r.Verdict())
			}
			shown, all := strings.Count(text, "\nstop  "), r.count(Stop)
			if all <= 10 && shown != all || all > 10 && !strings.Contains(text, "--json") {
				t.Errorf("%d of %d stops shown:\n%s", shown, all, text)
			}
		})
	}
}

func TestFold(t *testing.T) {
	tests := []struct {
		text  string
		cells int
		want  string
	}{
		{"", 5, ""},
		{"one two", 7, "one two"},
		{"one two", 6, "one|two"},
		{"onetwothree", 4, "onet|woth|ree"},
		{"a onetwothree b", 4, "a|onet|woth|ree|b"},
		{"撮影撮影", 5, "撮影|撮影"}, // two cells each: Unicode Standard Annex 11
	}
	for _, tt := range tests {
		if got := strings.Join(fold(tt.text, tt.cells), "|"); got != tt.want {
			t.Errorf("fold(%q, %d) = %q, want %q", tt.text, tt.cells, got, tt.want)
		}
	}
}

func TestBytesText(t *testing.T) {
	tests := []struct {
		n    int64
		want string
	}{
		{0, "0 bytes"}, {999, "999 bytes"}, {1000, "1.0 kB"}, {999_499_999, "999 MB"}, {999_500_000, "1.0 GB"},
		{412_000_000_000, "412 GB"}, {3_140_000_000_000, "3.1 TB"},
	}
	for _, tt := range tests {
		if got := bytesText(tt.n); got != tt.want {
			t.Errorf("bytesText(%d) = %q, want %q", tt.n, got, tt.want)
		}
	}
}
