package procedure_test

import (
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"twobin/guard"
	"twobin/procedure"
	"twobin/procedure/media"
)

// A destination's drive that comes back under another device name and at another place, while a card is waited for, is
// no card: it would be copied as the roll, and could be erased as its card.
func TestADriveThatComesBackElsewhereIsNoCard(t *testing.T) {
	t.Parallel()
	r := newRig(t).start(func(c *procedure.Config) { c.Reader = "" }).setUp()
	r.receive("A001")
	r.toReader("A001")
	r.card("A001", clips("A001"))
	v := r.volume("shuttle")
	r.vols <- procedure.VolumeChange{Gone: []guard.Volume{v}}
	r.out.await(t, "SHUTTLE is no longer there")
	v.Mount, v.Disk = filepath.Join(r.dir, "third"), "sim-other"
	arrives := func(v guard.Volume) { r.vols <- procedure.VolumeChange{Arrived: []guard.Volume{v}} }
	arrives(v)
	r.out.await(t, "SHUTTLE is back, but at another place")
	r.say("drop SHUTTLE")
	r.out.await(t, "SHUTTLE is out of use")
	arrives(v)
	r.out.await(t, "A volume appeared that no step waits for: SHUTTLE")
	if n := r.count("card.seated"); n != 0 {
		t.Errorf("the drive was taken for the card: %d", n)
	}
	raid := r.volume("raid")
	raid.ID, raid.Disk = "", "" // slow to say who it is: its place alone tells
	arrives(raid)
	v.ID, v.Disk, v.Mount = "", "", filepath.Join(r.dir, "shuttle")
	arrives(v)
	r.out.await(t, "A001 is on hold: the volume in the reader is SHUTTLE, a destination.")
	if n := r.count("card.scanned"); n != 0 {
		t.Errorf("the drive was scanned as a card: %d", n)
	}
}

// A clone of a destination, or the drive at a second place, is no card; who waits for one is told why nothing happens.
func TestACloneOfADriveIsNoCard(t *testing.T) {
	t.Parallel()
	r := newRig(t).start(func(c *procedure.Config) { c.Reader = "" }).setUp()
	v := r.volume("shuttle")
	clone := v
	clone.Mount, clone.Disk = filepath.Join(r.dir, "third"), "sim-other"
	r.vols <- procedure.VolumeChange{Arrived: []guard.Volume{clone}} // no card is due: nothing to say
	r.receive("A001")
	r.toReader("A001")
	r.vols <- procedure.VolumeChange{Arrived: []guard.Volume{v}} // at its own place: nothing to say either
	r.vols <- procedure.VolumeChange{Arrived: []guard.Volume{clone}}
	r.out.await(t, "has the identity of SHUTTLE: it is taken for no card.")
	if n := r.count("card.seated"); n != 0 {
		t.Errorf("it was taken for the card: %d", n)
	}
	if n := strings.Count(r.out.text(), "has the identity of SHUTTLE"); n != 1 {
		t.Errorf("said %d times", n)
	}
}

// movedDisks is an identifier whose drives got other device names than they had.
type movedDisks struct {
	guard.Identifier
	mu   sync.Mutex
	disk map[string]string
}

func (m *movedDisks) set(id, disk string) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.disk[id] = disk
}

func (m *movedDisks) Identify(path string) (guard.Volume, error) {
	v, err := m.Identifier.Identify(path)
	m.mu.Lock()
	defer m.mu.Unlock()
	if d, ok := m.disk[v.ID]; ok {
		v.Disk = d
	}
	return v, err
}

// A drive that dropped out and came back has another device name, and the card's reader may get the one it had: they are
// still two devices.
func TestADrivesOldDeviceNameIsTheCards(t *testing.T) {
	t.Parallel()
	r := newRig(t)
	moved := &movedDisks{Identifier: r, disk: map[string]string{}}
	r.media = media.New(media.Options{Ident: moved, Proofs: filepath.Join(r.dir, "home/proofs"), Policy: guard.DefaultPolicy(), Now: r.clock.now})
	r.start().setUp()
	moved.set("sim:raid", "sim-new")
	r.card("A001", clips("A001"))
	r.receive("A001")
	r.toReader("A001")
	moved.set("sim:A001", "sim-raid")
	if err := os.Rename(filepath.Join(r.dir, "cards", "A001"), filepath.Join(r.dir, "reader")); err != nil {
		t.Fatal(err)
	}
	r.cardID = "sim:A001"
	v, err := moved.Identify(filepath.Join(r.dir, "reader"))
	if err != nil {
		t.Fatal(err)
	}
	r.vols <- procedure.VolumeChange{Arrived: []guard.Volume{v}}
	r.out.await(t, "[start.go]")
	r.say("s")
	r.logCount()
	r.out.await(t, "[pull.desk]")
}

// A drive with copies of this program on it is no card, whoever's and of whatever day they are.
func TestADriveWithCopiesIsNoCard(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		list string
		hold bool
	}{
		{"Harbour_Lights/day002_2026-11-25/A/A001.xxh64", true}, {"a/b/Harbour_Lights/day002_2026-11-25/A/A001.xxh64", true},
		{"day002_2026-11-25/A/A001.xxh64", true}, {"day002_2026-11-25/B/A001.xxh64", false}, {"day002_2026-11-31/A/A001.xxh64", false},
		{"dayII_2026-11-25/A/A001.xxh64", false}, {"002_2026-11-25/A/A001.xxh64", false}, {"day002/A/A001.xxh64", false},
		{"day002_2026-11-25/A/clips.xxh64", false}, {"day002_2026-11-25/A/A001.mov", false}, {"A/A001.xxh64", false},
	} {
		r := newRig(t).start().setUp()
		r.card("A002", map[string]string{c.list: "0000000000000000  A001/a.mov\n", "b.mov": "b"})
		r.receive("A002")
		r.toReader("A002")
		r.seat("A002")
		if c.hold {
			r.out.await(t, "A002 is on hold: the volume in the reader holds a copy of A001: it is a drive, no card.")
		} else {
			r.out.await(t, "[start.go]")
		}
		r.stop()
	}
}
