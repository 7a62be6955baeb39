//go:build linux || darwin

package guard

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

func TestErase(t *testing.T) {
	r := newRig(t, t.TempDir(), cardTree)
	var told []int
	r.job.Progress = func(n int) { told = append(told, n) }
	done, err := Erase(t.Context(), r.permit(t), r.job)
	if err != nil {
		t.Fatal(err)
	}
	want := Erased{Files: 6, Bytes: 21, Folders: 4, Empty: true}
	if diff := cmp.Diff(want, done); diff != "" {
		t.Errorf("(-want +got)\n%s", diff)
	}
	if left := contents(t, r.root); len(left) != 0 {
		t.Errorf("left on the card: %q", left)
	}
	if diff := cmp.Diff([]int{1, 2, 3, 4, 5, 6}, told); diff != "" {
		t.Errorf("progress: %s", diff)
	}
}

// TestEraseKeepsSystemFolder: lost+found is no file of the camera; it stays, and the card counts as empty. What stands in
// it is unknown like anything else.
func TestEraseKeepsSystemFolder(t *testing.T) {
	r := newRig(t, t.TempDir(), cardTree)
	if err := os.Mkdir(filepath.Join(r.root, "lost+found"), 0o700); err != nil {
		t.Fatal(err)
	}
	r.p.Dirs = append(r.p.Dirs, "lost+found") // as a scan that does not know it may have it
	r.l.Listing.Dirs = append(r.l.Listing.Dirs, "lost+found")
	r.seal()
	if done, err := Erase(t.Context(), r.permit(t), r.job); err != nil || !done.Empty || done.Left != 0 {
		t.Errorf("Erase = %+v, %v", done, err)
	}
	if diff := cmp.Diff(map[string]string{"lost+found": "/"}, contents(t, r.root)); diff != "" {
		t.Error(diff)
	}

	r = newRig(t, t.TempDir(), cardTree)
	plant(t, filepath.Join(r.root, "lost+found", "#12"), "found", false)
	before := contents(t, r.root)
	done, err := Erase(t.Context(), r.permit(t), r.job)
	if kindOf(err) != KindUnproven || done.Files != 0 {
		t.Errorf("something in lost+found: %+v, %v", done, err)
	}
	if diff := cmp.Diff(before, contents(t, r.root)); diff != "" {
		t.Error(diff)
	}
}

