package command_test

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

	"twobin/procedure"
	"twobin/procedure/sheet/harbour"
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
			// spoil OLD NEW FILES: the first OLD in every file becomes NEW, written in place.
			"spoil": func(ts *testscript.TestScript, _ bool, args []string) {
				if len(args) != 3 {
					ts.Fatalf("usage: spoil old new files")
				}
				hit, err := filepath.Glob(ts.MkAbs(args[2]))
				ts.Check(err)
				for _, name := range hit {
					was := ts.ReadFile(name)
					now := strings.Replace(was, args[0], args[1], 1)
					if now == was {
						ts.Fatalf("%s holds no %q", name, args[0])
					}
					f, err := os.OpenFile(name, os.O_WRONLY|os.O_TRUNC, 0)
					ts.Check(err)
					_, err = f.WriteString(now)
					ts.Check(errors.Join(err, f.Close()))
				}
				if len(hit) == 0 {
					ts.Fatalf("no file %s", args[2])
				}
			},
			// harbour: two invented days lie in the data folder, the first one closed.
			"harbour": func(ts *testscript.TestScript, _ bool, _ []string) {
				var days []*harbour.Day
				for n := 1; n <= 2; n++ {
					d := harbour.Begin(n, "cart", "Kim")
					d.SetUp("A", "blue", "B", "yellow")
					for k := 2*n - 1; k <= 2*n; k++ {
						d.Receive(procedure.MakeLabel("A", k))
						d.Walk(procedure.MakeLabel("A", k))
						d.Return(procedure.MakeLabel("A", k))
					}
					days = append(days, d)
				}
				days[0].Close()
				days[0].Add("", procedure.CodeRead{Right: true})
				ts.Check(harbour.Home(ts.Getenv("TWOBIN_HOME"), days, "day1.jsonl", "day2.jsonl"))
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
