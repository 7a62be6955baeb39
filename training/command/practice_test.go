package command

import (
	"bytes"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"twobin/procedure/command"
	"twobin/training/dummy"
)

// app gives streams for a verb; its data folder is the test's.
func app(t *testing.T, in io.Reader) (*command.App, *bytes.Buffer) {
	t.Helper()
	home := t.TempDir()
	var out bytes.Buffer
	env := func(k string) string { return map[string]string{"TWOBIN_HOME": home}[k] }
	return &command.App{In: in, Out: &out, Err: &out, Env: env, Now: time.Now}, &out
}

// The show plays the first roll to its close, and is remembered as shown.
func TestShow(t *testing.T) {
	t.Parallel()
	a, out := app(t, strings.NewReader(""))
	c := Practice{Trainee: "Kim", Show: true, Speed: 200, Seed: 1}
	if err := c.Run(a); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	for _, want := range []string{"-- step 13, Return", "A001 closed", "-- Close", "why: ", "the sandbox is removed"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("lacks %q", want)
		}
	}
	for _, l := range strings.Split(strings.TrimSpace(out.String()), "\n") {
		if !strings.HasPrefix(l, "DRILL") {
			t.Errorf("line without its word: %q", l)
		}
	}
	out.Reset()
	if err := (&Practice{Trainee: "Kim", List: true}).Run(a); err != nil || !strings.Contains(out.String(), "standing: shown") {
		t.Errorf("list: %v\n%s", err, out)
	}
}

// A newcomer works the whole first roll line by line through pipes: answers are read off the output, as a person would.
func TestPracticeThroughPipes(t *testing.T) {
	t.Parallel()
	inR, inW := io.Pipe()
	outR, outW := io.Pipe()
	a, _ := app(t, inR)
	a.Out = outW
	ended := make(chan error, 1)
	go func() {
		err := (&Practice{Trainee: "Kim", Speed: 1, Seed: 1}).Run(a)
		outW.Close()
		ended <- err
	}()
	var all strings.Builder
	h := &hands{in: make(chan string, 100)}
	go func() { // typing must not keep the reading up
		for l := range h.in {
			if _, err := io.WriteString(inW, l+"\n"); err != nil {
				return
			}
		}
	}()
	defer close(h.in)
	// Hands that are stuck leave, and the test says where.
	stuck := time.AfterFunc(patience, func() { inW.Close() })
	defer stuck.Stop()
	buf := make([]byte, 4096)
	rest := ""
	for {
		n, err := outR.Read(buf)
		all.Write(buf[:n])
		rest += string(buf[:n])
		for {
			line, more, ok := strings.Cut(rest, "\n")
			if !ok {
				break
			}
			rest = more
			h.line(t, line)
		}
		if err != nil {
			break
		}
	}
	if err := <-ended; err != nil {
		t.Errorf("%v\n%s", err, all.String())
	}
	for _, want := range []string{"DRILL result: PASSED.", "DRILL journal: ", "the sandbox is removed", "next: twobin practice"} {
		if !strings.Contains(all.String(), want) {
			t.Errorf("lacks %q:\n%s", want, all.String())
		}
	}
	if _, err := os.Stat(h.sandbox); !os.IsNotExist(err) {
		t.Errorf("the sandbox %q is still there: %v", h.sandbox, err)
	}
}

// Wrong words on the command line: exit code 2, one line that says what is allowed, and no journal.
func TestPracticeUsage(t *testing.T) {
	t.Parallel()
	for _, c := range []Practice{
		{Trainee: "Kim", Speed: 1, Drill: "juggling"}, {Trainee: "Kim", Speed: 1, Coach: "loud"}, {Trainee: "Kim", Speed: 1, Seed: -1},
		{Trainee: " ", Speed: 1}, {Trainee: "Kim", Speed: 0}, {Trainee: "Kim", Speed: 1, Size: "much"}, {Trainee: "Kim", Speed: 1, Size: "7B"},
		{Trainee: "Kim", Speed: 1, Size: "16TB"}, // no folder for temporary files has room for it
	} {
		a, out := app(t, strings.NewReader(""))
		err := c.Run(a)
		if command.CodeOf(err) != command.CodeUsage || strings.Contains(err.Error(), "\n") || out.Len() > 0 {
			t.Errorf("%+v: %v, %q", c, err, out)
		}
		if _, err := os.Stat(filepath.Join(a.Env("TWOBIN_HOME"), "drills")); !os.IsNotExist(err) {
			t.Errorf("%+v has written something: %v", c, err)
		}
	}
}

