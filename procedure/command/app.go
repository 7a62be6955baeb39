// Package command is the command line's verbs of the procedure wing: shift, lock, journal, board, doctor, copy,
// recheck. A verb parses nothing itself (kong has filled its fields), builds the parts it needs, hands over, and says
// by an [Exit] how the process ends.
//
// Exit codes: 0 done; 1 something failed or does not match; 2 wrong usage or configuration; 3 the lock is closed or the
// shift cannot close. Errors go to stderr as one line; with --json, stdout has JSON only.
package command

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"time"

	charm "github.com/charmbracelet/log"

	"twobin/guard"
)

// Version is the program's version, as in hash lists and journals.
const Version = "0.1.0"

// Exit is an error that carries the process's exit code.
type Exit struct {
	Code int
	Err  error
}

// Error is the cause's text; an Exit without one has already said everything.
func (e *Exit) Error() string {
	if e.Err == nil {
		return ""
	}
	return e.Err.Error()
}

// Unwrap gives the cause.
func (e *Exit) Unwrap() error { return e.Err }

// The exit codes.
const (
	CodeFailed = 1
	CodeUsage  = 2
	CodeClosed = 3
)

// CodeOf is the exit code of an error: 0 for nil, 1 for an error that carries none.
func CodeOf(err error) int {
	var x *Exit
	switch {
	case err == nil:
		return 0
	case errors.As(err, &x):
		return x.Code
	}
	return CodeFailed
}

func usage(format string, a ...any) error {
	return &Exit{Code: CodeUsage, Err: fmt.Errorf(format, a...)}
}

// App is what every verb gets: streams, environment and clock.
type App struct {
	In       io.Reader
	Out, Err io.Writer
	Env      func(string) string
	Now      func() time.Time
}

// Common are flags that several verbs share.
type Common struct {
	Home   string `help:"Data folder (journals, proofs, log). Also TWOBIN_HOME." placeholder:"DIR"`
	Config string `help:"Policy file (TOML); it can only make rules stricter." placeholder:"FILE"`
}

// home is the data folder, made if it is not there.
func (c Common) home(a *App) (string, error) {
	h, err := c.where(a)
	if err != nil {
		return "", err
	}
	for _, sub := range []string{"journals", "proofs"} {
		if err := os.MkdirAll(filepath.Join(h, sub), 0o755); err != nil {
			return "", usage("--home: %w", err)
		}
	}
	return h, nil
}

// reading is the data folder for a verb that only reads: nothing is made, and that there is none is an error, unless the
// journal is named.
func (c Common) reading(a *App, journal string) (string, error) {
	h, err := c.where(a)
	if err != nil || journal != "" {
		return h, err
	}
	if _, err := os.Stat(filepath.Join(h, "journals")); errors.Is(err, fs.ErrNotExist) {
		return "", &Exit{Code: CodeFailed, Err: fmt.Errorf("there is no data folder %s; name another with --home, or begin one with: twobin shift", h)}
	}
	return h, nil
}

// where is the data folder, which need not be there.
func (c Common) where(a *App) (string, error) {
	h := c.Home
	if h == "" {
		h = a.Env("TWOBIN_HOME")
	}
	if h == "" {
		var err error
		if h, err = platformHome(a.Env); err != nil {
			return "", usage("--home: %w", err)
		}
	}
	h, err := filepath.Abs(h)
	if err != nil {
		return "", usage("--home: %w", err)
	}
	return h, nil
}

// platformHome is where the platform keeps a program's data.
func platformHome(env func(string) string) (string, error) {
	dir, err := os.UserHomeDir()
	switch runtime.GOOS {
	case "windows":
		if d := env("LocalAppData"); d != "" {
			return filepath.Join(d, "twobin"), nil
		}
	case "darwin":
		if err == nil {
			return filepath.Join(dir, "Library", "Application Support", "twobin"), nil
		}
	default:
		if d := env("XDG_DATA_HOME"); filepath.IsAbs(d) {
			return filepath.Join(d, "twobin"), nil
		}
		if err == nil {
			return filepath.Join(dir, ".local", "share", "twobin"), nil
		}
	}
	if err == nil {
		err = errors.New("no data folder is known here; name one")
	}
	return "", err
}

// policy reads the policy file, or gives the default.
func (c Common) policy() (guard.Policy, error) {
	if c.Config == "" {
		return guard.DefaultPolicy(), nil
	}
	f, err := os.Open(c.Config)
	if err != nil {
		return guard.Policy{}, usage("--config: %w", err)
	}
	defer f.Close() // only read
	p, err := guard.ReadPolicy(f)
	if err != nil {
		return guard.Policy{}, usage("--config %s: %w", c.Config, err)
	}
	return p, nil
}

// maxLog is the size in bytes at which the log begins anew; the old one is kept once.
const maxLog = 8 << 20

// logger opens the program's own log, which is for developers; the journal is the record. It goes to a file: a logger
// on a terminal would ask it questions and wait for answers.
func logger(home string) (*slog.Logger, io.Closer, error) {
	name := filepath.Join(home, "twobin.log")
	if st, err := os.Stat(name); err == nil && st.Size() > maxLog {
		if err := os.Rename(name, name+".1"); err != nil {
			return nil, nil, err
		}
	}
	f, err := os.OpenFile(name, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o644)
	if err != nil {
		return nil, nil, err
	}
	l := charm.NewWithOptions(f, charm.Options{ReportTimestamp: true, TimeFormat: time.RFC3339, Formatter: charm.LogfmtFormatter, Level: charm.DebugLevel})
	return slog.New(l), f, nil
}

// oneLine makes any error text one line.
func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }
