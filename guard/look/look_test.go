package look

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"github.com/cespare/xxhash/v2"
	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"twobin/guard"
	"twobin/guard/device"
	"twobin/guard/offload"
)

// files is what the dummy card of these tests holds.
var files = map[string]string{"CLIPS/A/a.mov": "aaaa", "CLIPS/b.mov": "bb", "CLIPS/c\xff.mov": "ccc", "index.xml": ""}

// volumes says which volume is at which path, as a table that a test may change at any time.
type volumes struct {
	mu    sync.Mutex
	at    map[string]guard.Volume
	asked func(path string) error
}

func (v *volumes) Identify(path string) (guard.Volume, error) {
	if v.asked != nil {
		if err := v.asked(path); err != nil {
			return guard.Volume{}, err
		}
	}
	v.mu.Lock()
	defer v.mu.Unlock()
	vol, ok := v.at[path]
	if !ok {
		return guard.Volume{}, fs.ErrNotExist
	}
	return vol, nil
}

func (v *volumes) set(path string, change func(vol *guard.Volume)) {
	v.mu.Lock()
	defer v.mu.Unlock()
	vol := v.at[path]
	change(&vol)
	v.at[path] = vol
}

// rig is a simulated card with two copies, the proof, and the request for a look.
type rig struct {
	base  string
	proof *guard.Proof
	facts guard.Facts
	vols  *volumes
	req   Request
}

func newRig(t *testing.T) *rig {
	t.Helper()
	r := &rig{base: t.TempDir(), vols: &volumes{at: map[string]guard.Volume{}}}
	began := time.Now().Add(-time.Hour)
	r.proof = &guard.Proof{Label: "A003", Began: began, Ended: began}
	for i, name := range []string{"card", "SHUTTLE", "RAID"} {
		path := filepath.Join(r.base, name)
		r.vols.at[path] = guard.Volume{Mount: path, ID: "sim:" + name, Disk: fmt.Sprint("sim", i), Simulated: true}
		folder := ""
		if i > 0 {
			folder = "P/A003"
		}
		for file, text := range files {
			put(t, filepath.Join(path, folder, file), text)
		}
	}
	list, err := offload.Scan(t.Context(), filepath.Join(r.base, "card"))
	if err != nil {
		t.Fatal(err)
	}
	r.proof.Card, r.proof.Dirs = r.vols.at[filepath.Join(r.base, "card")], list.Dirs
	for _, e := range list.Files {
		r.proof.Files = append(r.proof.Files, guard.File{Entry: e, Hash: xxhash.Sum64String(files[e.Path])})
	}
	for _, name := range []string{"SHUTTLE", "RAID"} {
		path := filepath.Join(r.base, name)
		c := guard.Copy{Name: name, Path: path, Folder: "P/A003", Volume: r.vols.at[path], Honesty: guard.FromSimulated, LastWrite: began, ReadFrom: began}
		for _, f := range r.proof.Files {
			c.Back = append(c.Back, guard.Back{Hash: f.Hash, OK: true})
		}
		r.proof.Copies = append(r.proof.Copies, c)
	}
	sha, err := r.proof.Digest()
	if err != nil {
		t.Fatal(err)
	}
	r.facts = guard.Facts{Label: "A003", Drill: true, Looked: true, LookedBy: "Kim", Operator: "Kim", Marked: true, Binned: true,
		ProofSHA: sha, JournalWhole: true}
	r.req = Request{Proof: r.proof, Card: filepath.Join(r.base, "card"), Ident: r.vols, Policy: guard.DefaultPolicy(),
		Rand: rand.New(rand.NewPCG(1, 2)), Scan: offload.Scan}
	return r
}

func put(t *testing.T, path, text string) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}

// closedBy asks the lock with a look.
func (r *rig) closedBy(l guard.Look) string {
	v := guard.Lock(r.proof, r.facts, &l, r.req.Policy, time.Now())
	var ids []string
	for _, c := range v.Conditions {
		if !c.Holds {
			ids = append(ids, c.ID)
		}
	}
	return strings.Join(ids, " ")
}

