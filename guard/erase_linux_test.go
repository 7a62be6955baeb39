package guard

import (
	"errors"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"github.com/google/go-cmp/cmp"
	"golang.org/x/sys/unix"
)

// mount mounts and unmounts again when the test ends.
func mount(t *testing.T, source, target, fsType string, flags uintptr) {
	t.Helper()
	if err := unix.Mount(source, target, fsType, flags, ""); err != nil {
		t.Fatalf("mount %s on %s: %v", source, target, err)
	}
	t.Cleanup(func() { _ = unix.Unmount(target, unix.MNT_DETACH) })
}

// TestInvariant6MountBelowTheCard: another file system below the card is never entered, whether it is there from the
// beginning or comes before any call of the erase; nor is a second sight of the card's own file system.
func TestInvariant6MountBelowTheCard(t *testing.T) {
	needRoot(t)
	all := callsOf(t)
	kinds := map[string]func(t *testing.T, below, twin string){
		"another file system": func(t *testing.T, below, _ string) {
			mount(t, "tmpfs", below, "tmpfs", 0)
			for path, text := range cardTree {
				if dir, name := splitPath(path); dir == "CLIPS/A001" {
					plant(t, filepath.Join(below, name), text, false)
				}
			}
		},
		"a second sight of the same file system": func(t *testing.T, below, twin string) {
			mount(t, twin, below, "", unix.MS_BIND)
		},
	}
	for name, seat := range kinds {
		for n := -1; n < len(all); n++ {
			base := t.TempDir()
			r := newRig(t, filepath.Join(base, "card"), cardTree)
			below, twin := filepath.Join(r.root, "CLIPS/A001"), filepath.Join(base, "twin")
			survivors := map[string]string{}
			for _, f := range r.p.Files {
				if dir, file := splitPath(f.Path); dir == "CLIPS/A001" {
					plant(t, filepath.Join(twin, file), cardTree[f.Path], false)
					setTime(t, filepath.Join(twin, file), f.MTime)
					survivors[filepath.Join(below, file)] = cardTree[f.Path]
				}
			}
			seated := false
			put := func() {
				if _, err := os.Stat(below); err != nil {
					return // that folder is gone already
				}
				seat(t, below, twin)
				seated = true
				for _, f := range r.p.Files {
					if dir, file := splitPath(f.Path); dir == "CLIPS/A001" {
						setTime(t, filepath.Join(below, file), f.MTime)
					}
				}
			}
			i := 0
			spied(&r.job, func(call) error {
				if i++; i == n+1 {
					put()
				}
				return nil
			})
			permit := r.permit(t)
			if n < 0 {
				put()
			}
			done, err := Erase(t.Context(), permit, r.job)
			if !seated {
				continue
			}
			survive(t, name, survivors)
			if n < 0 && (kindOf(err) != KindUnproven || done.Files != 0) {
				t.Errorf("%s from the beginning: %+v, %v", name, done, err)
			}
			if done.Empty {
				t.Errorf("%s at call %d: the card is said to be empty", name, n)
			}
			if err := unix.Unmount(below, unix.MNT_DETACH); err != nil {
				t.Fatal(err)
			}
		}
	}
}

// TestEraseRealCard erases an ext4 card on a loop device: lost+found stays, the free space comes back, and a read-only
// card is left alone.
func TestEraseRealCard(t *testing.T) {
	needRoot(t)
	for _, tool := range []string{"mkfs.ext4", "losetup"} {
		if _, err := exec.LookPath(tool); err != nil {
			if os.Getenv("TWOBIN_TEST_ALL") == "1" {
				t.Fatalf("lacks %s", tool)
			}
			t.Skipf("lacks %s", tool)
		}
	}
	base := t.TempDir()
	image, root := filepath.Join(base, "image"), filepath.Join(base, "card")
	plant(t, root, "", true)
	tool(t, "truncate", "-s", "16M", image)
	tool(t, "mkfs.ext4", "-q", image)
	dev := strings.TrimSpace(tool(t, "losetup", "-f", "--show", image))
	t.Cleanup(func() { tool(t, "losetup", "-d", dev) })
	mount(t, dev, root, "ext4", 0)
	var fresh, after unix.Statfs_t
	if err := unix.Statfs(root, &fresh); err != nil {
		t.Fatal(err)
	}
	tree := maps.Clone(cardTree)
	tree["big.mov"] = strings.Repeat("x", 4<<20)
	r := newRig(t, root, tree)
	remount(t, root, unix.MS_RDONLY)
	if done, err := Erase(t.Context(), r.permit(t), r.job); kindOf(err) != KindErase || !errors.Is(err, syscall.EROFS) || done.Files != 0 {
		t.Errorf("read-only card: %+v, %v", done, err)
	}
	remount(t, root, 0)

	done, err := Erase(t.Context(), r.permit(t), r.job)
	if err != nil || !done.Empty || done.Files != 7 {
		t.Errorf("Erase = %+v, %v", done, err)
	}
	if diff := cmp.Diff(map[string]string{"lost+found": "/"}, contents(t, root)); diff != "" {
		t.Error(diff)
	}
	if err := unix.Statfs(root, &after); err != nil {
		t.Fatal(err)
	}
	if after.Bfree+1 < fresh.Bfree { // a directory block may stay
		t.Errorf("%d blocks free after, %d when fresh", after.Bfree, fresh.Bfree)
	}
}

func remount(t *testing.T, target string, flags uintptr) {
	t.Helper()
	if err := unix.Mount("", target, "", unix.MS_REMOUNT|flags, ""); err != nil {
		t.Fatal(err)
	}
}

func tool(t *testing.T, name string, args ...string) string {
	t.Helper()
	out, err := exec.Command(name, args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s %q: %v: %s", name, args, err, out)
	}
	return string(out)
}
