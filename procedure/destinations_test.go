package procedure_test

import (
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"twobin/guard"
	"twobin/procedure"
	"twobin/procedure/media"
)

// seenAs is an identifier whose answers a test changes.
type seenAs struct {
	guard.Identifier
	mu     sync.Mutex
	change func(*guard.Volume)
}

func (s *seenAs) Identify(path string) (guard.Volume, error) {
	v, err := s.Identifier.Identify(path)
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.change != nil {
		s.change(&v)
	}
	return v, err
}

func (s *seenAs) set(change func(*guard.Volume)) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.change = change
}

// see makes the rig's drives look otherwise.
func (r *rig) see(change func(*guard.Volume)) *seenAs {
	s := &seenAs{Identifier: r, change: change}
	r.media = media.New(media.Options{Ident: s, Proofs: filepath.Join(r.dir, "home/proofs"), Policy: guard.DefaultPolicy(), Now: r.clock.now})
	return s
}

// seesRAID changes what is seen of one drive.
func seesRAID(change func(*guard.Volume)) func(*guard.Volume) {
	return func(v *guard.Volume) {
		if v.Name == "RAID" {
			change(v)
		}
	}
}

// A destination has to be on a device that is known, and known to be another one than those in use, as they are now.
func TestADestinationOnADeviceOfItsOwn(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name   string
		change func(*guard.Volume)
		tells  string
		dests  int
	}{
		{"not known", seesRAID(func(v *guard.Volume) { v.Disk = "" }), "The system does not tell on which physical device", 1},
		{"one of several", seesRAID(func(v *guard.Volume) { v.Disk = "sim-raid+sim-shuttle" }), "are on one physical device", 1},
		{"no identity", seesRAID(func(v *guard.Volume) { v.ID = "" }), "RAID has no identity of its own", 2},
	} {
		r := newRig(t)
		r.see(c.change)
		r.start()
		r.out.await(t, c.tells)
		if n := len(r.runner.Shift().Dests); n != c.dests {
			t.Errorf("%s: %d destinations in use, want %d", c.name, n, c.dests)
		}
		r.stop()
	}
}

// What device a drive in use is on is asked when another is added: it may have come back under another name.
func TestADestinationIsComparedWithDrivesAsTheyAreNow(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		now   string // the device of RAID
		third string // that of the one that is added
		dests int
	}{{"sim-new", "sim-new", 2}, {"sim-new", "sim-raid", 3}, {"sim-raid", "sim-raid", 2}} {
		r := newRig(t)
		s := r.see(nil)
		r.start().setUp()
		s.set(func(v *guard.Volume) {
			switch v.Name {
			case "RAID":
				v.Disk = c.now
			case "THIRD":
				v.Disk = c.third
			}
		})
		r.say("to " + filepath.Join(r.dir, "third"))
		r.out.await(t, map[int]string{2: "are on one physical device", 3: "THIRD is in use"}[c.dests])
		if n := len(r.runner.Shift().Dests); n != c.dests {
			t.Errorf("%+v: %d destinations", c, n)
		}
		r.stop()
	}
}

// To a destination that the check speaks against nothing is copied, although enough others are good.
func TestNothingIsCopiedWhereTheCheckSaysNo(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	s := r.see(nil)
	r.start(func(f *procedure.Config) { f.Given.To = append(f.Given.To, filepath.Join(r.dir, "third")) }).setUp()
	r.card("A001", clips("A001"))
	r.receive("A001")
	r.toStart("A001")
	s.set(func(v *guard.Volume) {
		if v.Name == "THIRD" {
			v.Disk = "sim-raid+sim-third"
		}
	})
	r.say("s")
	r.logCount()
	r.out.await(t, "[pull.desk]")
	if !strings.Contains(r.out.text(), "THIRD: on one device with the card or another copy") {
		t.Errorf("what is wrong with THIRD was not told:\n%s", r.out.text())
	}
	if names, err := os.ReadDir(filepath.Join(r.dir, "third")); err != nil || len(names) > 0 {
		t.Errorf("on THIRD stand %v (%v), want nothing", names, err)
	}
	if got := r.runner.Shift().Roll("A001").Copies; len(got) != 2 {
		t.Errorf("copies: %+v, want two", got)
	}
}

// A copy on a drive that has one already is no further one, whatever it is called.
func TestNoFurtherCopyOnADriveThatHasOne(t *testing.T) {
	t.Parallel()
	now := time.Now()
	proof := func(copies ...guard.Copy) *guard.Proof {
		p := &guard.Proof{Label: "A001", Card: guard.Volume{ID: "uuid:card", Disk: "card"}, Began: now, Ended: now,
			Files: []guard.File{{Entry: guard.Entry{Path: "a.mov", Size: 1}, Hash: 7}}}
		for _, c := range copies {
			c.Path, c.Folder, c.Honesty, c.LastWrite, c.ReadFrom = "/mnt/"+c.Name, "P/day001_2026-11-26/A/A001", guard.FromDevice, now, now
			c.Back = []guard.Back{{Hash: 7, OK: true}}
			p.Copies = append(p.Copies, c)
		}
		return p
	}
	on := func(name, id, disk, fault string) guard.Copy {
		return guard.Copy{Name: name, Volume: guard.Volume{ID: id, Disk: disk}, Fault: fault}
	}
	for _, c := range []struct {
		old  string // the fault of the old copy
		more guard.Copy
		want bool
	}{
		{"", on("POST", "uuid:post", "p", ""), true},
		{"", on("RAID-AGAIN", "uuid:raid", "r", ""), false},
		{"", on("RAID-AGAIN", "uuid:raid", "other", ""), false},
		{"failed", on("RAID-AGAIN", "uuid:raid", "r", ""), true},
		{"", on("NAMELESS", "", "n", ""), true},
	} {
		old := proof(on("RAID", "uuid:raid", "r", c.old), on("BARE", "", "b", ""))
		joined, added, why := procedure.Join(old, proof(c.more))
		if len(added) == 1 != c.want || (why == "") != c.want || len(joined.Copies)-len(old.Copies) != len(added) {
			t.Errorf("%+v: added %v, why %q", c, added, why)
		}
	}
}