func TestTake(t *testing.T) {
	r := newRig(t)
	before := time.Now()
	var mu sync.Mutex
	told := map[string]int64{}
	r.req.Progress = func(name string, n int64) {
		mu.Lock()
		defer mu.Unlock()
		told[name] += n
	}
	l := Take(t.Context(), r.req)
	if got := r.closedBy(l); got != "" {
		t.Fatalf("closed by %s: %+v", got, l)
	}
	if l.At.Before(before) || l.At.After(time.Now()) {
		t.Errorf("At = %s", l.At)
	}
	if diff := cmp.Diff(map[string]int64{"SHUTTLE": 9, "RAID": 9}, told); diff != "" {
		t.Errorf("progress: %s", diff)
	}
	if diff := cmp.Diff(r.proof.Listing(), l.Listing); diff != "" {
		t.Errorf("listing: %s", diff)
	}
	for _, c := range l.Copies {
		if c.Held != 4 || c.Missing+c.WrongSize != 0 || len(c.Rehashed) != 4 || c.Err != "" || c.First != "" {
			t.Errorf("copy %+v", c)
		}
	}
}

// TestTakeFindsOut: each thing that is not as proven comes out in the look, and closes the lock by its condition.
func TestTakeFindsOut(t *testing.T) {
	must := func(err error) {
		if err != nil {
			panic(err)
		}
	}
	tests := []struct {
		name, closed string
		change       func(t *testing.T, r *rig)
	}{
		{"a new file on the card", "L2", func(t *testing.T, r *rig) { put(t, r.in("card", "new"), "") }},
		{"no card", "L2 L4", func(_ *testing.T, r *rig) { must(os.RemoveAll(r.in("card", ""))); delete(r.vols.at, r.in("card", "")) }},
		{"another card", "L2", func(_ *testing.T, r *rig) { r.vols.set(r.in("card", ""), func(v *guard.Volume) { v.ID = "sim:other" }) }},
		{"the card is swapped during the look", "L2", func(_ *testing.T, r *rig) {
			n := 0
			r.vols.asked = func(path string) error {
				if path == r.in("card", "") {
					if n++; n == 2 {
						r.vols.set(path, func(v *guard.Volume) { v.Dev++ })
					}
				}
				return nil
			}
		}},
		{"the card cannot be listed", "L2 L4", func(_ *testing.T, r *rig) {
			r.req.Scan = func(context.Context, string) (guard.Listing, error) { return guard.Listing{}, syscall.EIO }
		}},
		{"a drive is gone", "L4 L5", func(_ *testing.T, r *rig) { delete(r.vols.at, r.in("RAID", "")) }},
		{"a drive cannot be opened", "L4 L5", func(_ *testing.T, r *rig) { must(os.RemoveAll(r.in("RAID", ""))) }},
		{"another drive", "L5", func(_ *testing.T, r *rig) { r.vols.set(r.in("RAID", ""), func(v *guard.Volume) { v.ID = "sim:other" }) }},
		{"a real drive in a drill", "L5", func(_ *testing.T, r *rig) {
			r.vols.set(r.in("RAID", ""), func(v *guard.Volume) { v.Simulated = false })
		}},
		{"the roll's folder is gone", "L5", func(_ *testing.T, r *rig) { must(os.RemoveAll(r.in("RAID", "P/A003"))) }},
		{"a file is gone", "L5", func(_ *testing.T, r *rig) { must(os.Remove(r.in("RAID", "P/A003/CLIPS/b.mov"))) }},
		{"a folder is gone", "L5", func(_ *testing.T, r *rig) { must(os.RemoveAll(r.in("RAID", "P/A003/CLIPS/A"))) }},
		{"a file is shorter", "L5", func(t *testing.T, r *rig) { put(t, r.in("RAID", "P/A003/CLIPS/b.mov"), "b") }},
		{"a byte differs", "L5", func(t *testing.T, r *rig) { put(t, r.in("SHUTTLE", "P/A003/CLIPS/A/a.mov"), "aaab") }},
		{"a file is a folder", "L5", func(_ *testing.T, r *rig) {
			must(os.Remove(r.in("RAID", "P/A003/index.xml")))
			must(os.Mkdir(r.in("RAID", "P/A003/index.xml"), 0o700))
		}},
		{"a file is a link to its twin", "L5", func(_ *testing.T, r *rig) {
			must(os.Remove(r.in("RAID", "P/A003/CLIPS/b.mov")))
			must(os.Symlink(r.in("SHUTTLE", "P/A003/CLIPS/b.mov"), r.in("RAID", "P/A003/CLIPS/b.mov")))
		}},
		{"the roll's folder is a link to its twin", "L5", func(_ *testing.T, r *rig) {
			must(os.RemoveAll(r.in("RAID", "P/A003")))
			must(os.Symlink(r.in("SHUTTLE", "P/A003"), r.in("RAID", "P/A003")))
		}},
		{"a drive is exchanged during the look", "L5", func(_ *testing.T, r *rig) {
			n := 0
			r.vols.asked = func(path string) error {
				if path == r.in("RAID", "") {
					if n++; n == 2 {
						r.vols.set(path, func(v *guard.Volume) { v.Dev++ })
					}
				}
				return nil
			}
		}},
		{"a drive goes at the end of the look", "L5", func(_ *testing.T, r *rig) {
			n := 0
			r.vols.asked = func(path string) error {
				if path == r.in("RAID", "") {
					if n++; n == 2 {
						return fs.ErrNotExist
					}
				}
				return nil
			}
		}},
		{"no identifier", "L2 L4 L5 L8", func(_ *testing.T, r *rig) { r.req.Ident = nil }},
		{"no scan", "L2 L4 L5 L8", func(_ *testing.T, r *rig) { r.req.Scan = nil }},
		{"no proof", "L2 L4 L5 L8", func(_ *testing.T, r *rig) { r.req.Proof = nil }},
	}
	for _, tt := range tests {
		r := newRig(t)
		tt.change(t, r)
		l := Take(t.Context(), r.req)
		if got := r.closedBy(l); got != tt.closed {
			t.Errorf("%s: closed by %q, want %q: %+v", tt.name, got, tt.closed, l)
		}
	}
}

