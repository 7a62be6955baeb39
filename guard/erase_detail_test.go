//go:build linux || darwin

package guard

import (
	"context"
	"errors"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"
)

// TestInvariant6LooksAgain: whatever is different about a file or folder right before its removal, it stays. The
// difference is told by a system call's answer, so that each is tried by itself.
func TestInvariant6LooksAgain(t *testing.T) {
	const file, folder = "CLIPS/c.mov", "CLIPS/A001"
	tests := []struct {
		name, fsType, path string
		lie                func(e *cardEntry)
		stays              bool
	}{
		{"no file", "exfat", file, func(e *cardEntry) { e.kind = entryOther }, true},
		{"a file of unknown kind", "exfat", file, func(e *cardEntry) { e.kind = entryUnknown }, true},
		{"on another file system", "exfat", file, func(e *cardEntry) { e.dev++ }, true},
		{"another size", "exfat", file, func(e *cardEntry) { e.size++ }, true},
		{"another time", "exfat", file, func(e *cardEntry) { e.mtime++ }, true},
		{"another number where numbers last", "ext4", file, func(e *cardEntry) { e.ino++ }, true},
		{"another number where they do not", "exfat", file, func(e *cardEntry) { e.ino++ }, false},
		{"no folder", "exfat", folder, func(e *cardEntry) { e.kind = entryFile }, true},
		{"a folder on another file system", "exfat", folder, func(e *cardEntry) { e.dev++ }, true},
		{"a folder of another size", "exfat", folder, func(e *cardEntry) { e.size++ }, false},
	}
	for _, tt := range tests {
		r := newRig(t, t.TempDir(), cardTree)
		r.setType(tt.fsType)
		seen := 0
		h := lied(&r.job, func(c call, e *cardEntry) {
			if c != (call{"stat", tt.path}) {
				return
			}
			if seen++; seen == 2 { // the first time is the listing
				tt.lie(e)
			}
		})
		tried := false
		h.before = func(c call) error {
			tried = tried || strings.HasPrefix(c.op, "remove") && c.path == tt.path
			return nil
		}
		done, err := Erase(t.Context(), r.permit(t), r.job)
		if !tt.stays {
			if err != nil || !done.Empty {
				t.Errorf("%s: %+v, %v", tt.name, done, err)
			}
			continue
		}
		if kindOf(err) != KindErase || !errors.Is(err, errChanged) || tried {
			t.Errorf("%s: %v, removal tried %v", tt.name, err, tried)
		}
		if _, err := os.Lstat(filepath.Join(r.root, tt.path)); err != nil {
			t.Errorf("%s: %v", tt.name, err)
		}
		checkErased(t, r, done, err)
	}
}

// setType gives the card another type of file system.
func (r *rig) setType(fsType string) {
	r.p.Card.FSType, r.l.Card.FSType, r.job.Card.FSType = fsType, fsType, fsType
	r.seal()
}

// TestInvariant6OtherFileSystemListed: a single file of another file system (mounted over a name) is odd from the first.
func TestInvariant6OtherFileSystemListed(t *testing.T) {
	for _, path := range []string{"index.xml", "CLIPS/A001"} {
		r := newRig(t, t.TempDir(), cardTree)
		lied(&r.job, func(c call, e *cardEntry) {
			if c == (call{"stat", path}) {
				e.dev++
			}
		})
		before := contents(t, r.root)
		done, err := Erase(t.Context(), r.permit(t), r.job)
		if kindOf(err) != KindUnproven || !errors.Is(err, errNotProven) || !strings.Contains(err.Error(), "1 odd") {
			t.Errorf("%s: %+v, %v", path, done, err)
		}
		if diff := cmp.Diff(before, contents(t, r.root)); diff != "" {
			t.Error(diff)
		}
	}
}

// TestEraseDeviceNumbers: the handle has to be on the device that the card is on, as far as the two are known.
func TestEraseDeviceNumbers(t *testing.T) {
	for _, tt := range []struct {
		handle, card uint64
		ok           bool
	}{{33, 33, true}, {0, 33, true}, {33, 0, true}, {0, 0, true}, {33, 34, false}} {
		r := newRig(t, t.TempDir(), cardTree)
		r.p.Card.Dev, r.l.Card.Dev, r.job.Card.Dev = tt.card, tt.card, tt.card
		r.seal()
		lied(&r.job, func(_ call, e *cardEntry) { e.dev = tt.handle })
		done, err := Erase(t.Context(), r.permit(t), r.job)
		if tt.ok && (err != nil || !done.Empty) || !tt.ok && (!errors.Is(err, errOtherCard) || done.Files != 0) {
			t.Errorf("handle on %d, card on %d: %+v, %v", tt.handle, tt.card, done, err)
		}
	}
}

