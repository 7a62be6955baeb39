package offload

import (
	"context"
	"errors"
	"io/fs"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"twobin/guard"
)

// TestPulse: a call within its limit is waited for; one beyond it is given up in time, and its owner told once.
func TestPulse(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		w := newWard(10 * time.Second)
		defer w.stop()
		if err := w.aside(10*time.Second, func() error { time.Sleep(9 * time.Second); return fs.ErrExist }); !errors.Is(err, fs.ErrExist) {
			t.Errorf("a slow call gave %v, want its own error", err)
		}
		began, let := time.Now(), make(chan struct{})
		err := w.aside(10*time.Second, func() error { <-let; return nil })
		if !errors.Is(err, errStalled) {
			t.Errorf("a hanging call gave %v, want %v", err, errStalled)
		}
		if took := time.Since(began); took < 10*time.Second || took > 12*time.Second {
			t.Errorf("it was given up after %v, want 10 s", took)
		}
		close(let)

		told := 0
		k := w.spawn(10*time.Second, func() { told++ }, func(p *pulse) {
			_ = p.do(func() error {
				for range 20 { // one minute in many calls is not stuck
					time.Sleep(3 * time.Second)
					p.renew()
				}
				return nil
			})
			time.Sleep(time.Hour) // in no call: waiting for others is not being stuck
		})
		if !k.wait() || told != 0 {
			t.Errorf("a busy worker was taken for stuck (told %d times)", told)
		}
	})
}

// TestPulseForgivesSleep: what the drive could not help, because this process did not run, does not count.
func TestPulseForgivesSleep(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		w := newWard(10 * time.Second)
		defer w.stop()
		told, let := make(chan time.Duration, 1), make(chan struct{})
		began := time.Now()
		k := w.spawn(10*time.Second, func() { told <- time.Since(began) }, func(p *pulse) { _ = p.do(func() error { <-let; return nil }) })
		synctest.Wait()
		time.Sleep(5 * time.Second)
		w.forgive(time.Hour)
		time.Sleep(time.Hour)
		select {
		case after := <-told:
			t.Errorf("given up after %v", after)
		default:
		}
		if k.wait() || <-told < time.Hour+10*time.Second {
			t.Error("want it given up, an hour later than its limit")
		}
		close(let)
	})
}

// TestPool: blocks come back when the last user lets go, waiting ends with ctx, and a stuck block is made up for.
func TestPool(t *testing.T) {
	t.Parallel()
	p := newPool(2)
	defer p.close()
	a, err := p.get(t.Context(), 2)
	if err != nil {
		t.Fatal(err)
	}
	b, err := p.get(t.Context(), 1)
	if err != nil {
		t.Fatal(err)
	}
	short, cancel := context.WithTimeout(t.Context(), 10*time.Millisecond)
	defer cancel()
	if _, err := p.get(short, 1); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("a third block = %v, want none", err)
	}
	a.release()
	if len(p.free) != 0 {
		t.Error("a block is free while another uses it")
	}
	a.release()
	if c, err := p.get(t.Context(), 1); err != nil || c != a {
		t.Errorf("the released block did not come back (%v)", err)
	}
	p.grow()
	if d, err := p.get(t.Context(), 1); err != nil || d == a || d == b {
		t.Errorf("a stuck block was not made up for (%v)", err)
	}
}

func TestProgressLeft(t *testing.T) {
	t.Parallel()
	start := time.Date(2026, 1, 1, 12, 0, 0, 0, time.UTC)
	var p Progress
	if s := p.Snapshot(start); s.Phase != Waiting || s.Left >= 0 {
		t.Errorf("before the run: %+v", s)
	}
	job := Job{Targets: []Target{{Name: "A"}, {Name: "B"}}}
	ts := p.begin(&job, 1000)
	p.began.Store(start.UnixNano())
	p.phase.Store(int32(Copying))
	if s := p.Snapshot(start.Add(time.Minute)); s.Left >= 0 {
		t.Errorf("nothing read: left = %v, want none", s.Left)
	}
	p.bytes.Store(500) // half read in 10 s: 10 s more, then 20 s of reading back at the same rate
	if s := p.Snapshot(start.Add(10 * time.Second)); s.Left != 30*time.Second || s.Elapsed != 10*time.Second {
		t.Errorf("half read: left = %v after %v, want 30 s", s.Left, s.Elapsed)
	}
	p.bytes.Store(1000)
	p.phase.Store(int32(Proving))
	p.proving.Store(start.Add(20 * time.Second).UnixNano())
	ts[0].back.Store(500)
	ts[1].back.Store(250) // the slower one counts: a quarter in 5 s
	if s := p.Snapshot(start.Add(25 * time.Second)); s.Left != 15*time.Second {
		t.Errorf("a quarter read back: left = %v, want 15 s", s.Left)
	}
	ts[1].fault.Store(true) // given up: the other counts
	if s := p.Snapshot(start.Add(25 * time.Second)); s.Left != 5*time.Second {
		t.Errorf("after a fault: left = %v, want 5 s", s.Left)
	}
	p.phase.Store(int32(Done))
	if s := p.Snapshot(start.Add(time.Hour)); s.Left != 0 {
		t.Errorf("done: left = %v, want 0", s.Left)
	}
	for ph := Waiting; ph <= Done; ph++ {
		if ph.String() == "unknown" {
			t.Errorf("phase %d has no words", ph)
		}
	}
}

