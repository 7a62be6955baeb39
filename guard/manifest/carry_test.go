package manifest

import (
	"errors"
	"os"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// TestCarriedHistory: a further copy takes the history along and appends to it.
func TestCarriedHistory(t *testing.T) {
	from := newDest(t, exampleFiles)
	from.mustRecord()
	from.mustRecord()
	to := newDest(t, exampleFiles)
	to.now = from.now
	to.rec = to.rec.Carry(from.root, "A003")
	to.mustRecord()
	if n := validateAll(t, to.path("A003", Folder)); n != 3 {
		t.Fatalf("%d manifests, want the two of the first copy and one more", n)
	}
	old, h := from.history(), to.history()
	if diff := cmp.Diff(old.Links, h.Links[:2]); diff != "" {
		t.Error(diff)
	}
	if _, files, _ := to.manifest(3); files["notes.txt"].Hashes[0].Action != Verified {
		t.Errorf("generation 3: %v", actions(files))
	}
	if f, d := h.Expect("notes.txt"); f != "xxh64" || d != digest(t, "xxh64", "hello\n") {
		t.Errorf("expect %s %s", f, d)
	}
	to.mustRecord() // nothing more to bring along
	if len(to.history().Links) != 4 {
		t.Errorf("%d generations", len(to.history().Links))
	}
	// The two go different ways: each has its own third generation.
	from.now = from.now.AddDate(0, 0, 1)
	from.mustRecord()
	if err := to.record(); !errors.Is(err, ErrChain) {
		t.Errorf("histories that have parted were joined: %v", err)
	}
}

func TestCarriedHistoryGrows(t *testing.T) {
	from, to := newDest(t, exampleFiles), newDest(t, exampleFiles)
	from.mustRecord()
	// The destination has exactly the source's first generation, copied by hand.
	for n, c := range from.snapshot() {
		if strings.HasPrefix(n, "A003/"+Folder) {
			to.write(strings.TrimPrefix(n, "A003/"), c)
		}
	}
	from.mustRecord()
	to.now = from.now
	to.rec = to.rec.Carry(from.root, "A003")
	to.mustRecord()
	if n := validateAll(t, to.path("A003", Folder)); n != 3 || len(to.history().Links) != 3 {
		t.Errorf("%d manifests", n)
	}
}

// TestCarryAfterACrash leaves the destination as a power cut does after each rename, and copies again.
func TestCarryAfterACrash(t *testing.T) {
	for step := range 5 {
		from := newDest(t, exampleFiles)
		from.mustRecord()
		from.mustRecord()
		to := newDest(t, exampleFiles)
		to.now = from.now
		to.rec = to.rec.Carry(from.root, "A003")
		s, err := to.rec.Stage(t.Context(), to.root, "A003", to.proof, 0)
		if err != nil {
			t.Fatal(err)
		}
		g := s.(*record).gen
		for i, do := range []func() error{
			func() error { return g.carried[0].temp.place(g.carried[0].name) },
			func() error { return g.carried[1].temp.place(g.carried[1].name) },
			func() error { return g.manifest.place(g.Name) },
			func() error { return g.chain.place(ChainName) },
		} {
			if i < step {
				if err := do(); err != nil {
					t.Fatal(err)
				}
			}
		}
		to.now = to.now.Add(1e9)
		to.mustRecord()
		want := 3
		if step == 4 {
			want = 4
		}
		if h := to.history(); len(h.Links) != want {
			t.Errorf("step %d: %d generations, want %d", step, len(h.Links), want)
		}
		validateAll(t, to.path("A003", Folder))
	}
}

func TestCarryRefusesStrangers(t *testing.T) {
	from, to := newDest(t, exampleFiles), newDest(t, exampleFiles)
	from.mustRecord()
	to.now = to.now.AddDate(0, 0, 1)
	to.mustRecord()
	to.rec = to.rec.Carry(from.root, "A003")
	before := to.snapshot()
	if err := to.record(); !errors.Is(err, ErrChain) {
		t.Errorf("another history was extended: %v", err)
	}
	if diff := cmp.Diff(before, to.snapshot()); diff != "" {
		t.Error(diff)
	}
	// Manifests without a chain that are not the source's: not an interrupted carry.
	if err := os.Remove(to.path("A003", Folder, ChainName)); err != nil {
		t.Fatal(err)
	}
	to.write(Folder+"/0007_x_2024-05-01_181500Z.mhl", "strange")
	if err := to.record(); !errors.Is(err, ErrChain) {
		t.Errorf("strange manifests were adopted: %v", err)
	}
}

func TestFromCard(t *testing.T) {
	d := newDest(t, exampleFiles)
	d.mustRecord()
	if got, err := FromCard(d.root, "A003"); got || err != nil {
		t.Errorf("our own history: %t %v", got, err)
	}
	files := map[string]string{"a": "1", Folder + "/x": "2"}
	d.prove(files)
	d.mustRecord()
	if err := os.Rename(d.path("A003_2.xxh64"), d.path("A003.xxh64")); err != nil {
		t.Fatal(err)
	}
	if got, err := FromCard(d.root, "A003"); !got || err != nil {
		t.Errorf("the card's: %t %v", got, err)
	}
	if got, err := FromCard(d.root, "A004"); got || err != nil {
		t.Errorf("no list: %t %v", got, err)
	}
}
