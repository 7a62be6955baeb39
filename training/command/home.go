package command

import (
	"fmt"
	"os"
	"path/filepath"
	"runtime"

	"twobin/procedure/command"
)

// dataHome is the data folder, as the verbs of the procedure wing have it: the flag, TWOBIN_HOME, or the platform's own.
func dataHome(flag string, a *command.App) (string, error) {
	h := flag
	if h == "" {
		h = a.Env("TWOBIN_HOME")
	}
	if h == "" {
		dir, err := os.UserHomeDir()
		switch xdg, local := a.Env("XDG_DATA_HOME"), a.Env("LocalAppData"); {
		case runtime.GOOS == "windows" && local != "":
			h = filepath.Join(local, "twobin")
		case runtime.GOOS != "windows" && runtime.GOOS != "darwin" && filepath.IsAbs(xdg):
			h = filepath.Join(xdg, "twobin")
		case err != nil:
			return "", &command.Exit{Code: command.CodeUsage, Err: fmt.Errorf("--home: no data folder is known here; name one: %w", err)}
		case runtime.GOOS == "darwin":
			h = filepath.Join(dir, "Library", "Application Support", "twobin")
		default:
			h = filepath.Join(dir, ".local", "share", "twobin")
		}
	}
	h, err := filepath.Abs(h)
	if err != nil {
		return "", &command.Exit{Code: command.CodeUsage, Err: fmt.Errorf("--home: %w", err)}
	}
	return h, nil
}
