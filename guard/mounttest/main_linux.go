package mounttest

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"syscall"
	"testing"
)

// Main runs the tests of root in a mount table of their own (unshare(2)) and ends the process; others it runs as they
// are. It is called by TestMain.
func Main(m *testing.M) {
	const mark = "TWOBIN_TEST_OWN_MOUNTS"
	if os.Geteuid() != 0 || os.Getenv(mark) != "" {
		os.Exit(m.Run())
	}
	c := exec.Command("/proc/self/exe", os.Args[1:]...)
	c.Stdin, c.Stdout, c.Stderr = os.Stdin, os.Stdout, os.Stderr
	c.Env = append(os.Environ(), mark+"=1")
	c.SysProcAttr = &syscall.SysProcAttr{Unshareflags: syscall.CLONE_NEWNS, Pdeathsig: syscall.SIGKILL}
	err := c.Run()
	var exit *exec.ExitError
	switch {
	case errors.As(err, &exit):
		os.Exit(max(exit.ExitCode(), 1))
	case errors.Is(err, syscall.EPERM): // root without the right to mount, as in many containers
		os.Exit(m.Run())
	case err != nil:
		fmt.Fprintln(os.Stderr, "run in a mount table of its own:", err)
		os.Exit(1)
	}
	os.Exit(0)
}