// Dummy prepares an empty card and refuses one that holds anything.
func TestDummy(t *testing.T) {
	t.Parallel()
	card := t.TempDir()
	a, out := app(t, nil)
	c := Dummy{Path: card, Label: "b7", Shape: "frames", Size: "200kB", Seed: 2}
	if err := c.Run(a); err != nil {
		t.Fatal(err)
	}
	if ok, err := dummy.Marked(card); !ok || err != nil || !strings.Contains(out.String(), "B007") {
		t.Errorf("marked %v, %v: %s", ok, err, out)
	}
	if err := c.Run(a); command.CodeOf(err) != command.CodeFailed || !strings.Contains(err.Error(), "Nothing was written") {
		t.Errorf("a second time: %v", err)
	}
	for _, bad := range []Dummy{
		{Path: card, Label: "7", Shape: "clips", Size: "1MB"}, {Path: card, Label: "A001", Shape: "round", Size: "1MB"}, {Path: card, Label: "A001", Shape: "clips", Size: "much"},
	} {
		if err := bad.Run(a); command.CodeOf(err) != command.CodeUsage {
			t.Errorf("%+v: %v", bad, err)
		}
	}
}

func TestParseSize(t *testing.T) {
	t.Parallel()
	for in, want := range map[string]int64{"1": 1, "64MB": 64e6, "1.5 GB": 1.5e9, "2tb": 2e12, "10kB": 1e4, "7B": 7} {
		if got, err := parseSize(in); got != want || err != nil {
			t.Errorf("parseSize(%q) = %d, %v, want %d", in, got, err, want)
		}
	}
	for _, in := range []string{"", "0", "-1MB", "x", "MB", "1XB", "99TB", "1MBMB", "NaN"} {
		if got, err := parseSize(in); err == nil {
			t.Errorf("parseSize(%q) = %d, want an error", in, got)
		}
	}
}

// A named card that is not there, has no marker, or holds something else is refused: exit code 2, one line, nothing
// written, no journal.
func TestPracticeReaderRefused(t *testing.T) {
	t.Parallel()
	put := func(dir, name string) string {
		if err := os.WriteFile(filepath.Join(dir, name), []byte("footage"), 0o644); err != nil {
			t.Fatal(err)
		}
		return dir
	}
	mixed := t.TempDir()
	if _, err := dummy.Prepare(t.Context(), mixed, dummy.Roll{Label: "A001", Shape: dummy.Clips, Seed: 1}); err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		v    Practice
		want string
	}{
		"nothing there": {Practice{Reader: filepath.Join(t.TempDir(), "none")}, "no such file"},
		"a file":        {Practice{Reader: filepath.Join(put(t.TempDir(), "x"), "x")}, "not a folder"},
		"empty":         {Practice{Reader: t.TempDir()}, "no practice card"},
		"footage":       {Practice{Reader: put(t.TempDir(), "clip.mov")}, "no practice card"},
		"mixed":         {Practice{Reader: put(mixed, "clip.mov")}, "has not written"},
		"show":          {Practice{Reader: t.TempDir(), Show: true}, "--show"},
	} {
		a, out := app(t, strings.NewReader(""))
		c.v.Trainee, c.v.Speed = "Kim", 1
		err := c.v.Run(a)
		if command.CodeOf(err) != command.CodeUsage || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n") || out.Len() > 0 {
			t.Errorf("%s: %v, %q", name, err, out)
		}
		if _, err := os.Stat(filepath.Join(a.Env("TWOBIN_HOME"), "drills")); !os.IsNotExist(err) {
			t.Errorf("%s has written something: %v", name, err)
		}
	}
}
