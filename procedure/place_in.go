package procedure

import (
	"path/filepath"
	"strings"
)

// LiesIn says whether path is dir or lies below it, whatever links lead there. Neither has to exist; both are absolute.
func LiesIn(path, dir string) bool { return within(resolved(path), resolved(dir)) }

func within(p, dir string) bool {
	rel, err := filepath.Rel(dir, p)
	return err == nil && rel != ".." && !strings.HasPrefix(rel, ".."+string(filepath.Separator))
}

// resolved follows the links of as much of a path as is there.
func resolved(p string) string {
	p = filepath.Clean(p)
	if real, err := filepath.EvalSymlinks(p); err == nil {
		return real
	}
	up := filepath.Dir(p)
	if up == p {
		return p
	}
	return filepath.Join(resolved(up), filepath.Base(p))
}
