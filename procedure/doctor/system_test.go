package doctor

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// The real machine: what is made for the trial is gone afterwards, and nothing is written to a destination.
func TestSystemLeavesNothing(t *testing.T) {
	d := t.TempDir()
	to := filepath.Join(d, "drive")
	if err := os.Mkdir(to, 0o755); err != nil {
		t.Fatal(err)
	}
	before, err := os.Stat(to)
	if err != nil {
		t.Fatal(err)
	}
	home := filepath.Join(d, "not", "yet", "there")
	null, err := os.Open(os.DevNull)
	if err != nil {
		t.Fatal(err)
	}
	defer null.Close()
	r := Check(t.Context(), System(Options{Home: home, To: []string{to, filepath.Join(d, "missing")}, In: null, Out: null}))
	marks := map[string]Line{}
	for _, l := range r.Lines {
		marks[l.Subject] = l
	}
	if l := marks["data folder"]; l.Mark == Stop || !strings.Contains(l.Seen, "not there yet") && !strings.Contains(l.Seen, "memory") {
		t.Errorf("%+v, want a folder that can be made", l)
	}
	if l := marks["volumes"]; l.Mark != Fine {
		t.Errorf("%+v, want fine", l)
	}
	if l := marks["terminal"]; l.Mark != Look {
		t.Errorf("%+v, want look: there is none", l)
	}
	if l := marks["drive 1"]; l.Mark == Stop {
		t.Errorf("%+v, want no stop", l)
	}
	if l := marks["drive 2"]; l.Mark != Stop || !strings.Contains(l.Seen, "not there") {
		t.Errorf("%+v, want stop: it is not there", l)
	}
	if _, err := os.Stat(filepath.Join(d, "not")); !os.IsNotExist(err) {
		t.Errorf("the data folder made for the trial is still there: %v", err)
	}
	after, err := os.Stat(to)
	if err != nil || !after.ModTime().Equal(before.ModTime()) {
		t.Errorf("the destination was written to: %v, was %v (%v)", after.ModTime(), before.ModTime(), err)
	}
}

// A data folder that exists stays, with what it holds.
func TestTryKeepsAnExistingFolder(t *testing.T) {
	home := t.TempDir()
	keep := filepath.Join(home, "journal")
	if err := os.WriteFile(keep, []byte("x"), 0o600); err != nil {
		t.Fatal(err)
	}
	env := System(Options{Home: home})
	trial := env.Try(t.Context(), home)
	if trial.Missing || trial.Write != nil || trial.Flush != nil || trial.Reading != nil {
		t.Errorf("Try = %+v, want a folder that was there and works", trial)
	}
	left, err := os.ReadDir(home)
	if err != nil || len(left) != 1 || left[0].Name() != "journal" {
		t.Errorf("left in the folder: %v, %v, want the journal only", left, err)
	}
}

// A data folder below a file cannot be made; nothing else is touched.
func TestTryBelowAFile(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	trial := System(Options{}).Try(t.Context(), filepath.Join(file, "a", "b"))
	if trial.Write == nil {
		t.Errorf("Try = %+v, want an error", trial)
	}
}
