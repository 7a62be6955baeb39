package watch

import (
	"context"
	"errors"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"

	"twobin/guard"
)

// fakeSystem is a machine with a made-up table that is looked at by time, so that synctest can run its clock.
type fakeSystem struct {
	polled
	mu      sync.Mutex
	mounts  []Mount
	folders map[string]Folder
	fail    error
	stuck   map[string]chan struct{} // by mount point: Describe waits until it is closed
	looks   int
}

func newFake(ms ...Mount) *fakeSystem {
	return &fakeSystem{polled: newPolled(), mounts: ms, folders: map[string]Folder{}, stuck: map[string]chan struct{}{}}
}

func (f *fakeSystem) set(ms ...Mount) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.mounts = ms
}

func (f *fakeSystem) Mounts() ([]Mount, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.looks++
	if f.fail != nil {
		return nil, f.fail
	}
	return append([]Mount(nil), f.mounts...), nil
}

func (f *fakeSystem) Folder(p string) (Folder, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.folders[p], nil
}

func (f *fakeSystem) Describe(m Mount) (guard.Volume, error) {
	f.mu.Lock()
	c := f.stuck[m.Point]
	f.mu.Unlock()
	if c != nil {
		<-c
	}
	return guard.Volume{
		Mount: m.Point, Device: m.Source, FSType: m.FSType, ReadOnly: m.ReadOnly, ID: "uuid:" + m.Source,
		Disk: f.Disk(m), Size: 100, Free: 50,
	}, nil
}

func (f *fakeSystem) Carrier(p string) (guard.Volume, error) {
	ms, err := f.Mounts()
	if err != nil {
		return guard.Volume{}, err
	}
	i := carrier(ms, p)
	if i < 0 {
		return guard.Volume{}, errors.New("no mount")
	}
	return f.Describe(ms[i])
}

func (f *fakeSystem) Disk(m Mount) string { return "disk of " + m.Source }

func vol(source, point string) Mount { return Mount{FSType: "exfat", Source: source, Point: point} }

// changed takes the next change and says who came and went.
func changed(t *testing.T, w *Watcher) (arrived, gone, other []string) {
	t.Helper()
	c := <-w.Changes()
	names := func(vs []guard.Volume) (n []string) {
		for _, v := range vs {
			n = append(n, v.Mount+" "+v.ID)
		}
		return n
	}
	return names(c.Arrived), names(c.Gone), names(c.Changed)
}

func TestPolledWatcher(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		root, a := vol("disk1", "/"), vol("disk4", "/Volumes/A")
		f := newFake(root)
		w, err := New(Options{System: f, Readers: []string{"/reader"}})
		must(t, err)
		f.set(root, a)
		began := time.Now()
		arrived, _, _ := changed(t, w)
		if d := cmp.Diff([]string{"/Volumes/A uuid:disk4"}, arrived); d != "" {
			t.Errorf("arrived -want +got\n%s", d)
		}
		if took := time.Since(began); took > 500*time.Millisecond {
			t.Errorf("seen after %s, want 500 ms at most", took)
		}
		// Another card at the same place, and the reader folder gets one, between two looks.
		f.mu.Lock()
		f.mounts = []Mount{root, vol("disk5", "/Volumes/A")}
		f.folders["/reader"] = Folder{Present: true, Filled: true, Real: "/reader", Dev: 1, Inode: 2}
		f.mu.Unlock()
		arrived, gone, _ := changed(t, w)
		if d := cmp.Diff([]string{"/reader dir:1:2", "/Volumes/A uuid:disk5"}, arrived); d != "" {
			t.Errorf("arrived -want +got\n%s", d)
		}
		if d := cmp.Diff([]string{"/Volumes/A uuid:disk4"}, gone); d != "" {
			t.Errorf("gone -want +got\n%s", d)
		}
		// Read-only now.
		ro := vol("disk5", "/Volumes/A")
		ro.ReadOnly = true
		f.set(root, ro)
		if _, _, other := changed(t, w); len(other) != 1 {
			t.Errorf("changed = %v, want the volume that is read-only", other)
		}
		// The table cannot be read for a while: nothing is gone because of that.
		f.mu.Lock()
		f.fail = errors.New("no table")
		f.mu.Unlock()
		time.Sleep(time.Minute)
		f.mu.Lock()
		f.fail = nil
		f.mounts = []Mount{root}
		f.mu.Unlock()
		arrived, gone, _ = changed(t, w)
		if len(arrived) != 0 || len(gone) != 1 {
			t.Errorf("after the table could not be read: arrived %v, gone %v", arrived, gone)
		}
		must(t, w.Close())
		must(t, w.Close())
		if _, ok := <-w.Changes(); ok {
			t.Error("a change after Close")
		}
	})
}

