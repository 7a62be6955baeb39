package dummy

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

// marked prepares a practice card.
func marked(t *testing.T, s Shape) string {
	t.Helper()
	dir := t.TempDir()
	if _, err := Prepare(t.Context(), dir, Roll{Label: "A001", Shape: s, Seed: 1, Shot: shot}); err != nil {
		t.Fatal(err)
	}
	return dir
}

// source is a folder that a card is to play.
func source(t *testing.T, r Roll) string {
	t.Helper()
	dir := t.TempDir()
	r.Shot = shot
	if _, err := Fill(t.Context(), dir, r); err != nil {
		t.Fatal(err)
	}
	return dir
}

// without is a tree without the marker.
func without(t *testing.T, dir string) map[string]string {
	t.Helper()
	m := tree(t, dir)
	delete(m, MarkerName)
	return m
}

// A practice card plays one card after the other: bytes, names and times are theirs, the marker stays, and a card that
// is loaded already is not written to.
func TestLoad(t *testing.T) {
	t.Parallel()
	dir := marked(t, Frames)
	for _, s := range Shapes() {
		src := source(t, Roll{Label: "B002", Shape: s, Seed: 5})
		for n := range 2 {
			before := tree(t, dir)
			if err := Load(t.Context(), dir, src, "B002"); err != nil {
				t.Fatalf("%s: %v", s, err)
			}
			if diff := cmp.Diff(tree(t, src), without(t, dir)); diff != "" {
				t.Errorf("%s: card and source differ:\n%s", s, diff)
			}
			if n == 1 && !cmp.Equal(before, tree(t, dir)) {
				t.Errorf("%s: a loaded card was written to", s)
			}
			if err := Usable(dir); err != nil {
				t.Errorf("%s: %v", s, err)
			}
		}
		for name := range tree(t, src) {
			a, errA := os.Stat(filepath.Join(src, name))
			b, errB := os.Stat(filepath.Join(dir, name))
			if errA != nil || errB != nil || !a.ModTime().Equal(b.ModTime()) {
				t.Errorf("%s: times of %s differ: %v, %v", s, name, errA, errB)
			}
		}
	}
}

// A take that comes later does not change the marker: it is listed from the beginning.
func TestLoadLaterTake(t *testing.T) {
	t.Parallel()
	for _, s := range Shapes() {
		dir, r := marked(t, Clips), Roll{Label: "B002", Shape: s, Seed: 5, Shot: shot, Take: 4}
		src := source(t, Roll{Label: "B002", Shape: s, Seed: 5})
		if err := Load(t.Context(), dir, src, "B002", r); err != nil {
			t.Fatal(err)
		}
		before := tree(t, dir)[MarkerName]
		if _, err := Grow(t.Context(), src, r); err != nil {
			t.Fatal(err)
		}
		if err := Load(t.Context(), dir, src, "B002", r); err != nil {
			t.Fatal(err)
		}
		if tree(t, dir)[MarkerName] != before {
			t.Errorf("%s: the marker has changed", s)
		}
		if diff := cmp.Diff(tree(t, src), without(t, dir)); diff != "" {
			t.Errorf("%s: the take is not there:\n%s", s, diff)
		}
	}
}

