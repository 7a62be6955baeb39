//go:build torture

// Package torture runs the tests that turn the invariants into numbers, one after the other, and prints every figure at
// the end:
//
//	go test -tags torture -timeout 30m -v ./testdata/torture
//
// It takes at most 20 minutes on two cores; what does not fit is run as a share, and the report says so. On a slower
// machine the parts that would begin after 15 minutes are run short.
// TWOBIN_TORTURE=full runs everything at its full size (hours; raise -timeout), TWOBIN_TORTURE=short a little of each.
// TWOBIN_TORTURE_ONLY=TEXT runs only the parts whose name contains TEXT. It writes nothing but temporary files.
package torture

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
)

// figureLine is how a test says a figure: "figure: name = 12".
var figureLine = regexp.MustCompile(`figure: (.+?) = (\d+)`)

// row is one line of the report.
type row struct {
	figure  string
	reached int64
	there   bool
	want    want
	failed  bool
	full    bool // the part ran at its full size
}

// verdict says what to make of a row. A share is fine where a share was wanted: what was tried held.
func (r row) verdict() string {
	switch {
	case r.failed:
		return "NOT OK"
	case !r.there:
		return "NOT OK: no figure"
	case r.want.atMost && r.reached > r.want.n:
		return "NOT OK: too much"
	case !r.want.atMost && r.reached == 0:
		return "NOT OK: nothing was tried"
	case !r.want.atMost && r.reached < r.want.n && r.full:
		return "NOT OK: too few"
	case !r.want.atMost && r.reached < r.want.n:
		return "ok, a share"
	}
	return "ok"
}

// play runs one part and gives its figures. Its output is shown when it fails.
func play(t *testing.T, p part, size int) (map[string]int64, bool) {
	t.Helper()
	args := []string{"test", "-count=1", "-v", "-timeout", "300m", "-run", p.run}
	args = append(args, p.args...)
	if p.fuzz != "" {
		args = []string{"test", "-run", "^$", "-fuzz", "^" + p.fuzz + "$", "-fuzztime", strconv.Itoa(p.sizes[size]) + "s", "-fuzzminimizetime", "10x", "-parallel", "2"}
	}
	cmd := exec.Command("go", append(args, p.pkg)...)
	cmd.Dir = "../.."
	cmd.Env = append(os.Environ(), "TWOBIN_TEST_ALL=1")
	if p.env != "" {
		cmd.Env = append(cmd.Env, p.env+"="+strconv.Itoa(p.sizes[size]))
	}
	began := time.Now()
	out, err := cmd.CombinedOutput()
	figures := map[string]int64{}
	for s := bufio.NewScanner(bytes.NewReader(out)); s.Scan(); {
		if m := figureLine.FindStringSubmatch(s.Text()); m != nil {
			n, err := strconv.ParseInt(m[2], 10, 64)
			if err != nil {
				t.Errorf("%s: %v", p.name, err)
			}
			figures[m[1]] += n
		}
	}
	if p.fuzz != "" && endedInWork(out) {
		err = nil
	}
	if p.fuzz != "" && err == nil {
		figures[p.figures[0].name] = int64(p.sizes[size])
	}
	if bytes.Contains(out, []byte("no tests to run")) {
		err = errors.New("its tests are gone")
	}
	t.Logf("%s: %v, error %v", p.name, time.Since(began).Round(time.Second), err)
	if err != nil {
		t.Errorf("%s\n%s", strings.Join(cmd.Args, " "), tail(string(out), 60))
	}
	return figures, err == nil
}

// endedInWork says that fuzzing failed by nothing else than that its time was over while an input was tried: Go calls that
// a failure, and writes no input then.
func endedInWork(out []byte) bool {
	return bytes.Contains(out, []byte("\n    context deadline exceeded\nFAIL\n")) && !bytes.Contains(out, []byte("Failing input"))
}

// tail is the last n lines of a text.
func tail(s string, n int) string {
	ls := strings.Split(s, "\n")
	return strings.Join(ls[max(0, len(ls)-n):], "\n")
}

// middle is the size that fits into 20 minutes, full what DEVELOPERS.md lists.
const (
	middle = 1
	full   = 2
)