// TestInvariant6RefusesBeforeTheFirstRemoval: whatever does not fit stops the erase while everything is still there.
func TestInvariant6RefusesBeforeTheFirstRemoval(t *testing.T) {
	in := func(r *rig, path string) string { return filepath.Join(r.root, path) }
	must := func(err error) {
		if err != nil {
			panic(err)
		}
	}
	tests := []struct {
		name   string
		change func(r *rig)
		kind   Kind
		cause  error
	}{
		{"an unknown file", func(r *rig) { must(os.WriteFile(in(r, "CLIPS/new"), nil, 0o600)) }, KindUnproven, errNotProven},
		{"an unknown hidden file", func(r *rig) { must(os.WriteFile(in(r, ".x"), nil, 0o600)) }, KindUnproven, errNotProven},
		{"an unknown folder", func(r *rig) { must(os.Mkdir(in(r, "CLIPS/NEW"), 0o700)) }, KindUnproven, errNotProven},
		{"a link", func(r *rig) { must(os.Symlink("index.xml", in(r, "link"))) }, KindUnproven, errNotProven},
		{"a pipe", func(r *rig) { must(mkfifo(in(r, "pipe"))) }, KindUnproven, errNotProven},
		{"a file grown", func(r *rig) { must(os.WriteFile(in(r, "CLIPS/c.mov"), []byte("cc"), 0o600)) }, KindUnproven, errNotProven},
		{"a file touched", func(r *rig) { must(os.Chtimes(in(r, "CLIPS/c.mov"), time.Now(), time.Unix(1, 0))) }, KindUnproven, errNotProven},
		{"a file gone", func(r *rig) { must(os.Remove(in(r, "CLIPS/c.mov"))) }, KindUnproven, errNotProven},
		{"a folder gone", func(r *rig) { must(os.Remove(in(r, "EMPTY"))) }, KindUnproven, errNotProven},
		{"a file renamed", func(r *rig) { must(os.Rename(in(r, "index.xml"), in(r, "Index.xml"))) }, KindUnproven, errNotProven},
		{"a file is a link now", func(r *rig) {
			must(os.Rename(in(r, "index.xml"), in(r, "x")))
			must(os.Symlink("x", in(r, "index.xml")))
		}, KindUnproven, errNotProven},
		{"a file is a folder now", func(r *rig) { must(os.Remove(in(r, "index.xml"))); must(os.Mkdir(in(r, "index.xml"), 0o700)) },
			KindUnproven, errNotProven},
		{"an empty card", func(r *rig) { must(os.RemoveAll(r.root)); must(os.Mkdir(r.root, 0o700)) }, KindUnproven, errNotProven},
		{"no card", func(r *rig) { must(os.RemoveAll(r.root)) }, KindGone, os.ErrNotExist},
		{"folders without end", func(r *rig) { must(os.MkdirAll(in(r, strings.Repeat("d/", cardDeepest+1)), 0o700)) }, KindUnproven, nil},

		{"no proof", func(r *rig) { r.job.Proof = nil }, KindUnproven, errIncomplete},
		{"no identifier", func(r *rig) { r.job.Ident = nil }, KindUnproven, errIncomplete},
		{"no look at the copies", func(r *rig) { r.job.Copies = nil }, KindUnproven, errIncomplete},
		{"a copy that is gone", func(r *rig) { r.copies = errors.New("RAID is not there") }, KindUnproven, ErrCopies},
		{"no clock", func(r *rig) { r.job.Now = nil }, KindUnproven, errIncomplete},
		{"the proof was changed", func(r *rig) { r.p.Files[0].Hash++ }, KindUnproven, ErrOther},
		{"the proof contradicts itself", func(r *rig) { r.p.Files[0].Path = "../x" }, KindUnproven, errPath},
		{"a card that is not the permit's", func(r *rig) { r.job.Card.ID = "uuid:OTHER" }, KindUnproven, ErrOther},
		{"seated elsewhere than the permit says", func(r *rig) { r.job.Card.Mount += "/." }, KindUnproven, ErrOther},
		{"mounted again since", func(r *rig) { r.job.Card.Dev++ }, KindUnproven, ErrOther},
		{"a simulated card with a real permit", func(r *rig) { r.job.Card.Simulated = true }, KindUnproven, ErrOther},
		{"another card now", func(r *rig) { r.ident = says(r, func(v *Volume) { v.ID = "uuid:OTHER" }) }, KindUnproven, errOtherCard},
		{"no identity now", func(r *rig) { r.ident = says(r, func(v *Volume) { v.ID = "" }) }, KindUnproven, errOtherCard},
		{"seen elsewhere now", func(r *rig) { r.ident = says(r, func(v *Volume) { v.Mount = "/" }) }, KindUnproven, errOtherCard},
		{"another device now", func(r *rig) { r.ident = says(r, func(v *Volume) { v.Dev++ }) }, KindUnproven, errOtherCard},
		{"simulated now", func(r *rig) { r.ident = says(r, func(v *Volume) { v.Simulated = true }) }, KindUnproven, errOtherCard},
		{"another card at the second question", func(r *rig) {
			first := r.ident
			r.ident = func(path string) (Volume, error) {
				r.ident = says(r, func(v *Volume) { v.ID = "uuid:OTHER" })
				return first(path)
			}
		}, KindUnproven, errOtherCard},
		{"read-only now", func(r *rig) { r.ident = says(r, func(v *Volume) { v.ReadOnly = true }) }, KindErase, errReadOnly},
		{"gone now", func(r *rig) {
			r.ident = func(string) (Volume, error) {
				return Volume{}, &Error{Op: "identify", Kind: KindGone, Err: os.ErrNotExist}
			}
		}, KindGone, os.ErrNotExist},
		{"not allowed to ask", func(r *rig) {
			r.ident = func(string) (Volume, error) {
				return Volume{}, &Error{Op: "identify", Kind: KindDenied, Err: os.ErrPermission}
			}
		}, KindDenied, os.ErrPermission},
		{"too late", func(r *rig) { r.now = r.l.At.Add(time.Minute) }, KindUnproven, ErrExpired},
		{"the clock went back", func(r *rig) { r.now = r.l.At.Add(-1) }, KindUnproven, ErrExpired},
		{"too late after the listing", func(r *rig) {
			spied(&r.job, func(c call) error {
				if c.op == "names" {
					r.now = r.l.At.Add(time.Minute)
				}
				return nil
			})
		}, KindUnproven, ErrExpired},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			r := newRig(t, filepath.Join(t.TempDir(), "card"), cardTree)
			permit := r.permit(t)
			tt.change(r)
			var before map[string]string
			if tt.kind != KindGone || tt.name == "gone now" {
				before = contents(t, r.root)
			}
			done, err := Erase(t.Context(), permit, r.job)
			if kindOf(err) != tt.kind || tt.cause != nil && !errors.Is(err, tt.cause) {
				t.Errorf("error %v, want kind %s with %v", err, tt.kind, tt.cause)
			}
			if done.Files != 0 || done.Folders != 0 || done.Bytes != 0 || done.Empty || r.job.Proof != nil && done.Left != len(r.p.Files) {
				t.Errorf("says %+v", done)
			}
			if before != nil {
				if diff := cmp.Diff(before, contents(t, r.root)); diff != "" {
					t.Errorf("something changed on the card:\n%s", diff)
				}
			}
			// The permit is used up even so.
			if _, err := Erase(t.Context(), permit, r.job); !errors.Is(err, ErrUsed) {
				t.Errorf("the permit again: %v, want ErrUsed", err)
			}
		})
	}
}