func TestFirstChange(t *testing.T) {
	t.Parallel()
	base := guard.Listing{Files: []guard.Entry{{Path: "a", Size: 1, MTime: 2}, {Path: "c/d", Size: 3, MTime: 4}}, Dirs: []string{"c"}}
	with := func(change func(*guard.Listing)) guard.Listing {
		l := guard.Listing{Files: slices.Clone(base.Files), Dirs: slices.Clone(base.Dirs)}
		change(&l)
		return l
	}
	for _, c := range []struct {
		name string
		is   guard.Listing
		want string
	}{
		{"same", base, ""},
		{"size", with(func(l *guard.Listing) { l.Files[1].Size++ }), "c/d"},
		{"time", with(func(l *guard.Listing) { l.Files[0].MTime++ }), "a"},
		{"missing last", with(func(l *guard.Listing) { l.Files = l.Files[:1] }), "c/d"},
		{"missing first", with(func(l *guard.Listing) { l.Files = l.Files[1:] }), "a"},
		{"new", with(func(l *guard.Listing) { l.Files = slices.Insert(l.Files, 1, guard.Entry{Path: "b"}) }), "b"},
		{"folder", with(func(l *guard.Listing) { l.Dirs = append(l.Dirs, "e") }), "e"},
		{"odd", with(func(l *guard.Listing) { l.Odd = []string{"link"} }), "link"},
	} {
		if got := firstChange(base, c.is); got != c.want {
			t.Errorf("%s: firstChange = %q, want %q", c.name, got, c.want)
		}
		if got := firstChange(c.is, base); got != c.want {
			t.Errorf("%s, the other way: firstChange = %q, want %q", c.name, got, c.want)
		}
	}
}

func TestCollisions(t *testing.T) {
	t.Parallel()
	list := guard.Listing{
		Dirs:  []string{"CLIPS", "Clips", "other"},
		Files: []guard.Entry{{Path: "other/A.mov"}, {Path: "other/a.MOV"}, {Path: "stra\u00dfe"}, {Path: "STRASSE"}, {Path: "u\u0308"}, {Path: "\u00fc"}, {Path: "fine"}},
	}
	want := []pair{{"CLIPS", "Clips"}, {"other/A.mov", "other/a.MOV"}, {"stra\u00dfe", "STRASSE"}, {"u\u0308", "\u00fc"}}
	if diff := cmp.Diff(want, collisions(list), cmp.AllowUnexported(pair{})); diff != "" {
		t.Errorf("collisions (-want +got):\n%s", diff)
	}
}

// TestNeededDirs: parents come before children, each once, and all that any path needs.
func TestNeededDirs(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		path := rapid.StringMatching(`[ab]{1,2}(/[ab]{1,2}){0,3}`)
		list := guard.Listing{Dirs: rapid.SliceOf(path).Draw(t, "dirs")}
		for _, p := range rapid.SliceOf(path).Draw(t, "files") {
			list.Files = append(list.Files, guard.Entry{Path: p})
		}
		seen := map[string]bool{"": true}
		for _, d := range neededDirs(list) {
			parent, _ := split(d)
			if seen[d] || !seen[parent] {
				t.Fatalf("%q comes twice or before %q", d, parent)
			}
			seen[d] = true
		}
		for _, d := range list.Dirs {
			if !seen[d] {
				t.Fatalf("%q is lacking", d)
			}
		}
		for _, e := range list.Files {
			if dir, _ := split(e.Path); !seen[dir] {
				t.Fatalf("%q is lacking", dir)
			}
		}
	})
}

// TestClimbingPathsAreRefused: a listing that a caller got from elsewhere cannot lead out of the folders.
func TestClimbingPathsAreRefused(t *testing.T) {
	t.Parallel()
	for _, path := range []string{"", "/etc/passwd", "../x", "a/../../x", "a//b", "a/.", "a\x00b"} {
		dst := t.TempDir()
		job := Job{SourcePath: t.TempDir(), Listing: guard.Listing{Files: []guard.Entry{{Path: path}}}, Targets: []Target{{Name: "A", Path: dst, Folder: "r"}}}
		if _, errs := Run(t.Context(), job, nil); len(errs) != 1 || errs[0].Kind != guard.KindSourceOdd {
			t.Errorf("Run with path %q = %v, want one of kind %v", path, errs, guard.KindSourceOdd)
		}
		if s := tree(t, dst); s != "\".\" d---------\n" {
			t.Errorf("path %q: the destination has %s", path, s)
		}
	}
}
