package command

import (
	"bufio"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"twobin/training/drill"
)

// need skips, or with TWOBIN_TEST_ALL=1 fails, when this machine lacks what a test asks for.
func need(tb testing.TB, lack string) {
	tb.Helper()
	if os.Getenv("TWOBIN_TEST_ALL") == "1" {
		tb.Fatalf("TWOBIN_TEST_ALL=1, but this machine lacks: %s", lack)
	}
	tb.Skipf("lacks: %s", lack)
}

// Invariant 9, for the real program: a drill makes, changes and removes nothing but what lies in <home>/drills and in its
// sandbox, reads nothing else but files of the system, and no file of a volume that is mounted beside it. Shown by
// tracing every system call with a file name, with strace (a general tool), from the program's first call to its last.
func TestInvariant9TheProgramStaysInItsSandbox(t *testing.T) {
	t.Parallel()
	for _, tool := range []string{"strace", "unshare", "mount"} {
		if _, err := exec.LookPath(tool); err != nil {
			need(t, tool)
		}
	}
	if os.Geteuid() != 0 {
		need(t, "root, to mount a volume beside the drill")
	}
	if testing.Short() {
		t.Skip("plays a whole drill at its own pace: not in -short")
	}
	t.Run("show", func(t *testing.T) {
		t.Parallel()
		s := newStation(t)
		out := s.traced(0, &hands{}, "practice", drill.FirstRoll, "--show", "--speed", "200", "--plain")
		s.stays(out, 100)
	})
	t.Run(powerCut, func(t *testing.T) {
		t.Parallel()
		s, p := newStation(t), cutting(t)
		out := s.traced(1, &hands{}, "practice", powerCut, "--trainee", "Kim O'Hara", "--seed", strconv.FormatInt(p.Seed, 10), "--plain")
		s.stays(out, 100)
		out = s.traced(0, &hands{}, "practice", "--trainee", "Kim O'Hara", "--plain")
		s.stays(out, 100)
		if b := s.runs(); len(b) != 1 || b[0].Outcome != drill.Passed.String() {
			t.Errorf("the drill was not passed: %d runs", len(b))
		}
		s.nothingLeft()
	})
}

// besideIt mounts a volume with footage in a mount table that ends with the command.
const besideIt = `mount -t tmpfs volume "$0" && mkdir "$0/DCIM" && echo footage > "$0/DCIM/A001C001.mov" && exec "$@"`

// traced runs the program under strace, with a volume mounted beside it, and gives the trace.
func (s *station) traced(code int, h *hands, args ...string) string {
	s.tb.Helper()
	out := filepath.Join(scratch(s.tb), "trace")
	if err := os.MkdirAll(s.volume(), 0o755); err != nil {
		s.tb.Fatal(err)
	}
	head := []string{"-m", "sh", "-c", besideIt, s.volume(), "strace", "-f", "-y", "-qq", "-s", "4096", "-e", "trace=%file", "-o", out, binary(s.tb)}
	c := s.command("unshare", append(head, args...)...)
	c.Env = append(c.Env, "PATH=/usr/bin:/bin") // what is looked for along it lies in the system's folders
	e := s.through(c, h)
	if strings.Contains(e.err, "PTRACE") || strings.Contains(e.err, "unshare") {
		need(s.tb, "the right to trace and to mount")
	}
	if e.code != code || e.err != "" {
		s.tb.Fatalf("code %d, %q on the error stream\n%s", e.code, e.err, e.out)
	}
	return out
}

// volume is where the volume beside the drill is mounted.
func (s *station) volume() string { return filepath.Join(filepath.Dir(s.home), "VOLUME") }

// stays reports every call of a trace that leaves the sandbox. least is how many calls in it there have to be.
func (s *station) stays(trace string, least int) {
	s.tb.Helper()
	f, err := os.Open(trace)
	if err != nil {
		s.tb.Fatal(err)
	}
	defer f.Close()
	inside, programs := 0, 0
	sc := bufio.NewScanner(f)
	sc.Buffer(nil, 1<<20)
	for sc.Scan() {
		c := parseCall(sc.Text())
		if c.name == "execve" {
			programs++
			continue
		}
		for _, p := range c.paths {
			switch {
			case s.inside(p):
				inside++
			case c.does == changes, c.does == opens && !s.read(p), c.does == looks && !s.seen(p):
				s.tb.Errorf("outside the sandbox: %s: %s", p, sc.Text())
			}
		}
	}
	if err := sc.Err(); err != nil {
		s.tb.Fatal(err)
	}
	if inside < least || programs != 1 {
		s.tb.Errorf("%d calls inside the sandbox, %d programs started: the trace has not seen one drill", inside, programs)
	}
}

func within(p, dir string) bool {
	return p == dir || strings.HasPrefix(p, strings.TrimSuffix(dir, "/")+"/")
}

// inside: the drills' own folders.
func (s *station) inside(p string) bool {
	rest, below := strings.CutPrefix(p, s.temp+"/")
	return within(p, filepath.Join(s.home, "drills")) || below && strings.HasPrefix(rest, "twobin_drill_")
}

