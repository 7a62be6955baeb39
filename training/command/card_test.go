package command

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"twobin/guard"
)

// mounts identifies by the longest mount point that a path is below.
type mounts []string

func (ms mounts) Identify(path string) (guard.Volume, error) {
	v := guard.Volume{Mount: "/"}
	for _, m := range ms {
		if (path == m || strings.HasPrefix(path, m+string(os.PathSeparator))) && len(m) > len(v.Mount) {
			v.Mount = m
		}
	}
	return v, nil
}

// TestWholeVolume: an empty folder on a card is no practice card: the card may hold footage beside it.
func TestWholeVolume(t *testing.T) {
	t.Parallel()
	dir, err := filepath.EvalSymlinks(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	card := filepath.Join(dir, "card")
	empty := filepath.Join(card, "empty")
	if err := os.MkdirAll(empty, 0o755); err != nil {
		t.Fatal(err)
	}
	link := filepath.Join(dir, "link")
	if err := os.Symlink(empty, link); err != nil {
		t.Skip("no links here: ", err)
	}
	for path, ok := range map[string]bool{card: true, empty: false, link: false, dir: true, filepath.Join(dir, "gone"): false} {
		if err := wholeVolume(mounts{card}, path); (err == nil) != ok {
			t.Errorf("%s: %v, want it taken: %v", path, err, ok)
		}
	}
}