// says makes an identifier that answers with the card, changed.
func says(r *rig, change func(v *Volume)) identify {
	v := r.job.Card
	change(&v)
	return func(string) (Volume, error) { return v, nil }
}

// TestInvariant5EraseNeedsPermit: without a permit of the lock nothing happens.
func TestInvariant5EraseNeedsPermit(t *testing.T) {
	r := newRig(t, t.TempDir(), cardTree)
	before := contents(t, r.root)
	void := r.permit(t)
	void.Void()
	for name, tt := range map[string]struct {
		permit *Permit
		cause  error
	}{"none": {nil, ErrClosed}, "made by hand": {&Permit{}, ErrClosed}, "voided": {void, ErrVoid}} {
		if done, err := Erase(t.Context(), tt.permit, r.job); kindOf(err) != KindUnproven || !errors.Is(err, tt.cause) || done.Files != 0 {
			t.Errorf("%s: Erase = %+v, %v, want %v", name, done, err, tt.cause)
		}
	}
	if diff := cmp.Diff(before, contents(t, r.root)); diff != "" {
		t.Error(diff)
	}
}

// TestInvariant9EraseNeverMixes: a drill's permit erases a simulated card and no real one; a shift's permit the other way.
func TestInvariant9EraseNeverMixes(t *testing.T) {
	for _, drill := range []bool{false, true} {
		r := newRig(t, t.TempDir(), cardTree)
		if drill {
			r.job.Card.Simulated = true
			simulate(&r.asked)
		}
		permit := r.permit(t)
		right := r.job.Card
		r.job.Card.Simulated = !drill
		if done, err := Erase(t.Context(), permit, r.job); !errors.Is(err, ErrOther) || done.Files != 0 {
			t.Errorf("drill %v, card of the other kind: %+v, %v", drill, done, err)
		}
		r.job.Card = right
		r.ident = says(r, func(v *Volume) { v.Simulated = !drill })
		if done, err := Erase(t.Context(), r.permit(t), r.job); !errors.Is(err, errOtherCard) || done.Files != 0 {
			t.Errorf("drill %v, volume of the other kind: %+v, %v", drill, done, err)
		}
		if n := len(contents(t, r.root)); n != 10 {
			t.Errorf("drill %v: %d entries left of 10", drill, n)
		}
		r.ident = says(r, func(*Volume) {})
		if done, err := Erase(t.Context(), r.permit(t), r.job); err != nil || !done.Empty {
			t.Errorf("drill %v, the right card: %+v, %v", drill, done, err)
		}
	}
}

// TestEraseFaults fails every single call once: the report is exact each time, and nothing is said to be done that is not.
func TestEraseFaults(t *testing.T) {
	all := callsOf(t)
	for n := range all {
		r := newRig(t, t.TempDir(), cardTree)
		i := 0
		h := spied(&r.job, func(call) error {
			i++
			if i == n+1 {
				return &os.PathError{Op: "x", Path: "y", Err: syscall.EIO}
			}
			return nil
		})
		done, err := Erase(t.Context(), r.permit(t), r.job)
		checkErased(t, r, done, err)
		want := KindErase
		switch {
		case all[n].op == "open" || all[n].op == "self":
			want = KindGone
		case done.Files == 0 && all[n].op != "remove file":
			want = KindUnproven
		}
		if kindOf(err) != want || !errors.Is(err, syscall.EIO) || done.Empty || done.Doubtful != "" {
			t.Errorf("%v fails: %+v, %v, want kind %s", all[n], done, err, want)
		}
		if h.handles != 0 {
			t.Errorf("%v fails: %d handles stay open", all[n], h.handles)
		}
	}
}

