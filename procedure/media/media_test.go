package media

import (
	"errors"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"twobin/guard"
	"twobin/guard/device"
	"twobin/procedure"
)

// sleeper does not answer until it was asked often enough.
type sleeper struct {
	asleep, asked int
	id            string
}

func (s *sleeper) Identify(path string) (guard.Volume, error) {
	if s.asked++; s.asked <= s.asleep {
		return guard.Volume{}, &guard.Error{Op: "identify", Item: path, Kind: guard.KindStalled, Err: errors.New("no answer within 3s")}
	}
	return guard.Volume{ID: s.id, Mount: path, Disk: "sda"}, nil
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

// A run that is killed while it probes leaves an empty file: the next probe takes it away, and nothing that has bytes.
func TestProbeTakesAwayWhatAKilledOneLeft(t *testing.T) {
	t.Parallel()
	for _, left := range []string{"", "bytes"} {
		dir := t.TempDir()
		name := filepath.Join(dir, device.TempName(probeName))
		if err := os.WriteFile(name, []byte(left), 0o600); err != nil {
			t.Fatal(err)
		}
		_, err := New(Options{Ident: &sleeper{}}).Probe(t.Context(), dir)
		want, kind := 0, guard.Kind(0)
		if left != "" {
			want, kind = 1, guard.KindDenied
		}
		if all, rerr := os.ReadDir(dir); kindOf(err) != kind || len(all) != want || rerr != nil {
			t.Errorf("with %q left: %v, want kind %v; then %d names (%v), want %d", left, err, kind, len(all), rerr, want)
		}
	}
}

// A destination that sleeps when the roll's copies are looked at is waited for too, however the look asks for it.
func TestLooksWaitForASleepingDrive(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "A001C001.mov"), []byte("frames"), 0o600); err != nil {
		t.Fatal(err)
	}
	vol, now := guard.Volume{ID: "raid", Mount: dir, Disk: "sda"}, time.Now()
	d := procedure.Destination{Name: "RAID", Path: dir, Volume: vol}
	file := guard.File{Entry: guard.Entry{Path: "A001C001.mov", Size: 6}}
	p := &guard.Proof{Files: []guard.File{file}, Copies: []guard.Copy{{
		Name: "RAID", Path: dir, Volume: vol, Honesty: guard.FromDevice, LastWrite: now, ReadFrom: now, Back: []guard.Back{{OK: true}},
	}}}
	for _, proof := range []*guard.Proof{nil, p} {
		for _, c := range []struct {
			asleep int
			stands bool
		}{{0, true}, {wakes - 1, true}, {wakes, false}} {
			s := &sleeper{asleep: c.asleep, id: vol.ID}
			err := New(Options{Ident: s}).Stand(t.Context(), d, proof)
			if (err == nil) != c.stands || err != nil && err.Error() != errNoAnswer.Error() {
				t.Errorf("with a proof %t, asleep for %d questions: %v", proof != nil, c.asleep, err)
			}
		}
	}
}

// Many probes of one folder at the same moment do not get in each other's way.
func TestProbesAtTheSameMoment(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	var wg sync.WaitGroup
	for range 4 {
		wg.Go(func() {
			for range 50 {
				if _, err := New(Options{Ident: &sleeper{}}).Probe(t.Context(), dir); err != nil {
					t.Error(err)
					return
				}
			}
		})
	}
	wg.Wait()
	if all, err := os.ReadDir(dir); len(all) > 0 || err != nil {
		t.Errorf("left: %v %v", all, err)
	}
}