func (r *rig) in(volume, path string) string { return filepath.Join(r.base, volume, path) }

// TestCondemnedCopiesAreLeftOut: only proven copies are looked at.
func TestCondemnedCopiesAreLeftOut(t *testing.T) {
	r := newRig(t)
	r.proof.Copies[0].Fault = "full"
	l := Take(t.Context(), r.req)
	if len(l.Copies) != 1 || l.Copies[0].Name != "RAID" {
		t.Errorf("looked at %+v", l.Copies)
	}
}

// slowDrive hangs, or fails, in one of its calls.
type slowDrive struct {
	drive
	at   string
	wait func() error
}

func (d slowDrive) Folder(rel string) (folder, error) {
	if d.at == "folder" {
		if err := d.wait(); err != nil {
			return nil, err
		}
	}
	f, err := d.drive.Folder(rel)
	if err != nil {
		return nil, err
	}
	return slowFolder{f, d}, nil
}

func (d slowDrive) ReadBack(ctx context.Context, rel string, opt device.ReadOptions) (device.Read, error) {
	if d.at == "read" {
		if err := d.wait(); err != nil {
			return device.Read{}, err
		}
	}
	return d.drive.ReadBack(ctx, rel, opt)
}

func (d slowDrive) SameAs(path string) bool {
	if d.at == "same" {
		return d.wait() == nil && d.drive.SameAs(path)
	}
	return d.drive.SameAs(path)
}

type slowFolder struct {
	folder
	d slowDrive
}

func (f slowFolder) Stat(name string) (device.Stat, error) {
	if f.d.at == "stat" {
		if err := f.d.wait(); err != nil {
			return device.Stat{}, err
		}
	}
	return f.folder.Stat(name)
}

var slowCalls = []string{"identify", "open", "read", "folder", "stat", "same"}

// slow lets RAID wait at one kind of call.
func (r *rig) slow(at string, wait func() error) {
	raid := r.in("RAID", "")
	r.vols.asked = func(path string) error {
		if at == "identify" && path == raid {
			return wait()
		}
		return nil
	}
	r.req.open = func(path string) (drive, error) {
		if path != raid {
			return openDrive(path)
		}
		if at == "open" {
			if err := wait(); err != nil {
				return nil, err
			}
		}
		d, err := openDrive(path)
		return slowDrive{d, at, wait}, err
	}
}

