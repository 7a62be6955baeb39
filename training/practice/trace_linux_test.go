package practice

import (
	"bufio"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"testing/synctest"

	"twobin/training/drill"
)

// Environment of the traced child: which drill, and where.
const (
	traceDrill = "TWOBIN_TRACE_DRILL"
	traceSeed  = "TWOBIN_TRACE_SEED"
	traceHome  = "TWOBIN_TRACE_HOME"
	traceBelow = "TWOBIN_TRACE_BELOW"
	traceCard  = "TWOBIN_TRACE_CARD" // empty: a simulated card
)

// covering are a few seeds, of the first hundred, in which every kind of incident of a drill happens: first the one with
// most of them.
func covering(d drill.Drill) []int64 {
	left := map[drill.Kind]bool{}
	for _, s := range d.Slots {
		left[s.Kind] = true
	}
	var out []int64
	for len(out) == 0 || len(left) > 0 {
		best, most := int64(1), map[drill.Kind]bool{}
		for seed := int64(1); seed <= 100; seed++ {
			here := map[drill.Kind]bool{}
			for _, i := range drill.NewPlan(d, seed).Incidents {
				if left[i.Kind] {
					here[i.Kind] = true
				}
			}
			if len(here) > len(most) {
				best, most = seed, here
			}
		}
		if out = append(out, best); len(most) == 0 {
			break
		}
		for k := range most {
			delete(left, k)
		}
	}
	return out
}

// TestTracedChild is the drill that TestInvariant9DrillStaysInItsSandbox traces; by itself it does nothing.
func TestTracedChild(t *testing.T) {
	name := os.Getenv(traceDrill)
	if name == "" {
		t.Skip("only as a child of the tracing test")
	}
	synctest.Test(t, func(t *testing.T) {
		seed, err := strconv.ParseInt(os.Getenv(traceSeed), 10, 64)
		if err != nil {
			t.Fatal(err)
		}
		o := options(t, name, seed, os.Getenv(traceHome), os.Getenv(traceBelow))
		hands := func(bool) {}
		if dir := os.Getenv(traceCard); dir != "" {
			card := newPocket(t, dir)
			o, hands = card.withCard(o), card.hands(t)
		}
		if r, _ := playHands(t, o, Habits{}, hands); r.Outcome != drill.Passed {
			t.Errorf("%s", tell(r))
		}
	})
}

// Invariant 9: a drill reads and writes nothing but its sandbox, its own journal and proofs, and the marked card if one is
// used. Shown by tracing every system call with a file name, for every drill and every kind of incident in it, with strace
// (a general tool).
func TestInvariant9DrillStaysInItsSandbox(t *testing.T) {
	t.Parallel()
	if _, err := exec.LookPath("strace"); err != nil {
		if os.Getenv("TWOBIN_TEST_ALL") == "1" {
			t.Fatal("strace is lacking")
		}
		t.Skip("lacks strace")
	}
	if testing.Short() {
		t.Skip("traces every drill: not in -short")
	}
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	for _, d := range drill.Drills() {
		if d.Name == drill.LongDay && os.Getenv("TWOBIN_TEST_ALL") != "1" {
			continue
		}
		for n, seed := range covering(d) {
			name := fmt.Sprintf("%s seed %d", d.Name, seed)
			t.Run(name, func(t *testing.T) { traceOne(t, self, d, seed, "") })
			if d.Name != drill.LongDay && n == 0 {
				t.Run(name+" on a marked card", func(t *testing.T) { traceOne(t, self, d, seed, scratch(t)) })
			}
		}
	}
}

// traceOne traces one drill, with a marked card below a folder if one is given.
func traceOne(t *testing.T, self string, d drill.Drill, seed int64, card string) {
	home, below, cwd, out := scratch(t), scratch(t), scratch(t), filepath.Join(scratch(t), "trace")
	c := exec.Command("strace", "-f", "-y", "-s", "4096", "-e", "trace=%file", "-o", out, self, "-test.run", "^TestTracedChild$", "-test.count", "1")
	c.Dir = cwd
	c.Env = append(os.Environ(), traceDrill+"="+d.Name, traceSeed+"="+strconv.FormatInt(seed, 10), traceHome+"="+home, traceBelow+"="+below, traceCard+"="+card)
	if b, err := c.CombinedOutput(); err != nil {
		if strings.Contains(string(b), "PTRACE") && os.Getenv("TWOBIN_TEST_ALL") != "1" {
			t.Skip("lacks the right to trace")
		}
		t.Fatalf("%v\n%s", err, b)
	}
	writes, onCard := 0, 0
	for _, call := range traced(t, out) {
		for _, p := range call.paths {
			switch {
			case within(p, filepath.Join(home, "drills")), within(p, below), p == home:
				writes++
			case card != "" && within(p, card):
				onCard++
			case call.changes() || !system(p, self, cwd):
				t.Errorf("outside the sandbox: %s: %s", p, call.line)
			}
		}
	}
	if writes < 50 || card != "" && onCard < 50 {
		t.Errorf("%d calls in the sandbox, %d on the card: the trace has not seen the drill", writes, onCard)
	}
}

