package world

import (
	"errors"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"twobin/training/drill"
)

// sandbox makes or takes up a sandbox.
func sandbox(t *testing.T, below, dir string, size int64) *World {
	t.Helper()
	d, _ := drill.Find(drill.FirstRoll)
	w, err := Open(t.Context(), Options{Plan: drill.NewPlan(d, 1), Below: below, Dir: dir, Size: size})
	if err != nil {
		t.Fatal(err)
	}
	return w
}

// killed is a sandbox as a killed process leaves it: everything is there, nobody has it locked.
func killed(t *testing.T, below string) string {
	t.Helper()
	w := sandbox(t, below, "", 77)
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return w.Dir()
}

// Only what a killed drill has left is swept: a sandbox with our marker, whole, that nobody has locked and that does not
// wait. Everything else below the folder stays, whatever its name.
func TestSweep(t *testing.T) {
	t.Parallel()
	below, err := filepath.EvalSymlinks(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	inUse := sandbox(t, below, "", 0)
	waiting := sandbox(t, below, "", 0)
	if err := errors.Join(waiting.waits(), waiting.Close()); err != nil {
		t.Fatal(err)
	}
	left := []string{killed(t, below), killed(t, below)}
	elsewhere := killed(t, t.TempDir())
	put := func(dir, name, text string) string {
		dir = filepath.Join(below, dir)
		if err := errors.Join(os.MkdirAll(dir, 0o755), os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644)); err != nil {
			t.Fatal(err)
		}
		return dir
	}
	whole := sandboxLine + "\n" + sandboxSize + "0\n"
	keep := []string{
		inUse.Dir(), waiting.Dir(), elsewhere,
		put(sandboxPrefix+"nomarker", "clip.mov", whole),
		put(sandboxPrefix+"othertext", SandboxName, "mine\n"),
		put(sandboxPrefix+"earlier", SandboxName, sandboxLine+"\n"), // by a version that locks nothing
		put(sandboxPrefix+"beingmade", SandboxName, ""),
		put("othername_"+sandboxPrefix, SandboxName, whole),
	}
	link := filepath.Join(below, sandboxPrefix+"link")
	deep := filepath.Join(below, sandboxPrefix+"deeplink")
	if err := errors.Join(os.Symlink(elsewhere, link), os.Mkdir(deep, 0o755), os.Symlink(filepath.Join(elsewhere, SandboxName), filepath.Join(deep, SandboxName)),
		os.Symlink(elsewhere, filepath.Join(left[0], "out"))); err != nil { // a link in a sandbox is removed, not followed
		t.Fatal(err)
	}
	keep = append(keep, link, deep)

	got, err := Sweep(below)
	slices.Sort(got)
	slices.Sort(left)
	if err != nil || !slices.Equal(got, left) {
		t.Errorf("Sweep = %q, %v, want %q", got, err, left)
	}
	for _, d := range left {
		if _, err := os.Lstat(d); !errors.Is(err, os.ErrNotExist) {
			t.Errorf("%s is still there: %v", d, err)
		}
	}
	for _, d := range keep {
		if _, err := os.Stat(d); err != nil {
			t.Errorf("it took what is not its own: %v", err)
		}
	}
	for _, f := range []string{elsewhere, inUse.Dir(), waiting.Dir()} {
		if _, err := os.Stat(filepath.Join(f, cardsDir, "card-000")); err != nil {
			t.Error(err)
		}
	}
	again := sandbox(t, below, waiting.Dir(), 0) // gone on with: now it is in use, and when that is killed, left behind
	if got, err := Sweep(below); len(got) != 0 || err != nil {
		t.Errorf("Sweep while one goes on = %q, %v", got, err)
	}
	if err := errors.Join(again.Close(), inUse.Remove()); err != nil {
		t.Error(err)
	}
	if got, err := Sweep(below); err != nil || !slices.Equal(got, []string{waiting.Dir()}) {
		t.Errorf("Sweep after it was killed = %q, %v, want %s", got, err, waiting.Dir())
	}
}

// A sandbox is used by one process, and says what size its cards were asked to have.
func TestSandboxIsLocked(t *testing.T) {
	t.Parallel()
	w := sandbox(t, t.TempDir(), "", 12345)
	if n, err := SizeOf(w.Dir()); n != 12345 || err != nil {
		t.Errorf("SizeOf = %d, %v", n, err)
	}
	d, _ := drill.Find(drill.FirstRoll)
	if _, err := Open(t.Context(), Options{Plan: drill.NewPlan(d, 1), Dir: w.Dir()}); !errors.Is(err, errInUse) {
		t.Errorf("a second time: %v", err)
	}
	if err := w.Remove(); err != nil {
		t.Error(err)
	}
	if n, err := SizeOf(t.TempDir()); err == nil {
		t.Errorf("SizeOf a plain folder = %d", n)
	}
}