// TestStuckDrive: a drive that hangs in any call is given up after the patience and counts as not there; the other
// drive and the card are looked at all the same.
func TestStuckDrive(t *testing.T) {
	for _, at := range slowCalls {
		r := newRig(t)
		// Scan has a watch of its own, with timers that are no business of this test.
		list, err := offload.Scan(t.Context(), r.req.Card)
		if err != nil {
			t.Fatal(err)
		}
		r.req.Scan = func(context.Context, string) (guard.Listing, error) { return list, nil }
		synctest.Test(t, func(t *testing.T) {
			r.req.Now = time.Now
			release := make(chan struct{})
			r.slow(at, func() error { <-release; return nil })
			begin := time.Now()
			l := Take(t.Context(), r.req)
			took := time.Since(begin)
			close(release)
			synctest.Wait()
			if took != patience {
				t.Errorf("hangs in %s: given up after %s, want %s", at, took, patience)
			}
			if c := l.Copies[1]; c.Mounted || c.Err != errSilent.Error() {
				t.Errorf("hangs in %s: %+v", at, c)
			}
			if c := l.Copies[0]; !c.Mounted || c.Held != 4 || c.Err != "" || l.Err != "" {
				t.Errorf("hangs in %s: the rest is %+v", at, l)
			}
		})
	}
}

// TestFailingDrive: an error in any call is in the look, and closes the lock.
func TestFailingDrive(t *testing.T) {
	for _, at := range slowCalls {
		r := newRig(t)
		r.slow(at, func() error { return syscall.EIO })
		l := Take(t.Context(), r.req)
		if got := r.closedBy(l); !strings.Contains(got, "L5") {
			t.Errorf("fails in %s: closed by %q", at, got)
		}
		if c := l.Copies[1]; c.Err == "" || at != "same" && !strings.Contains(c.Err, syscall.EIO.Error()) {
			t.Errorf("fails in %s: %+v", at, c)
		}
	}
}

// TestStopped: ctx ends a look at once, also while a drive hangs, and such a look closes the lock.
func TestStopped(t *testing.T) {
	for _, at := range slowCalls {
		r := newRig(t)
		ctx, cancel := context.WithCancel(t.Context())
		release := make(chan struct{})
		r.slow(at, func() error { cancel(); <-release; return errors.New("too late") })
		begin := time.Now()
		l := Take(ctx, r.req)
		close(release)
		if got := r.closedBy(l); !strings.Contains(got, "L2") || !strings.Contains(got, "L5") {
			t.Errorf("stopped in %s: closed by %q", at, got)
		}
		if took := time.Since(begin); took > patience/2 {
			t.Errorf("stopped in %s: took %s", at, took)
		}
	}
}

// TestChoose: whatever the sizes and the policy, what is chosen is enough, in order, and not more than asked for.
func TestChoose(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := &guard.Proof{}
		for _, size := range rapid.SliceOfN(rapid.Int64Range(0, 6e9), 0, 60).Draw(t, "sizes") {
			p.Files = append(p.Files, guard.File{Entry: guard.Entry{Size: size}})
		}
		pol := guard.Policy{Recheck: guard.Recheck(rapid.IntRange(0, 2).Draw(t, "recheck")), SampleFiles: rapid.IntRange(0, 30).Draw(t, "n"),
			SampleBytes: rapid.Int64Range(0, 2e10).Draw(t, "bytes")}
		var r *rand.Rand
		if rapid.Bool().Draw(t, "random") {
			r = rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))
		}
		chosen := Choose(p, pol, r)
		if err := pol.Enough(p, chosen); err != nil {
			t.Fatalf("chose %v: %v", chosen, err)
		}
		if !slices.IsSorted(chosen) {
			t.Fatalf("chose %v: not in order", chosen)
		}
		s := pol.Strict()
		if sampled := r != nil && s.Recheck == guard.RecheckSample; sampled && len(chosen) > s.SampleFiles || !sampled && len(chosen) != len(p.Files) {
			t.Fatalf("chose %d of %d files", len(chosen), len(p.Files))
		}
	})
}

// TestChooseIsFair: over many looks every file has its turn, the largest one included. (With 40 files, 16 of them a look
// and 200 looks, a fair choice leaves one out with a probability below 40 * 0.6^200, which is nothing.)
func TestChooseIsFair(t *testing.T) {
	p := &guard.Proof{Files: make([]guard.File, 40)}
	p.Files[7].Size = 1e9
	r := rand.New(rand.NewPCG(3, 4))
	seen := make([]int, len(p.Files))
	for range 200 {
		for _, i := range Choose(p, guard.DefaultPolicy(), r) {
			seen[i]++
		}
	}
	if slices.Contains(seen, 0) {
		t.Errorf("times chosen: %v", seen)
	}
}
