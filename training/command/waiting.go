package command

import (
	"cmp"
	"fmt"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"twobin/procedure"
	"twobin/procedure/command"
	"twobin/training/drill"
	"twobin/training/practice"
	"twobin/training/world"
)

// waiting is the newest drill that waits since its power cut and that the command line can mean; false for none. Whoever
// types the same line once more, with its drill, its seed and its --show, means the drill that was cut off, not another
// one that is cut off again.
func (c *Practice) waiting(book practice.Book) (practice.Run, bool) {
	for _, r := range slices.Backward(book) {
		if (c.Drill == "" || c.Drill == r.Drill) && (c.Seed == 0 || c.Seed == r.Seed) && c.Show == (r.Coach == practice.Shown) && waits(r) {
			return r, true
		}
	}
	return practice.Run{}, false
}

// waits says whether a drill can be gone on with: it was cut off, and its sandbox is there.
func waits(r practice.Run) bool {
	if _, known := drill.Find(r.Drill); !known {
		return false
	}
	if _, ok := (practice.Book{r}).Waiting(); !ok {
		return false
	}
	_, err := world.SizeOf(r.Sandbox)
	return err == nil
}

// before says what happens before the drill begins, and puts away what killed ones have left.
func (c *Practice) before(a *command.App, o practice.Options, book practice.Book) error {
	say := func(line string) error { return drill.Say(a.Out, "%s", line) }
	if err := sweep(o, say); err != nil {
		return err
	}
	switch {
	case o.Again != nil && (c.Coach != "" || c.Size != ""):
		return say("A drill waits since its power cut. It goes on as it was begun, with its own cards and coaching.")
	case o.Again != nil:
		return say("A drill waits since its power cut. It goes on as it was begun.")
	}
	if n := len(book); n > 0 && book[n-1].CutOff && !waits(book[n-1]) {
		if err := say(fmt.Sprintf("%s, seed %d, which waited since its power cut, cannot go on: its sandbox is not there any more, or not whole. "+
			"Another drill begins.", book[n-1].Drill, book[n-1].Seed)); err != nil {
			return err
		}
	}
	if i := slices.IndexFunc(book, waits); i >= 0 {
		r := book[i]
		if err := say(fmt.Sprintf("%s, seed %d, waits since its power cut. It goes on waiting while you do another one. To go on with it later:", r.Drill, r.Seed)); err != nil {
			return err
		}
		if err := c.hint(a, "", r.Coach == practice.Shown, r.Drill); err != nil {
			return err
		}
	}
	if o.Size > 0 {
		return say("The cards are being made.")
	}
	return nil
}

// hint prints a command to be typed on a line of its own, so that it can be copied.
func (c *Practice) hint(a *command.App, head string, show bool, words ...string) error {
	return printed(fmt.Fprintf(a.Out, "DRILL %s%s\n", cmp.Or(head, "  "), c.typed(show, words...)))
}

// typed is a command of this verb with the trainee and folders that were named.
func (c *Practice) typed(show bool, words ...string) string {
	out := strings.Join(append([]string{"twobin practice"}, words...), " ")
	if show {
		out += " --show"
		if c.Show && c.Speed != 1 {
			out += " --speed " + strconv.FormatFloat(c.Speed, 'g', -1, 64)
		}
	}
	for _, w := range [][2]string{{"--trainee", c.Trainee}, {"--reader", c.Reader}, {"--config", c.Config}, {"--home", c.Home}} {
		if w[1] != "" && w != [2]string{"--trainee", "trainee"} {
			out += " " + w[0] + map[bool]string{true: "=", false: " "}[w[1][0] == '-'] + shellWord(runtime.GOOS, w[1])
		}
	}
	if c.Plain {
		out += " --plain"
	}
	return procedure.Plain(out)
}

// shellWord is a word as it is typed in the shell of a system: in quotes if it has anything that a shell may take for
// something else.
func shellWord(system, w string) string {
	windows := system == "windows"
	special := func(r rune) bool {
		return !unicode.IsLetter(r) && !unicode.IsDigit(r) && !strings.ContainsRune("-_./:@%+,", r) && !(windows && r == '\\')
	}
	switch {
	case !strings.ContainsFunc(w, special):
		return w
	case windows:
		return `"` + strings.ReplaceAll(w, `"`, `""`) + `"`
	}
	return "'" + strings.ReplaceAll(w, "'", `'\''`) + "'"
}
