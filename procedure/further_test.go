package procedure_test

import (
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"twobin/guard"
	"twobin/procedure"
)

// provenOn is a proof of one file with a proven copy on each of the named drives.
func provenOn(disks map[string]string) *guard.Proof {
	f := guard.File{Entry: guard.Entry{Path: "a.mov", Size: 3, MTime: 1}, Hash: 7}
	p := &guard.Proof{Card: guard.Volume{ID: "uuid:card", Disk: "card"}, Files: []guard.File{f}}
	written := time.Date(2031, 5, 6, 9, 0, 0, 0, time.UTC)
	for name, disk := range disks {
		p.Copies = append(p.Copies, guard.Copy{Name: name, Path: "/m/" + name, Folder: "f", Volume: guard.Volume{ID: "uuid:" + name, Disk: disk},
			Honesty: guard.FromDevice, LastWrite: written, ReadFrom: written.Add(time.Second), Back: []guard.Back{{Hash: 7, OK: true}}})
	}
	return p
}

// TestJoin: only a proven copy of exactly the roll's files, on a drive of its own, is added.
func TestJoin(t *testing.T) {
	t.Parallel()
	change := func(f func(*guard.Proof)) *guard.Proof {
		p := provenOn(map[string]string{"POST": "d3"})
		f(p)
		return p
	}
	for _, c := range []struct {
		name    string
		further *guard.Proof
		added   string
		why     string
	}{
		{"a good one", change(func(*guard.Proof) {}), "POST", ""},
		{"a coarser time", change(func(p *guard.Proof) { p.Files[0].MTime = 0 }), "POST", ""},
		{"an unknown disk", change(func(p *guard.Proof) { p.Copies[0].Volume.Disk = "" }), "POST", ""},
		{"other bytes", change(func(p *guard.Proof) { p.Files[0].Hash, p.Copies[0].Back[0].Hash = 8, 8 }), "", "not exactly"},
		{"another size", change(func(p *guard.Proof) { p.Files[0].Size = 4 }), "", "not exactly"},
		{"another name", change(func(p *guard.Proof) { p.Files[0].Path = "b.mov" }), "", "not exactly"},
		{"a file more", change(func(p *guard.Proof) { p.Files = append(p.Files, p.Files[0]) }), "", "not exactly"},
		{"not proven", change(func(p *guard.Proof) { p.Copies[0].Back[0].OK = false }), "", "not proven"},
		{"not past the cache", change(func(p *guard.Proof) { p.Copies[0].Honesty = guard.NotPastCache }), "", "not proven"},
		{"on the card's device", change(func(p *guard.Proof) { p.Copies[0].Volume.Disk = "card" }), "", "the card's own device"},
		{"a name that is taken", change(func(p *guard.Proof) { p.Copies[0].Name = "RAID" }), "", "called RAID already"},
		{"counted before", provenOn(map[string]string{"RAID": "d1"}), "", ""},
		{"a drill's", change(func(p *guard.Proof) { p.Copies[0].Volume.Simulated = true }), "", "drill"},
	} {
		old := provenOn(map[string]string{"RAID": "d1", "SHUTTLE": "d2"})
		joined, added, why := procedure.Join(old, c.further)
		if !strings.Contains(why, c.why) || (why == "") != (c.why == "") {
			t.Errorf("%s: why = %q, want %q", c.name, why, c.why)
		}
		if got := len(added) == 1 && added[0].Name == c.added; got != (c.added != "") {
			t.Errorf("%s: added %+v, want %q", c.name, added, c.added)
		}
		if c.added != "" && (len(joined.Copies) != 3 || !joined.Proven(&joined.Copies[2])) {
			t.Errorf("%s: joined to %d copies", c.name, len(joined.Copies))
		}
		if len(old.Copies) != 2 {
			t.Errorf("%s: the roll's proof itself was changed", c.name)
		}
	}
}

// shelf is a [procedure.Shelf] in memory.
type shelf struct {
	mu   sync.Mutex
	list []procedure.Further
}

func (s *shelf) List() []procedure.Further {
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.Clone(s.list)
}

func (s *shelf) Done(id string) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.list = slices.DeleteFunc(s.list, func(f procedure.Further) bool { return f.ID == id })
	return nil
}

// put leaves a further copy of A001 on POST, made from the roll's own proof and changed.
func (s *shelf) put(r *rig, id, shift string, change func(*guard.Proof)) {
	r.tb.Helper()
	p, err := r.media.Load(r.runner.Shift().Roll("A001").Proof)
	if err != nil {
		r.tb.Fatal(err)
	}
	c := p.Copies[0]
	c.Name, c.Volume.ID, c.Volume.Disk = "POST", "uuid:post", "post"
	p.Copies = []guard.Copy{c}
	change(p)
	sha, err := r.media.Save(p)
	if err != nil {
		r.tb.Fatal(err)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.list = append(s.list, procedure.Further{ID: id, Shift: shift, Roll: "A001", Proof: sha})
}

// TestFurtherCopyCountsWhileAtWork: a copy that another process leaves for the shift is journaled by the shift itself, and
// has to be looked at before the erase. One of other files, and another shift's, are not.
func TestFurtherCopyCountsWhileAtWork(t *testing.T) {
	t.Parallel()
	var s shelf
	r := oneGreen(t, func(c *procedure.Config) { c.Shelf = &s })
	mine := r.runner.Shift().Opened.Key()
	s.put(r, "theirs", "another shift", func(*guard.Proof) {})
	s.put(r, "wrong", mine, func(p *guard.Proof) { p.Files[0].Hash++; p.Copies[0].Back[0].Hash++ })
	r.out.await(t, "does not count here: its files are not exactly those")
	if n := r.count("copy.added"); n != 0 {
		t.Errorf("%d copies were added, want none", n)
	}
	s.put(r, "right", mine, func(*guard.Proof) {})
	r.out.await(t, "A001: a further proven copy counts, on POST.")
	roll := r.runner.Shift().Roll("A001")
	if r.count("copy.added") != 1 || len(roll.Copies) != 3 || roll.LookedBy != "" {
		t.Errorf("added %d times, %d copies, looked at by %q, want once, 3, nobody", r.count("copy.added"), len(roll.Copies), roll.LookedBy)
	}
	if left := s.List(); len(left) != 1 || left[0].ID != "theirs" {
		t.Errorf("on the shelf: %+v, want the other shift's alone", left)
	}
	r.stop()
	r.start(func(c *procedure.Config) { c.Shelf = &s })
	if got := len(r.runner.Shift().Roll("A001").Copies); got != 3 {
		t.Errorf("after a new start %d copies, want 3", got)
	}
}
