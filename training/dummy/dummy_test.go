package dummy

import (
	"crypto/sha256"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

// tree is what a folder holds: name to size, time and a hash of the contents.
func tree(t *testing.T, dir string) map[string]string {
	t.Helper()
	out := map[string]string{}
	err := filepath.WalkDir(dir, func(p string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := os.ReadFile(p)
		if err != nil {
			return err
		}
		st, err := d.Info()
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(dir, p)
		sum := sha256.Sum256(b)
		out[filepath.ToSlash(rel)] = st.ModTime().UTC().Format(time.RFC3339) + " " + string(sum[:])
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

var shot = time.Date(2031, 5, 6, 17, 0, 0, 0, time.UTC)

// Equal rolls give equal cards; another seed, label or shape gives another one.
func TestFillIsReproducible(t *testing.T) {
	t.Parallel()
	fill := func(r Roll) map[string]string {
		dir := t.TempDir()
		r.Shot = shot
		ws, err := Fill(t.Context(), dir, r)
		if err != nil {
			t.Fatal(err)
		}
		got := tree(t, dir)
		if len(ws) != len(got) || len(ws) < 2 {
			t.Fatalf("%d files reported, %d written", len(ws), len(got))
		}
		return got
	}
	for _, s := range Shapes() {
		base := Roll{Label: "A003", Shape: s, Seed: 7}
		want := fill(base)
		if diff := cmp.Diff(want, fill(base)); diff != "" {
			t.Errorf("%s: the same roll differs:\n%s", s, diff)
		}
		other := base
		other.Seed = 8
		if cmp.Equal(want, fill(other)) {
			t.Errorf("%s: another seed gives the same card", s)
		}
		for name := range want {
			if s != System && strings.HasPrefix(filepath.Base(name), ".") {
				t.Errorf("%s: hidden file %s", s, name)
			}
		}
	}
	hidden := false
	for name := range fill(Roll{Label: "A001", Shape: System, Seed: 1}) {
		hidden = hidden || strings.HasPrefix(name, ".")
	}
	if !hidden {
		t.Error("system: no hidden folder")
	}
}

// Sizes are about what was asked for.
func TestFillSize(t *testing.T) {
	t.Parallel()
	for _, s := range Shapes() {
		ws, err := Fill(t.Context(), t.TempDir(), Roll{Label: "A001", Shape: s, Size: 1 << 20})
		if err != nil {
			t.Fatal(err)
		}
		var n int64
		for _, w := range ws {
			n += w.Size
		}
		if n < 1<<20-2048 || n > 1<<20+2048 {
			t.Errorf("%s: %d bytes, want about %d", s, n, 1<<20)
		}
	}
}

// A card grows by new names; what was there stays as it was.
func TestGrow(t *testing.T) {
	t.Parallel()
	for _, s := range Shapes() {
		dir := t.TempDir()
		r := Roll{Label: "A001", Shape: s, Seed: 3, Shot: shot}
		if _, err := Fill(t.Context(), dir, r); err != nil {
			t.Fatal(err)
		}
		before := tree(t, dir)
		ws, err := Grow(t.Context(), dir, r)
		if err != nil || len(ws) == 0 {
			t.Fatalf("%s: grow: %v, %v", s, ws, err)
		}
		after := tree(t, dir)
		if len(after) != len(before)+len(ws) {
			t.Errorf("%s: %d files, want %d", s, len(after), len(before)+len(ws))
		}
		for name, was := range before {
			if after[name] != was {
				t.Errorf("%s: %s changed", s, name)
			}
		}
	}
}

// Prepare refuses whatever holds anything, be it hidden, and writes nothing then.
func TestPrepareRefuses(t *testing.T) {
	t.Parallel()
	r := Roll{Label: "A001", Shape: Clips}
	for _, name := range []string{"clip.mov", ".hidden", MarkerName, "folder/"} {
		dir := t.TempDir()
		path := filepath.Join(dir, name)
		var err error
		if strings.HasSuffix(name, "/") {
			err = os.Mkdir(path, 0o755)
		} else {
			err = os.WriteFile(path, []byte("x"), 0o644)
		}
		if err != nil {
			t.Fatal(err)
		}
		before := tree(t, dir)
		if _, err := Prepare(t.Context(), dir, r); !errors.Is(err, ErrNotEmpty) {
			t.Errorf("%s: error %v, want ErrNotEmpty", name, err)
		}
		if diff := cmp.Diff(before, tree(t, dir)); diff != "" {
			t.Errorf("%s: something was written:\n%s", name, diff)
		}
	}
	if _, err := Prepare(t.Context(), filepath.Join(t.TempDir(), "none"), r); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("no folder: %v", err)
	}
}

// Marked knows the marker that Prepare wrote, and nothing else.
func TestMarked(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	if _, err := Prepare(t.Context(), dir, Roll{Label: "A001", Shape: Clips, Seed: 1}); err != nil {
		t.Fatal(err)
	}
	if ok, err := Marked(dir); !ok || err != nil {
		t.Errorf("Marked = %v, %v, want true", ok, err)
	}
	for name, make := range map[string]func(string) error{
		"nothing":        func(string) error { return nil },
		"other text":     func(p string) error { return os.WriteFile(p, []byte("twobin practice card\n"), 0o644) },
		"a folder":       func(p string) error { return os.Mkdir(p, 0o755) },
		"link to a real": func(p string) error { return os.Symlink(filepath.Join(dir, MarkerName), p) },
	} {
		other := t.TempDir()
		if err := make(filepath.Join(other, MarkerName)); err != nil {
			t.Fatal(err)
		}
		if ok, err := Marked(other); ok || err != nil {
			t.Errorf("%s: Marked = %v, %v, want false", name, ok, err)
		}
	}
}

func TestParseShape(t *testing.T) {
	t.Parallel()
	for _, s := range Shapes() {
		if got, err := ParseShape(" " + strings.ToUpper(s.String())); got != s || err != nil {
			t.Errorf("ParseShape(%s) = %v, %v", s, got, err)
		}
	}
	if _, err := ParseShape("square"); err == nil {
		t.Error("ParseShape(square) has no error")
	}
}
