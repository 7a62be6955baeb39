package command_test

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

// Every command as a person types it: standard output, standard error whole, exit code, and what is not on disk after a
// refusal. The scripts are under testdata.
func TestScripts(t *testing.T) {
	t.Parallel()
	bin := filepath.Dir(binary(t))
	testscript.Run(t, testscript.Params{
		Dir: "testdata", RequireExplicitExec: true, RequireUniqueNames: true,
		Setup: func(e *testscript.Env) error {
			e.Setenv("PATH", bin+string(os.PathListSeparator)+e.Getenv("PATH"))
			e.Setenv("HOME", e.WorkDir)
			e.Setenv("TWOBIN_HOME", filepath.Join(e.WorkDir, "data"))
			return nil
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			// code N CMD…: the exit code is N.
			"code": func(ts *testscript.TestScript, _ bool, args []string) {
				if len(args) < 2 {
					ts.Fatalf("usage: code N command…")
				}
				err := ts.Exec(args[1], args[2:]...)
				got := "0"
				if err != nil {
					got = exitCode(err)
				}
				if got != args[0] {
					ts.Fatalf("exit code %s, want %s", got, args[0])
				}
			},
		},
	})
}

func exitCode(err error) string {
	var x *exec.ExitError
	if errors.As(err, &x) {
		return strconv.Itoa(x.ExitCode())
	}
	return err.Error()
}