// While nobody takes changes the watcher goes on, and nothing is lost or out of order.
func TestSlowReceiver(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := newFake()
		w, err := New(Options{System: f})
		must(t, err)
		defer w.Close()
		for range 50 {
			f.set(vol("disk4", "/Volumes/A"))
			time.Sleep(time.Second)
			f.set()
			time.Sleep(time.Second)
		}
		for i := range 50 {
			if arrived, gone, _ := changed(t, w); len(arrived) != 1 || len(gone) != 0 {
				t.Fatalf("change %d: arrived %v, gone %v", 2*i, arrived, gone)
			}
			if arrived, gone, _ := changed(t, w); len(arrived) != 0 || len(gone) != 1 {
				t.Fatalf("change %d: arrived %v, gone %v", 2*i+1, arrived, gone)
			}
		}
	})
}

// A drive that does not answer is reported all the same, within the limit; the next card is not kept waiting, and the
// answer is reported when it comes.
func TestStuckDrive(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := newFake()
		free := make(chan struct{})
		f.stuck["/Volumes/STUCK"] = free
		w, err := New(Options{System: f, Every: 10 * time.Millisecond, Answer: 150 * time.Millisecond, Patience: time.Second})
		must(t, err)
		defer w.Close()
		began := time.Now()
		stuck, well := vol("disk4", "/Volumes/STUCK"), vol("disk5", "/Volumes/WELL")
		f.set(stuck)
		c := <-w.Changes()
		want := guard.Volume{Mount: "/Volumes/STUCK", Device: "disk4", FSType: "exfat", Disk: "disk of disk4"}
		if len(c.Arrived) != 1 || c.Arrived[0] != want {
			t.Errorf("arrived %+v, want %+v", c.Arrived, want)
		}
		if took := time.Since(began); took > 250*time.Millisecond {
			t.Errorf("reported after %s", took)
		}
		f.set(stuck, well)
		if arrived, _, _ := changed(t, w); len(arrived) != 1 || arrived[0] != "/Volumes/WELL uuid:disk5" {
			t.Errorf("arrived %v, want the other card", arrived)
		}
		v, err := w.Identify("/Volumes/STUCK/x")
		var g *guard.Error
		if !errors.As(err, &g) || g.Kind != guard.KindStalled || v.ID != "" || v.Size != 0 || v.Mount != "/Volumes/STUCK" {
			t.Errorf("Identify = %+v, %v, want stalled and what the table tells", v, err)
		}
		if vs, err := w.Snapshot(t.Context()); err != nil || len(vs) != 2 || vs[0] != want {
			t.Errorf("Snapshot = %+v, %v, want both", vs, err)
		}
		close(free)
		c = <-w.Changes()
		if len(c.Answered) != 1 || c.Answered[0].ID != "uuid:disk4" || c.Answered[0].Size != 100 || len(c.Changed) != 0 {
			t.Errorf("change %+v, want the late answer", c)
		}
		if v, err := w.Identify("/Volumes/STUCK/x"); err != nil || v.ID != "uuid:disk4" {
			t.Errorf("Identify = %+v, %v, want the answer of now", v, err)
		}
	})
}

// A question left open is never answered with what was true when it was asked.
func TestAnswerIsNeverOlderThanTheQuestion(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var s single[int]
		free := make(chan struct{})
		if _, ok := s.ask(time.Second, func() (int, error) { <-free; return 1, nil }); ok {
			t.Fatal("an answer from a stuck drive")
		}
		close(free)
		synctest.Wait()
		if a, ok := s.ask(time.Second, func() (int, error) { return 2, nil }); !ok || a.val != 2 {
			t.Errorf("ask = %v, %t, want 2", a.val, ok)
		}
	})
}

func TestNewFails(t *testing.T) {
	f := newFake()
	f.fail = errors.New("no table")
	if w, err := New(Options{System: f}); err == nil {
		t.Errorf("New = %v, want an error", w)
	}
}

func TestSnapshotHeedsContext(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := newFake()
		w, err := New(Options{System: f, Answer: time.Hour})
		must(t, err)
		free := make(chan struct{})
		f.stuck["/Volumes/STUCK"] = free
		f.set(vol("disk4", "/Volumes/STUCK"))
		ctx, cancel := context.WithTimeout(t.Context(), time.Second)
		defer cancel()
		if _, err := w.Snapshot(ctx); !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("Snapshot: %v, want the deadline", err)
		}
		close(free)
		must(t, w.Close())
	})
}
