package media

import (
	"errors"
	"path/filepath"
	"testing"

	"twobin/guard"
)

// sleeper does not answer until it was asked often enough.
type sleeper struct{ asleep, asked int }

func (s *sleeper) Identify(path string) (guard.Volume, error) {
	if s.asked++; s.asked <= s.asleep {
		return guard.Volume{}, &guard.Error{Op: "identify", Item: path, Kind: guard.KindStalled, Err: errors.New("no answer within 3s")}
	}
	return guard.Volume{Mount: path, Disk: "sda"}, nil
}

// A drive that sleeps is waited for; one that never answers is told as such, and not as one that is not there.
func TestProbeWaitsForASleepingDrive(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		asleep int
		want   guard.Kind
	}{{0, 0}, {wakes - 1, 0}, {wakes, guard.KindStalled}} {
		s := &sleeper{asleep: c.asleep}
		v, err := New(Options{Ident: s}).Probe(t.Context(), t.TempDir())
		if kindOf(err) != c.want || (err == nil) != (v.Disk == "sda") {
			t.Errorf("asleep for %d questions: %+v, %v", c.asleep, v, err)
		}
	}
	if _, err := New(Options{Ident: &sleeper{}}).Probe(t.Context(), filepath.Join(t.TempDir(), "none")); kindOf(err) != guard.KindGone {
		t.Errorf("a folder that is not there: %v", err)
	}
}