// TestEraseTouchesNothingInVain: where the permit or the first question already says no, the card is not even opened.
func TestEraseTouchesNothingInVain(t *testing.T) {
	for name, change := range map[string]func(r *rig){
		"too late":     func(r *rig) { r.now = r.l.At.Add(time.Minute) },
		"another card": func(r *rig) { r.ident = says(r, func(v *Volume) { v.ID = "uuid:OTHER" }) },
	} {
		r := newRig(t, t.TempDir(), cardTree)
		calls := 0
		spied(&r.job, func(call) error { calls++; return nil })
		permit := r.permit(t)
		change(r)
		if _, err := Erase(t.Context(), permit, r.job); kindOf(err) != KindUnproven || calls != 0 {
			t.Errorf("%s: %v, %d calls to the card", name, err, calls)
		}
	}
}

// TestEraseOpensOnce: every folder is opened once for the listing, once for its files, and once more at most for its
// folders; all handles are closed.
func TestEraseOpensOnce(t *testing.T) {
	tree := maps.Clone(cardTree)
	tree["CLIPS/0.mov"] = "first in its folder, before the folder in it"
	r := newRig(t, t.TempDir(), tree)
	var subs []string
	h := spied(&r.job, func(c call) error {
		if c.op == "sub" {
			subs = append(subs, c.path)
		}
		return nil
	})
	if _, err := Erase(t.Context(), r.permit(t), r.job); err != nil {
		t.Fatal(err)
	}
	want := []string{
		"CLIPS", "CLIPS/A001", "CLIPS-1", "EMPTY", // the listing, in the order of names
		"CLIPS-1", "CLIPS", "CLIPS/A001", // files, in the order of paths
		"CLIPS", // CLIPS/A001 goes
	}
	if diff := cmp.Diff(want, subs); diff != "" {
		t.Errorf("folders opened: (-want +got)\n%s", diff)
	}
	if h.handles != 0 {
		t.Errorf("%d handles stay open", h.handles)
	}
}

// TestEraseSystemFolderUnseen: lost+found that only root may open is passed by; any other folder is not, nor is it on a
// file system that has no such folder.
func TestEraseSystemFolderUnseen(t *testing.T) {
	for _, tt := range []struct {
		fsType, path string
		ok           bool
	}{{"ext4", "lost+found", true}, {"exfat", "lost+found", false}, {"ext4", "CLIPS/lost+found", false}, {"ext4", "EMPTY", false}} {
		for _, fault := range []error{syscall.EACCES, syscall.EIO} {
			tree := maps.Clone(cardTree)
			tree[tt.path+"/"] = ""
			r := newRig(t, t.TempDir(), tree)
			r.setType(tt.fsType)
			spied(&r.job, func(c call) error {
				if c == (call{"sub", tt.path}) {
					return &os.PathError{Op: "open", Path: tt.path, Err: fault}
				}
				return nil
			})
			done, err := Erase(t.Context(), r.permit(t), r.job)
			if ok := tt.ok && fault == syscall.EACCES; ok != (err == nil) || ok != done.Empty || !ok && done.Files != 0 {
				t.Errorf("%s on %s, %v: %+v, %v", tt.path, tt.fsType, fault, done, err)
			}
		}
	}
}

// TestEraseUnknownUnseen: a folder that came since, and into which we may not look, is unknown like any other.
func TestEraseUnknownUnseen(t *testing.T) {
	r := newRig(t, t.TempDir(), cardTree)
	permit := r.permit(t)
	plant(t, filepath.Join(r.root, "CAME"), "", true)
	spied(&r.job, func(c call) error {
		if c == (call{"sub", "CAME"}) {
			return &os.PathError{Op: "open", Path: "CAME", Err: syscall.EACCES}
		}
		return nil
	})
	if done, err := Erase(t.Context(), permit, r.job); kindOf(err) != KindUnproven || !errors.Is(err, syscall.EACCES) || done.Files != 0 {
		t.Errorf("%+v, %v", done, err)
	}
}