// What is no practice card, or holds anything else, is refused, and nothing on it changes: a file more, a file that grew,
// a link, no marker, a marker without a whole list.
func TestLoadRefuses(t *testing.T) {
	t.Parallel()
	cases := []struct {
		name string
		do   func(dir string) error
		want error
	}{
		{"a file more", func(d string) error { return os.WriteFile(filepath.Join(d, "A009.mov"), []byte("x"), 0o644) }, ErrForeign},
		{"a hidden file more", func(d string) error { return os.WriteFile(filepath.Join(d, "CLIPS", ".x"), []byte("x"), 0o644) }, ErrForeign},
		{"a file that grew", func(d string) error {
			f, err := os.OpenFile(filepath.Join(d, "REPORT.txt"), os.O_APPEND|os.O_WRONLY, 0)
			if err != nil {
				return err
			}
			_, err = f.WriteString("more")
			return errors.Join(err, f.Close())
		}, ErrForeign},
		{"two files that are not whole", func(d string) error {
			clips, err := filepath.Glob(filepath.Join(d, "CLIPS", "*.mov"))
			if err != nil || len(clips) == 0 {
				return fmt.Errorf("clips: %v, %w", clips, err)
			}
			return errors.Join(os.Truncate(filepath.Join(d, "REPORT.txt"), 1), os.Truncate(clips[0], 1))
		}, ErrForeign},
		{"two files of other times", func(d string) error {
			clips, err := filepath.Glob(filepath.Join(d, "CLIPS", "*.mov"))
			if err != nil || len(clips) == 0 {
				return fmt.Errorf("clips: %v, %w", clips, err)
			}
			at := time.Date(2031, 5, 6, 9, 3, 20, 0, time.UTC)
			return errors.Join(os.Chtimes(filepath.Join(d, "REPORT.txt"), at, at), os.Chtimes(clips[0], at, at))
		}, ErrForeign},
		{"a link", func(d string) error {
			return os.Symlink(filepath.Join(d, "REPORT.txt"), filepath.Join(d, "CLIPS", "link"))
		}, ErrForeign},
		{"no marker", func(d string) error { return os.Remove(filepath.Join(d, MarkerName)) }, ErrNotMarked},
		{"a marker that was cut off", func(d string) error { return os.Truncate(filepath.Join(d, MarkerName), 400) }, ErrForeign},
		{"another first line", func(d string) error {
			return os.WriteFile(filepath.Join(d, MarkerName), []byte("a practice card\n"), 0o644)
		}, ErrNotMarked},
	}
	src := source(t, Roll{Label: "B002", Shape: Clips, Seed: 5})
	for _, c := range cases {
		dir := marked(t, Clips)
		if err := c.do(dir); err != nil {
			t.Fatal(err)
		}
		before := tree(t, dir)
		if err := Load(t.Context(), dir, src, "B002"); !errors.Is(err, c.want) {
			t.Errorf("%s: Load = %v, want %v", c.name, err, c.want)
		}
		if err := Usable(dir); !errors.Is(err, c.want) {
			t.Errorf("%s: Usable = %v, want %v", c.name, err, c.want)
		}
		if diff := cmp.Diff(before, tree(t, dir)); diff != "" {
			t.Errorf("%s: something was touched:\n%s", c.name, diff)
		}
	}
}

// What systems leave on a volume is neither foreign nor touched.
func TestLoadLeavesSystemFolders(t *testing.T) {
	t.Parallel()
	dir := marked(t, Clips)
	keep := filepath.Join(dir, ".fseventsd", "log")
	if err := errors.Join(os.Mkdir(filepath.Dir(keep), 0o755), os.WriteFile(keep, []byte("x"), 0o644)); err != nil {
		t.Fatal(err)
	}
	if err := Load(t.Context(), dir, source(t, Roll{Label: "B002", Shape: LongTake, Seed: 5}), "B002"); err != nil {
		t.Error(err)
	}
	if _, err := os.Stat(keep); err != nil {
		t.Error(err)
	}
}

// Loading that was cut off can be done again: files that are not whole are ours still.
func TestLoadAfterACut(t *testing.T) {
	t.Parallel()
	dir := marked(t, Clips)
	if err := os.Truncate(filepath.Join(dir, "REPORT.txt"), 1); err != nil {
		t.Fatal(err)
	}
	src := source(t, Roll{Label: "A001", Shape: Clips, Seed: 1})
	if err := Load(t.Context(), dir, src, "A001"); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(tree(t, src), without(t, dir)); diff != "" {
		t.Errorf("card and source differ:\n%s", diff)
	}
}

// After an erase the marker comes back, for what is left; a card that got something else meanwhile is left alone.
func TestRemark(t *testing.T) {
	t.Parallel()
	src := source(t, Roll{Label: "A001", Shape: Clips, Seed: 1})
	erase := func(t *testing.T, leave string) string {
		dir := marked(t, Clips)
		for name := range tree(t, dir) {
			if name == leave {
				continue
			}
			if err := os.Remove(filepath.Join(dir, name)); err != nil {
				t.Fatal(err)
			}
		}
		return dir
	}
	for _, leave := range []string{"", "REPORT.txt"} {
		dir := erase(t, leave)
		if err := Remark(dir, src, "A001"); err != nil {
			t.Fatal(err)
		}
		if err := Usable(dir); err != nil {
			t.Errorf("leaving %q: %v", leave, err)
		}
		text, err := os.ReadFile(filepath.Join(dir, MarkerName))
		if err != nil || !strings.HasPrefix(string(text), markerLine) || strings.Contains(string(text), "REPORT.txt") != (leave != "") {
			t.Errorf("leaving %q the marker is %q, %v", leave, text, err)
		}
	}
	dir := erase(t, "")
	if err := os.WriteFile(filepath.Join(dir, "new.mov"), []byte("footage"), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := Remark(dir, src, "A001"); !errors.Is(err, ErrForeign) {
		t.Errorf("Remark of a card with something new = %v", err)
	}
	if ok, err := Marked(dir); ok || err != nil {
		t.Errorf("it was marked: %v, %v", ok, err)
	}
}