// read: what the program and its loader may read besides. The folder for temporary files is listed, for sandboxes that
// were left there; a device's node is asked what it is.
func (s *station) read(p string) bool {
	if p == s.temp || p == binary(s.tb) {
		return true
	}
	if within(p, "/dev/shm") {
		return false
	}
	return slices.ContainsFunc([]string{"/proc", "/sys", "/etc", "/usr", "/lib", "/lib64", "/dev"}, func(d string) bool { return within(p, d) })
}

// seen: what may be looked at by its name, without being opened: also the folders above, where links in a path are
// followed, the top of a volume, and programs along PATH.
func (s *station) seen(p string) bool {
	for _, own := range []string{s.home, s.temp, s.volume()} {
		if within(own, p) {
			return true
		}
	}
	return s.read(p) || within(p, "/bin")
}

// deed is what a call does with a file.
type deed int

const (
	changes deed = iota // makes, changes or removes it: whatever is not known to do less
	opens               // for reading, or lists it
	looks               // only at its name, kind, size and times
	asks                // only which file system is there
)

// fileCall is one traced system call with its file names, made absolute.
type fileCall struct {
	name  string
	does  deed
	paths []string
}

var (
	callRE = regexp.MustCompile(`^\d+ +(<\.\.\. )?([a-z0-9_]+)[( ]`)
	fileRE = regexp.MustCompile(`(?:(?:AT_FDCWD|\d+)<([^>]*)>, )?"((?:[^"\\]|\\.)*)"`)
	gaveRE = regexp.MustCompile(`= \d+<(/[^>]*)>$`)
	makeRE = regexp.MustCompile(`O_WRONLY|O_RDWR|O_CREAT|O_TRUNC|O_TMPFILE`)
)

// parseCall reads one line of a trace. A call that was interrupted has two: the first has the names, the second the
// file that was opened.
func parseCall(line string) fileCall {
	m := callRE.FindStringSubmatch(line)
	if m == nil {
		return fileCall{}
	}
	c := fileCall{name: m[2]}
	switch c.name {
	case "open", "openat", "openat2":
		if !makeRE.MatchString(line) {
			c.does = opens
		}
		if g := gaveRE.FindStringSubmatch(line); g != nil { // where links have led
			c.paths = append(c.paths, strings.TrimSuffix(g[1], " (deleted)"))
		}
	case "stat", "lstat", "newfstatat", "statx", "readlink", "readlinkat", "access", "faccessat", "faccessat2", "getcwd":
		c.does = looks
	case "statfs":
		c.does = asks
	}
	if m[1] != "" {
		return c
	}
	dir := ""
	for n, f := range fileRE.FindAllStringSubmatch(line, -1) {
		if n > 0 && c.does == looks {
			break // what a link says
		}
		if f[1] != "" {
			dir = f[1]
		}
		p := f[2]
		if !filepath.IsAbs(p) {
			p = filepath.Join(dir, p)
		}
		c.paths = append(c.paths, filepath.Clean(p))
	}
	return c
}

// The reader of traces sees what it has to see: a write elsewhere, through a folder's handle, out of the sandbox by dots or
// by a link, and a plain look.
func TestParseCall(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		line, path string
		does       deed
	}{
		{`12 openat(AT_FDCWD</w>, "/home/x/clip", O_RDWR|O_CREAT, 0644) = 3</home/x/clip>`, "/home/x/clip", changes},
		{`12 openat(AT_FDCWD</w>, "/s/link", O_RDONLY|O_CLOEXEC) = 3</home/x/clip>`, "/home/x/clip", opens},
		{`12 openat2(7</s/drives>, "A001", {flags=O_RDONLY|O_CREAT, mode=0644}, 24 <unfinished ...>`, "/s/drives/A001", changes},
		{`12 <... openat2 resumed>) = 12</home/x/clip>`, "/home/x/clip", opens},
		{`12 unlinkat(7</s/card>, "../x", 0) = 0`, "/s/x", changes},
		{`12 renameat2(7</s/a>, "b", 8</s/c>, "d", RENAME_NOREPLACE) = 0`, "/s/c/d", changes},
		{`12 utimensat(7</s/a>, "b", [UTIME_OMIT], 0) = 0`, "/s/a/b", changes},
		{`12 newfstatat(AT_FDCWD</w>, "/etc/localtime", {...}, 0) = 0`, "/etc/localtime", looks},
		{`12 readlinkat(AT_FDCWD</w>, "/sys/block/a", "../devices/b", 128) = 12`, "/sys/block/a", looks},
		{`12 statfs("/image", 0x1) = -1 ENOENT`, "/image", asks},
	} {
		got := parseCall(c.line)
		if !slices.Contains(got.paths, c.path) || got.does != c.does {
			t.Errorf("parseCall(%s) = %+v, want %s, %d", c.line, got, c.path, c.does)
		}
	}
}
