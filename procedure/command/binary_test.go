package command_test

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
)

// need skips, or with TWOBIN_TEST_ALL=1 fails, when this machine lacks what a test asks for.
func need(tb testing.TB, lack string) {
	tb.Helper()
	if os.Getenv("TWOBIN_TEST_ALL") == "1" {
		tb.Fatalf("TWOBIN_TEST_ALL=1, but this machine lacks: %s", lack)
	}
	tb.Skipf("lacks: %s", lack)
}

func needTools(tb testing.TB, names ...string) {
	tb.Helper()
	for _, n := range names {
		if _, err := exec.LookPath(n); err != nil {
			need(tb, n)
		}
	}
}

func sh(tb testing.TB, name string, args ...string) string {
	tb.Helper()
	b, err := exec.Command(name, args...).CombinedOutput()
	if err != nil {
		tb.Fatalf("%s %s: %v\n%s", name, strings.Join(args, " "), err, b)
	}
	return strings.TrimSpace(string(b))
}

var built = struct {
	sync.Once
	path string
	err  error
}{}

// binary builds the program once for all tests of the package.
func binary(tb testing.TB) string {
	tb.Helper()
	built.Do(func() {
		dir, err := os.MkdirTemp("", "twobin-test-")
		if err != nil {
			built.err = err
			return
		}
		built.path = filepath.Join(dir, "twobin")
		b, err := exec.Command("go", "build", "-o", built.path, "twobin").CombinedOutput()
		if err != nil {
			built.err = fmt.Errorf("%w\n%s", err, b)
		}
	})
	if built.err != nil {
		tb.Fatal(built.err)
	}
	return built.path
}