// TestTorture runs every part and prints the report.
func TestTorture(t *testing.T) {
	size := slices.Index([]string{"short", "", "full"}, os.Getenv("TWOBIN_TORTURE"))
	if size < 0 {
		t.Fatal("TWOBIN_TORTURE is empty, short or full")
	}
	began := time.Now()
	var rows []row
	for _, p := range parts() {
		if !strings.Contains(p.name, os.Getenv("TWOBIN_TORTURE_ONLY")) {
			continue
		}
		now := size
		if size == middle && time.Since(began) > 15*time.Minute {
			now = 0
		}
		figures, ok := play(t, p, now)
		for _, w := range p.figures {
			n, there := figures[w.name]
			rows = append(rows, row{figure: w.name, reached: n, there: there, want: w, failed: !ok, full: now == full})
		}
	}
	report := &strings.Builder{}
	fmt.Fprintf(report, "\n%-62s %12s %14s  %s\n", "figure", "reached", "full size", "verdict")
	for _, r := range rows {
		whole := strconv.FormatInt(r.want.n, 10)
		if r.want.atMost {
			whole = "at most " + whole
		}
		fmt.Fprintf(report, "%-62s %12d %14s  %s\n", r.figure, r.reached, whole, r.verdict())
		if strings.HasPrefix(r.verdict(), "NOT OK") {
			t.Errorf("%s: %s", r.figure, r.verdict())
		}
	}
	fmt.Fprintf(report, "%v in all. Full sizes one by one: DEVELOPERS.md.\n", time.Since(began).Round(time.Second))
	fmt.Println(report)
}

// fuzzFunc is where a fuzz target begins.
var fuzzFunc = regexp.MustCompile(`(?m)^func (Fuzz\w+)\(`)

// TestEveryFuzzTargetHasItsPart: none that stands anywhere in the repository is left out, none is listed that is gone.
func TestEveryFuzzTargetHasItsPart(t *testing.T) {
	listed := map[string]bool{}
	for _, p := range fuzzParts() {
		listed[p.pkg+" "+p.fuzz] = true
	}
	root := os.DirFS("../..")
	err := fs.WalkDir(root, ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, "_test.go") {
			return err
		}
		data, err := fs.ReadFile(root, path)
		for _, m := range fuzzFunc.FindAllSubmatch(data, -1) {
			name := "./" + strings.TrimSuffix(path, "/"+filepath.Base(path)) + " " + string(m[1])
			if !listed[name] {
				t.Errorf("%s is in no part", name)
			}
			delete(listed, name)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	for name := range listed {
		t.Errorf("%s is in a part, and nowhere else", name)
	}
}

// TestEndedInWork: only what failed by the end of its time is forgiven, never a finding.
func TestEndedInWork(t *testing.T) {
	const end = "fuzz: elapsed: 2s\n--- FAIL: FuzzX (2.23s)\n    context deadline exceeded\nFAIL\nexit status 1\n"
	for out, want := range map[string]bool{
		end: true, "PASS\nok\n": false, "--- FAIL: FuzzX (0.02s)\n    x_test.go:9: wrong\n    Failing input written to testdata\nFAIL\n": false,
		"--- FAIL: FuzzX (0.02s)\n    Failing input written to testdata\n" + end: false, "context deadline exceeded\nFAIL\n": false,
	} {
		if got := endedInWork([]byte(out)); got != want {
			t.Errorf("%q: %t", out, got)
		}
	}
}

// TestVerdict: a share is fine only where a share was run, and a part without a figure or a try never is.
func TestVerdict(t *testing.T) {
	for _, c := range []struct {
		row  row
		want string
	}{
		{row{reached: 10, there: true, want: want{n: 10}, full: true}, "ok"},
		{row{reached: 9, there: true, want: want{n: 10}}, "ok, a share"},
		{row{reached: 9, there: true, want: want{n: 10}, full: true}, "NOT OK: too few"},
		{row{there: true, want: want{n: 10}}, "NOT OK: nothing was tried"},
		{row{want: want{n: 10}}, "NOT OK: no figure"},
		{row{want: want{atMost: true}}, "NOT OK: no figure"},
		{row{there: true, want: want{atMost: true}, full: true}, "ok"},
		{row{reached: 1, there: true, want: want{atMost: true}}, "NOT OK: too much"},
		{row{reached: 10, there: true, want: want{n: 10}, failed: true}, "NOT OK"},
	} {
		if got := c.row.verdict(); got != c.want {
			t.Errorf("%+v: %q, want %q", c.row, got, c.want)
		}
	}
}
