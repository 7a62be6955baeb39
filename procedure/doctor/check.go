package doctor

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"
)

// Patience is how long one question may take before the drive counts as not answering.
const Patience = 5 * time.Second

// Check looks at everything once. It takes about a third of a second (the clocks are compared for that long), and
// heeds ctx; what could not be looked at any more is marked so.
func Check(ctx context.Context, env Env) Report {
	wall, _ := env.Clock()
	r := Report{At: wall}
	trial, err := within(ctx, func() (Trial, error) { return env.Try(ctx, env.Home), nil })
	r.Lines = append(r.Lines, terminal(env.Terminal(), env.Getenv), colour(env.Getenv))
	if err != nil {
		r.Lines = append(r.Lines, Line{"data folder", Stop, env.Home + ": " + err.Error() + ".", "take a folder on a healthy drive: --home DIR."})
	} else {
		r.Lines = append(r.Lines, dataFolder(env.Home, trial), dataRoom(trial))
	}
	r.Lines = append(r.Lines, clock(ctx, env), watching(ctx, env))
	r.Lines = append(r.Lines, destinations(ctx, env)...)
	if err == nil && trial.Write == nil {
		r.Lines = append(r.Lines, readBack(trial))
	}
	r.Lines = append(r.Lines, tools(env.Tool))
	return r
}

// errNoAnswer: a drive did not answer in time.
var errNoAnswer = errors.New("the drive does not answer")

// within asks aside, for at most Patience. A call stuck in the kernel is left behind.
func within[T any](ctx context.Context, f func() (T, error)) (T, error) {
	type answer struct {
		val T
		err error
	}
	c := make(chan answer, 1)
	go func() {
		v, err := f()
		c <- answer{v, err}
	}()
	limit := time.NewTimer(Patience)
	defer limit.Stop()
	var none T
	select {
	case a := <-c:
		return a.val, a.err
	case <-limit.C:
		return none, errNoAnswer
	case <-ctx.Done():
		return none, errors.New("stopped before it was looked at")
	}
}

// terminal judges where the shift would be drawn. 80x24 is the smallest screen it is made for.
func terminal(t Terminal, getenv func(string) string) Line {
	l := Line{Subject: "terminal", Mark: Fine}
	name := getenv("TERM")
	size := fmt.Sprintf("%dx%d", t.Width, t.Height)
	switch {
	case !t.In || !t.Out:
		l.Mark, l.Seen = Look, "none here: the shift runs line by line."
		l.Do = "start it in a terminal for the full screen; --plain works as it is."
	case name == "dumb":
		l.Mark, l.Seen = Look, fmt.Sprintf("%s, TERM is %q: it cannot draw a screen.", size, name)
		l.Do = "use --plain, or another terminal."
	case t.Width <= 0 || t.Height <= 0:
		l.Mark, l.Seen = Look, "it does not tell its size."
		l.Do = "use --plain, or another terminal."
	case t.Width < screenWidth || t.Height < screenHeight:
		l.Mark, l.Seen = Look, fmt.Sprintf("%s: the full screen needs 80x24.", size)
		l.Do = "make the window larger or the letters smaller, or use --plain."
	case name == "":
		l.Seen = size + "."
	default:
		l.Seen = fmt.Sprintf("%s, %s.", size, name)
	}
	return l
}

// colour tells what colours there will be. No colour is as good: every colour has its word. The rules are those of
// no-color.org and of the usual TERM and COLORTERM values.
func colour(getenv func(string) string) Line {
	l := Line{Subject: "colour", Mark: Fine}
	name, deep := getenv("TERM"), strings.ToLower(getenv("COLORTERM"))
	switch {
	case getenv("NO_COLOR") != "":
		l.Seen = "none, NO_COLOR is set. Every colour has its word."
	case getenv("CI") != "":
		l.Seen = "none, CI is set. Every colour has its word."
	case name == "dumb":
		l.Seen = "none. Every colour has its word."
	case deep == "truecolor" || deep == "24bit" || strings.HasSuffix(name, "-direct"):
		l.Seen = "16 million."
	case strings.Contains(name, "256color"):
		l.Seen = "256."
	default:
		l.Seen = "16 or fewer. Every colour has its word."
	}
	return l
}

// tools are general programs that people without this one check copies with. None is needed.
func tools(tool func(string) string) Line {
	l := Line{Subject: "tools", Mark: Fine}
	if p := tool("xxhsum"); p != "" {
		l.Seen = "xxhsum is here: anyone can check the hash lists with it."
	} else {
		l.Seen = "no xxhsum here. Not needed; who checks the hash lists by hand needs it."
	}
	return l
}