// call is one traced system call with its file names, made absolute.
type call struct {
	name, line string
	paths      []string
}

// changes: the call makes, changes or removes something.
func (c call) changes() bool {
	switch c.name {
	case "open", "openat", "openat2":
		return strings.Contains(c.line, "O_CREAT") || strings.Contains(c.line, "O_WRONLY") || strings.Contains(c.line, "O_RDWR")
	case "stat", "lstat", "newfstatat", "statx", "readlink", "readlinkat", "access", "faccessat", "faccessat2", "statfs", "getcwd", "execve", "chdir":
		return false
	}
	return true
}

var (
	callRE = regexp.MustCompile(`^\d+ +([a-z0-9_]+)\(`)
	nameRE = regexp.MustCompile(`(?:(?:AT_FDCWD|\d+)<([^>]*)>, )?"((?:[^"\\]|\\.)*)"`)
)

// parseCall reads one line of a trace; false for lines without a file name.
func parseCall(line string) (call, bool) {
	m := callRE.FindStringSubmatch(line)
	if m == nil || m[1] == "execve" || m[1] == "getcwd" {
		return call{}, false
	}
	c := call{name: m[1], line: line}
	dir := ""
	for _, n := range nameRE.FindAllStringSubmatch(line, -1) {
		if n[1] != "" {
			dir = n[1]
		}
		p := n[2]
		if c.name == "readlink" || c.name == "readlinkat" { // the second string is what the link says
			if len(c.paths) > 0 {
				break
			}
		}
		if !filepath.IsAbs(p) {
			p = filepath.Join(dir, p)
		}
		c.paths = append(c.paths, filepath.Clean(p))
	}
	return c, len(c.paths) > 0
}

func traced(t *testing.T, file string) []call {
	t.Helper()
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var out []call
	sc := bufio.NewScanner(f)
	sc.Buffer(nil, 1<<20)
	for sc.Scan() {
		if c, ok := parseCall(sc.Text()); ok {
			out = append(out, c)
		}
	}
	if err := sc.Err(); err != nil {
		t.Fatal(err)
	}
	return out
}

func within(p, dir string) bool { return p == dir || strings.HasPrefix(p, dir+"/") }

// system are files that every Go program, its test and its loader read, and the folder names above the sandbox that
// are looked at when links in its own path are followed.
func system(p, self, cwd string) bool {
	if p == self || within(p, cwd) || p == "/dev/shm" || p == "/dev" || p == "/tmp" || p == "/" {
		return true
	}
	for _, d := range []string{"/proc", "/sys", "/etc", "/usr", "/lib", "/lib64", "/dev/null"} {
		if within(p, d) {
			return true
		}
	}
	return false
}

// The reader of traces sees what it has to see: a write elsewhere, through a folder's handle, and a plain look.
func TestParseCall(t *testing.T) {
	t.Parallel()
	cases := []struct {
		line    string
		path    string
		changes bool
	}{
		{`12 openat(AT_FDCWD</w>, "/home/x/clip", O_RDWR|O_CREAT, 0644) = 3</home/x/clip>`, "/home/x/clip", true},
		{`12 openat(7</s/drives>, "A001", O_RDONLY|O_CLOEXEC) = 8</s/drives/A001>`, "/s/drives/A001", false},
		{`12 unlinkat(7</s/card>, "../x", 0) = 0`, "/s/x", true},
		{`12 renameat2(7</s/a>, "b", 8</s/c>, "d", RENAME_NOREPLACE) = 0`, "/s/c/d", true},
		{`12 newfstatat(AT_FDCWD</w>, "/etc/localtime", {...}, 0) = 0`, "/etc/localtime", false},
	}
	for _, c := range cases {
		got, ok := parseCall(c.line)
		if !ok || got.paths[len(got.paths)-1] != c.path || got.changes() != c.changes {
			t.Errorf("parseCall(%s) = %+v, changes %v, want %s, %v", c.line, got, got.changes(), c.path, c.changes)
		}
	}
}
