//go:build unix

package command

import (
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"twobin/procedure/command"
	"twobin/training/drill"
	"twobin/training/practice"
)

// leaves runs a command line whose input ends at once: what it begins is left again.
func (s *station) leaves(line string) ended {
	s.tb.Helper()
	return s.through(s.shell(line+" < /dev/null"), &hands{instead: func(string) (string, bool) { return "", true }})
}

// says reports what an output lacks of what it should say, or says of what it should not.
func says(tb testing.TB, what string, e ended, want bool, texts ...string) {
	tb.Helper()
	flat := strings.Join(strings.Fields(strings.ReplaceAll(e.out, "DRILL", " ")), " ")
	for _, t := range texts {
		if strings.Contains(flat, t) != want {
			tb.Errorf("%s: %q stands there: %v, want %v\n%s%s", what, t, !want, want, e.out, e.err)
		}
	}
}

// While a drill waits since its power cut, other ones may be done: it is said that it waits and how to go on with it, and it
// goes on waiting. The very line that began it, typed once more, goes on with it; it does not begin it anew, which
// would end in the same cut.
func TestWaitingDrill(t *testing.T) {
	t.Parallel()
	s, p := newStation(t), cutting(t)
	_, h := cutOff(t, s, p)
	seed := strconv.FormatInt(p.Seed, 10)
	const kim = " --trainee 'Kim O'\\''Hara'"
	waits := "power-cut, seed " + seed + ", waits since its power cut. It goes on waiting"
	const goesOn = "It goes on as it was begun"
	for _, other := range []string{"phone", "power-cut --seed 4711", "first-roll --show --speed 200"} {
		e := s.leaves("twobin practice " + other + kim)
		says(t, other, e, true, waits, "twobin practice power-cut"+kim)
		says(t, other, e, false, goesOn, h.sandbox)
	}
	says(t, "another trainee", s.leaves("twobin practice --trainee Noa"), false, "waits", goesOn, h.sandbox)
	if st, err := os.Stat(h.sandbox); err != nil || !st.IsDir() {
		t.Fatalf("the sandbox does not wait any more: %v", err)
	}
	if b := s.runs(); !slices.ContainsFunc(b, func(r practice.Run) bool { return r.CutOff && r.Sandbox == h.sandbox }) {
		t.Errorf("no drill waits in the book: %+v", b)
	}
	e := s.leaves("twobin practice power-cut --seed " + seed + kim)
	says(t, "the same line", e, true, goesOn, h.sandbox, "the sandbox is removed")
	says(t, "after it", s.leaves("twobin practice"+kim), false, goesOn, "waits", "cannot go on")
	s.nothingLeft()
}

// A drill that is watched is cut off as well. Its line, typed again, goes on with it and shows it to its end; a drill that
// one does oneself is another one.
func TestWaitingShow(t *testing.T) {
	t.Parallel()
	s, p := newStation(t), cutting(t)
	show := "twobin practice power-cut --show --speed 200 --seed " + strconv.FormatInt(p.Seed, 10)
	e := s.leaves(show)
	if e.code != command.CodeFailed || e.err != "" {
		t.Errorf("the power cut ends the show with code %d, %q on the error stream\n%s", e.code, e.err, e.out)
	}
	says(t, "the show", e, true, "Start it again: twobin practice --show --speed 200")
	e = s.leaves("twobin practice power-cut")
	says(t, "one's own drill", e, true, "waits since its power cut. It goes on waiting", "twobin practice power-cut --show")
	says(t, "one's own drill", e, false, "It goes on as it was begun")
	e = s.leaves(show)
	says(t, "the show again", e, true, "It goes on as it was begun", "A001 closed", "A002 closed", "the sandbox is removed")
	if b, err := practice.ReadBook(s.home, "trainee"); err != nil || b.Of(powerCut).Shown != 1 || e.code != 0 {
		t.Errorf("after the show: %+v, %v, code %d", b.Of(powerCut), err, e.code)
	}
	s.nothingLeft()
}

// A waiting drill whose sandbox was cleaned away, or lost its marker, keeps nobody from practising: it is said, once,
// and another drill begins.
func TestWaitingLost(t *testing.T) {
	t.Parallel()
	s, p := newStation(t), cutting(t)
	line, h := cutOff(t, s, p)
	if err := os.Remove(filepath.Join(h.sandbox, "twobin-drill-sandbox")); err != nil {
		t.Fatal(err)
	}
	e := s.leaves(line)
	says(t, "without its marker", e, true, "which waited since its power cut, cannot go on", drill.FirstRoll+":", "next: twobin practice first-roll")
	if e.code != 0 {
		t.Errorf("code %d\n%s%s", e.code, e.out, e.err)
	}
	if err := os.RemoveAll(h.sandbox); err != nil {
		t.Error(err)
	}
	says(t, "the next time", s.leaves(line), false, "cannot go on")
}

// A trainee's name and folders are written for the shell as it reads them.
func TestShellWord(t *testing.T) {
	t.Parallel()
	for word, want := range map[string][2]string{
		"Kim": {"Kim", "Kim"}, "Zoë": {"Zoë", "Zoë"}, "O'Hara": {`'O'\''Hara'`, `"O'Hara"`}, "Kim K": {"'Kim K'", `"Kim K"`}, "$HOME": {"'$HOME'", `"$HOME"`},
		`C:\a`: {`'C:\a'`, `C:\a`}, "/media/CARD 1": {"'/media/CARD 1'", `"/media/CARD 1"`}, "a;b": {"'a;b'", `"a;b"`},
	} {
		if got := shellWord("linux", word); got != want[0] {
			t.Errorf("shellWord(linux, %s) = %s, want %s", word, got, want[0])
		}
		if got := shellWord("windows", word); got != want[1] {
			t.Errorf("shellWord(windows, %s) = %s, want %s", word, got, want[1])
		}
	}
	s := newStation(t)
	for _, word := range []string{"Kim", "O'Hara", "$HOME `x` \"y\" \\", "a;b&c|d", "*", "~", "#", "!x"} {
		if b, err := s.command("sh", "-c", "printf %s "+shellWord("linux", word)).Output(); err != nil || string(b) != word {
			t.Errorf("the shell reads %s as %q, %v", shellWord("linux", word), b, err)
		}
	}
}
