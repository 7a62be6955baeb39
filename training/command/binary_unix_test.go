//go:build unix

package command

import (
	"bufio"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"
)

var built = struct {
	sync.Once
	dir, path string
	err       error
}{}

// binary builds the program once for all tests of the package.
func binary(tb testing.TB) string {
	tb.Helper()
	built.Do(func() {
		if built.dir, built.err = os.MkdirTemp("", "twobin-test-"); built.err != nil {
			return
		}
		built.path = filepath.Join(built.dir, "twobin")
		if b, err := exec.Command("go", "build", "-o", built.path, "twobin").CombinedOutput(); err != nil {
			built.err = fmt.Errorf("%w\n%s", err, b)
		}
	})
	if built.err != nil {
		tb.Fatal(built.err)
	}
	return built.path
}

func TestMain(m *testing.M) {
	flag.Parse()
	const atOnce = "4" // more than there may be processors: nearly all of the time these tests wait for a drill's pace
	if err := flag.Set("test.parallel", atOnce); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	code := m.Run()
	if built.dir != "" {
		if err := os.RemoveAll(built.dir); err != nil {
			fmt.Fprintln(os.Stderr, err)
			code = max(code, 1)
		}
	}
	os.Exit(code)
}

// station is where a trainee sits: folders of a test, and nothing else in the environment that twobin looks at.
type station struct {
	tb              testing.TB
	home, temp, cwd string
}

func newStation(tb testing.TB) *station {
	tb.Helper()
	dir, err := filepath.EvalSymlinks(scratch(tb))
	if err != nil {
		tb.Fatal(err)
	}
	s := &station{tb: tb, home: filepath.Join(dir, "home"), temp: filepath.Join(dir, "temp"), cwd: filepath.Join(dir, "cwd")}
	for _, d := range []string{s.home, s.temp, s.cwd} {
		if err := os.Mkdir(d, 0o755); err != nil {
			tb.Fatal(err)
		}
	}
	return s
}

// scratch is a folder in memory where there is one: every line of a journal and every copy is flushed.
func scratch(tb testing.TB) string {
	tb.Helper()
	const shm = "/dev/shm"
	if st, err := os.Stat(shm); err != nil || !st.IsDir() {
		return tb.TempDir()
	}
	dir, err := os.MkdirTemp(shm, "twobin-test-")
	if err != nil {
		return tb.TempDir()
	}
	tb.Cleanup(func() {
		if err := os.RemoveAll(dir); err != nil {
			tb.Error(err)
		}
	})
	return dir
}

// command is a process of this station.
func (s *station) command(name string, args ...string) *exec.Cmd {
	c := exec.CommandContext(s.tb.Context(), name, args...)
	c.Dir = s.cwd
	for _, v := range os.Environ() {
		if n, _, _ := strings.Cut(v, "="); !strings.HasPrefix(n, "TWOBIN_") && !strings.HasPrefix(n, "XDG_") {
			c.Env = append(c.Env, v)
		}
	}
	path := filepath.Dir(binary(s.tb)) + string(os.PathListSeparator) + os.Getenv("PATH")
	c.Env = append(c.Env, "HOME="+s.cwd, "TWOBIN_HOME="+s.home, "TMPDIR="+s.temp, "PATH="+path)
	return c
}

// shell is a command line as a person types it. The shell is a general tool: it knows what quotes mean.
func (s *station) shell(line string) *exec.Cmd { return s.command("sh", "-c", "exec "+line) }

// ended is what a process came to.
type ended struct {
	code     int
	out, err string
}

// through runs a command to its end behind pipes; every line that it prints is given to hands, whose answers are typed.
// The input stays open until the process ends by itself.
func (s *station) through(c *exec.Cmd, h *hands) ended {
	s.tb.Helper()
	in, err := c.StdinPipe()
	if err != nil {
		s.tb.Fatal(err)
	}
	out, err := c.StdoutPipe()
	if err != nil {
		s.tb.Fatal(err)
	}
	var errs strings.Builder
	c.Stderr = &errs
	if err := c.Start(); err != nil {
		s.tb.Fatal(err)
	}
	h.in = make(chan string, 100)
	var typing sync.WaitGroup
	typing.Go(func() { // typing must not keep the reading up
		for l := range h.in {
			_, _ = io.WriteString(in, l+"\n") // a process that has ended does not read
		}
	})
	stuck := time.AfterFunc(patience, func() { _ = c.Process.Kill() })
	var all strings.Builder
	for sc := bufio.NewScanner(out); sc.Scan(); {
		all.WriteString(sc.Text() + "\n")
		h.line(s.tb, sc.Text())
	}
	close(h.in)
	typing.Wait()
	err = c.Wait()
	if !stuck.Stop() {
		s.tb.Errorf("stuck:\n%s", all.String())
	}
	e := ended{out: all.String(), err: errs.String()}
	var x *exec.ExitError
	switch {
	case errors.As(err, &x):
		e.code = x.ExitCode()
	case err != nil:
		s.tb.Errorf("%v\n%s%s", err, e.out, e.err)
	}
	return e
}
