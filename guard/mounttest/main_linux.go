package mounttest

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"slices"
	"strings"
	"syscall"
	"testing"
)

// Main runs the tests of root in a mount table of their own (unshare(2)) and ends the process; others it runs as they
// are. It is called by TestMain.
func Main(m *testing.M) {
	const mark = "TWOBIN_TEST_OWN_MOUNTS"
	if os.Getenv(mark) != "" {
		letGo()
	}
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

// letGo detaches, in this table only, what other tests had mounted when it was copied from theirs: a volume that is
// mounted here too would stay in use after they unmount it.
func letGo() {
	table, err := os.ReadFile("/proc/self/mountinfo")
	if err != nil {
		return // then there is nothing to let go of either
	}
	lines := strings.Split(string(table), "\n")
	for _, l := range slices.Backward(lines) {
		const point = 4 // field of the mount point, see proc_pid_mountinfo(5)
		f := strings.Fields(l)
		if len(f) > point && (strings.HasPrefix(f[point], os.TempDir()+"/") || strings.HasPrefix(f[point], "/dev/shm/")) {
			_ = syscall.Unmount(f[point], syscall.MNT_DETACH) // gone meanwhile: as good
		}
	}
}