// TestEraseStalls lets every single call hang: the erase gives up after its patience, touches nothing any more, and says
// which file is doubtful.
func TestEraseStalls(t *testing.T) {
	all := callsOf(t)
	for n := range all {
		root := t.TempDir()
		r := newRig(t, root, cardTree)
		synctest.Test(t, func(t *testing.T) {
			release := make(chan struct{})
			after, i := 0, 0
			spied(&r.job, func(call) error {
				i++
				if i == n+1 {
					<-release
				} else if i > n+1 {
					after++
				}
				return nil
			})
			begin := time.Now()
			done, err := Erase(t.Context(), r.permit(t), r.job)
			if kindOf(err) != KindStalled || time.Since(begin) != time.Minute {
				t.Errorf("%v hangs: %+v, %v after %s", all[n], done, err, time.Since(begin))
			}
			if doubt := all[n].op == "remove file"; doubt != (done.Doubtful != "") || doubt && done.Doubtful != all[n].path {
				t.Errorf("%v hangs: doubtful is %q", all[n], done.Doubtful)
			}
			checkErased(t, r, done, err)
			close(release)
			synctest.Wait()
			if after != 0 && all[n].op != "open" {
				t.Errorf("%v hangs: %d calls after giving up", all[n], after)
			}
			checkErased(t, r, done, err) // whatever it did when it was let go, it was that one call
		})
	}
}

// TestEraseStopped: Esc between two files stops there, and the report is exact.
func TestEraseStopped(t *testing.T) {
	for stop := range 7 {
		r := newRig(t, t.TempDir(), cardTree)
		ctx, cancel := context.WithCancel(t.Context())
		defer cancel()
		r.job.Progress = func(n int) {
			if n == stop {
				cancel()
			}
		}
		if stop == 0 {
			cancel()
		}
		done, err := Erase(ctx, r.permit(t), r.job)
		if kindOf(err) != KindStopped || !errors.Is(err, context.Canceled) || done.Files != stop || done.Empty {
			t.Errorf("stopped after %d: %+v, %v", stop, done, err)
		}
		checkErased(t, r, done, err)
	}
}

// TestEraseStoppedAtTheCopies: Esc while the drives are asked whether the copies still stand is a stop, not copies that
// are gone.
func TestEraseStoppedAtTheCopies(t *testing.T) {
	r := newRig(t, t.TempDir(), cardTree)
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	r.job.Copies = func(context.Context, *Proof) error {
		cancel()
		return errors.New("RAID did not answer in time")
	}
	done, err := Erase(ctx, r.permit(t), r.job)
	if kindOf(err) != KindStopped || errors.Is(err, ErrCopies) || done.Files != 0 {
		t.Errorf("stopped at the copies: %+v, %v", done, err)
	}
	checkErased(t, r, done, err)
}

// TestEraseAnyTree: a tree of any names is erased to the last entry, and one more thing on it keeps all of it.
func TestEraseAnyTree(t *testing.T) {
	name := rapid.Map(rapid.SliceOfN(rapid.ByteRange(1, 255), 1, 6), func(b []byte) string {
		return "n" + strings.ReplaceAll(string(b), "/", "_")
	})
	rapid.Check(t, func(rt *rapid.T) {
		root, err := os.MkdirTemp(t.TempDir(), "card")
		if err != nil {
			rt.Fatal(err)
		}
		tree := map[string]string{"always": "there"}
		for range rapid.IntRange(0, 8).Draw(rt, "entries") {
			path := strings.Join(rapid.SliceOfN(name, 1, 4).Draw(rt, "path"), "/")
			if rapid.Bool().Draw(rt, "file") {
				tree["f/"+path+".f"] = "x"
			} else {
				tree["d/"+path+"/"] = ""
			}
		}
		r := newRig(t, root, tree)
		if rapid.Bool().Draw(rt, "extra") {
			permit := r.permit(t)
			dir := rapid.SampledFrom(append([]string{"."}, r.p.Dirs...)).Draw(rt, "where")
			plant(t, filepath.Join(root, dir, "extra"), "new", false)
			before := contents(t, root)
			if done, err := Erase(t.Context(), permit, r.job); kindOf(err) != KindUnproven || done.Files != 0 {
				rt.Fatalf("with an extra file: %+v, %v", done, err)
			}
			if diff := cmp.Diff(before, contents(t, root)); diff != "" {
				rt.Fatal(diff)
			}
			return
		}
		done, err := Erase(t.Context(), r.permit(t), r.job)
		if left := contents(t, root); err != nil || !done.Empty || len(left) != 0 {
			rt.Fatalf("%+v, %v, left %q", done, err, left)
		}
	})
}