// TestEraseStoppedWhileListing: Esc during the listing ends it at the next entry, with everything still there; a deadline
// does the same.
func TestEraseStoppedWhileListing(t *testing.T) {
	for _, cause := range []error{context.Canceled, context.DeadlineExceeded} {
		r := newRig(t, t.TempDir(), cardTree)
		ctx, cancel := context.WithCancel(t.Context())
		if cause == context.DeadlineExceeded {
			ctx, cancel = context.WithDeadline(t.Context(), time.Now().Add(time.Hour))
			ctx = expiring{ctx, new(bool)}
		}
		after := 0
		stopped := false
		spied(&r.job, func(c call) error {
			if stopped {
				after++
			}
			if c == (call{"stat", "CLIPS-1"}) {
				stopped = true
				if e, ok := ctx.(expiring); ok {
					*e.over = true
				}
				cancel()
			}
			return nil
		})
		done, err := Erase(ctx, r.permit(t), r.job)
		cancel()
		if kindOf(err) != KindStopped || !errors.Is(err, cause) || done.Files != 0 || after > 2 {
			t.Errorf("%v: %+v, %v, %d calls more", cause, done, err, after)
		}
		checkErased(t, r, done, err)
	}
}

// expiring is a context whose deadline passes when over is set.
type expiring struct {
	context.Context
	over *bool
}

func (e expiring) Err() error {
	if *e.over {
		return context.DeadlineExceeded
	}
	return nil
}

// TestErasePatience: the job's own patience is heeded.
func TestErasePatience(t *testing.T) {
	r := newRig(t, t.TempDir(), cardTree)
	r.job.Patience = 5 * time.Second
	synctest.Test(t, func(t *testing.T) {
		release := make(chan struct{})
		spied(&r.job, func(c call) error {
			if c.op == "sync" {
				<-release
			}
			return nil
		})
		begin := time.Now()
		_, err := Erase(t.Context(), r.permit(t), r.job)
		if took := time.Since(begin); took != r.job.Patience || kindOf(err) != KindStalled {
			t.Errorf("%v after %s, want it after %s", err, took, r.job.Patience)
		}
		close(release)
		synctest.Wait()
	})
}

// TestListDepth: folders may stand as deep as the limit, not deeper.
func TestListDepth(t *testing.T) {
	for _, depth := range []int{cardDeepest, cardDeepest + 1} {
		root := t.TempDir()
		plant(t, filepath.Join(root, strings.Repeat("d/", depth)), "", true)
		top, err := openCard(root)
		if err != nil {
			t.Fatal(err)
		}
		self, err := top.Self()
		if err != nil {
			t.Fatal(err)
		}
		list, _, err := listCard(t.Context(), top, self.dev, "")
		if ok := depth <= cardDeepest; ok != (err == nil) || ok && len(list.Dirs) != depth {
			t.Errorf("%d deep: %d folders, %v", depth, len(list.Dirs), err)
		}
		_ = top.Close()
	}
}

func TestSameSeat(t *testing.T) {
	v := Volume{ID: "uuid:1", Mount: "/m", Dev: 7}
	if !sameSeat(v, v) {
		t.Error("a volume is not the same as itself")
	}
	for i, change := range []func(v *Volume){
		func(v *Volume) { v.ID = "uuid:2" }, func(v *Volume) { v.Mount = "/n" }, func(v *Volume) { v.Dev = 8 }, func(v *Volume) { v.Simulated = true },
	} {
		w := v
		change(&w)
		if sameSeat(v, w) || sameSeat(w, v) {
			t.Errorf("change %d: still the same", i)
		}
	}
	v.ID = ""
	if sameSeat(v, v) {
		t.Error("a volume without identity is the same as itself")
	}
}

func TestSplitPath(t *testing.T) {
	for path, want := range map[string][]string{"a": {"", "a"}, "a/b": {"a", "b"}, "a/b/c": {"a/b", "c"}} {
		if dir, name := splitPath(path); !slices.Equal([]string{dir, name}, want) || joinPath(dir, name) != path {
			t.Errorf("splitPath(%q) = %q, %q", path, dir, name)
		}
	}
}
