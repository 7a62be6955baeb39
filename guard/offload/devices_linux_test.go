package offload

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"twobin/guard"
	"twobin/guard/offload/internal/faultfs"
)

// atStage is a Recorder that writes nothing and calls a function between the last write and the read-back.
type atStage func(root *os.Root, folder string, c int) error

func (f atStage) Stage(_ context.Context, root *os.Root, folder string, _ *guard.Proof, c int) (Staged, error) {
	return nothing{}, f(root, folder, c)
}

type nothing struct{}

func (nothing) Publish() error { return nil }
func (nothing) Discard() error { return nil }

// flip changes one bit of what stands at the given content in an image, without the file system's knowledge.
func flip(t testing.TB, img string, content []byte) error {
	t.Helper()
	data, err := os.ReadFile(img)
	if err != nil {
		return err
	}
	at := bytes.Index(data, content[:4096])
	if at < 0 {
		return fmt.Errorf("the content is not on the device yet")
	}
	f, err := os.OpenFile(img, os.O_WRONLY, 0)
	if err != nil {
		return err
	}
	defer f.Close()
	_, err = f.WriteAt([]byte{data[at+1000] ^ 4}, int64(at+1000))
	return err
}

// TestBitFlippedUnderTheCache: the flush was fine, whoever reads through the cache sees the right bytes, the device has
// others.
func TestBitFlippedUnderTheCache(t *testing.T) {
	t.Parallel()
	for _, name := range []string{takeC001, frame2} {
		src := t.TempDir()
		cardTree(t, src)
		at, _, img := ext4(t, 128<<20)
		job := plainJob(t, src, t.TempDir(), at)
		want, err := os.ReadFile(filepath.Join(src, name))
		if err != nil {
			t.Fatal(err)
		}
		job.Recorder = atStage(func(_ *os.Root, _ string, c int) error {
			if c != 1 {
				return nil
			}
			unix.Sync()
			warm, err := os.ReadFile(rolled(job.Targets[1], name))
			if err != nil || !bytes.Equal(warm, want) {
				return fmt.Errorf("the copy is wrong before the flip (%v)", err)
			}
			if err := flip(t, img, want); err != nil {
				return err
			}
			if warm, err := os.ReadFile(rolled(job.Targets[1], name)); err != nil || !bytes.Equal(warm, want) {
				return fmt.Errorf("the cache shows the flip, so this test shows nothing (%v)", err)
			}
			return nil
		})
		p, errs := Run(t.Context(), job, nil)
		if len(errs) != 1 || errs[0].Kind != guard.KindMismatch || errs[0].Item != "DRIVE2" || errs[0].Path != name {
			t.Errorf("errors = %v, want one mismatch of %s on DRIVE2", errs, name)
		}
		if !p.Proven(&p.Copies[0]) || p.Proven(&p.Copies[1]) {
			t.Errorf("proven = %v, %v, want true, false", p.Proven(&p.Copies[0]), p.Proven(&p.Copies[1]))
		}
	}
}

// deviceRow is a fault of a real volume that comes while the second half of the large take is read.
type deviceRow struct {
	name string
	size int64
	do   func(t *testing.T, at, device, img string) error
	want []guard.Kind // any of these
}

var deviceTable = []deviceRow{
	{"unmounted by force", 128 << 20, func(t *testing.T, at, _, _ string) error {
		return exec.Command("umount", "-l", at).Run()
	}, []guard.Kind{guard.KindGone}},
	{"medium cut off", 128 << 20, func(t *testing.T, _, device, img string) error {
		if err := os.Truncate(img, 1<<20); err != nil {
			return err
		}
		return exec.Command("losetup", "-c", device).Run()
	}, []guard.Kind{guard.KindWrite, guard.KindReadOnly, guard.KindReadBack, guard.KindGone}},
	{"turns read-only", 128 << 20, func(t *testing.T, at, device, _ string) error {
		if err := exec.Command("mount", "-o", "remount,errors=remount-ro", at).Run(); err != nil {
			return err
		}
		return os.WriteFile("/sys/fs/ext4/"+filepath.Base(device)+"/trigger_fs_error", []byte("test"), 0)
	}, []guard.Kind{guard.KindReadOnly, guard.KindWrite}},
	{"too small", 24 << 20, func(*testing.T, string, string, string) error { return nil }, []guard.Kind{guard.KindNoSpace}},
	{"folder made immutable", 128 << 20, func(t *testing.T, at, _, _ string) error {
		dir := at + "/Show/day001_2026-11-25/A/A003/CLIPS"
		t.Cleanup(func() { _ = exec.Command("chattr", "-i", dir).Run() })
		return exec.Command("chattr", "+i", dir).Run()
	}, []guard.Kind{guard.KindDenied}},
}

// TestVolumeFaults: real mounts that fail in mid-copy. The other drive is proven each time.
func TestVolumeFaults(t *testing.T) {
	t.Parallel()
	for _, row := range deviceTable {
		t.Run(row.name, func(t *testing.T) {
			t.Parallel()
			at, device, img := ext4(t, row.size)
			fsys, src, backing := spoiled(t)
			cardTree(t, src)
			put(t, src, "CLIPS/A003C003.mov", 20<<20)
			before := tree(t, backing)
			job := plainJob(t, src, t.TempDir(), at)
			first := once()
			var failed error
			fsys.Set(faultfs.Hooks{Read: func(path string, off int64, _ []byte) (e unix.Errno) {
				if path == takeC001 && off >= half && first() {
					failed = row.do(t, at, device, img)
				}
				return 0
			}})
			p, errs := Run(t.Context(), job, nil)
			if failed != nil {
				t.Fatalf("the fault could not be made: %v", failed)
			}
			if len(errs) != 1 || errs[0].Item != "DRIVE2" {
				t.Fatalf("errors = %v, want one of DRIVE2", errs)
			}
			found := false
			for _, k := range row.want {
				found = found || errs[0].Kind == k
			}
			if !found {
				t.Errorf("error = %v, want one of kinds %v", errs[0], row.want)
			}
			if len(p.Copies[0].Back) != len(p.Files) || p.Copies[0].Fault != "" {
				t.Errorf("the other drive suffered: %q", p.Copies[0].Fault)
			}
			if after := tree(t, backing); after != before {
				t.Error("the card changed")
			}
			if _, err := os.Lstat(at + "/Show"); row.name == "unmounted by force" && err == nil {
				t.Error("something was written into the folder of the system disk")
			}
		})
	}
}

// TestFullLate: the volume's store is smaller than the volume, so that the drive says "full" only when flushed.
func TestFullLate(t *testing.T) {
	t.Parallel()
	needRoot(t)
	small := t.TempDir()
	command(t, "mount", "-t", "tmpfs", "-o", "size=24m", "tmpfs", small)
	t.Cleanup(func() { _ = exec.Command("umount", "-l", small).Run() })
	img := filepath.Join(small, "image")
	if err := os.WriteFile(img, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(img, 200<<20); err != nil {
		t.Fatal(err)
	}
	command(t, "mkfs.ext4", "-q", "-E", "nodiscard", "-O", "^has_journal", img)
	at := mounted(t, loopDevice(t, img))
	src := t.TempDir()
	cardTree(t, src)
	put(t, src, "CLIPS/A003C003.mov", 40<<20)
	job := plainJob(t, src, t.TempDir(), at)
	if errs := Check(t.Context(), job); len(errs) != 0 {
		t.Fatalf("Check = %v: the volume was to look large enough", errs)
	}
	p, errs := Run(t.Context(), job, nil)
	if len(errs) != 1 || errs[0].Item != "DRIVE2" || p.Proven(&p.Copies[1]) || !p.Proven(&p.Copies[0]) {
		t.Errorf("errors = %v, proven = %v, %v", errs, p.Proven(&p.Copies[0]), p.Proven(&p.Copies[1]))
	}
}

// TestCheckKnowsBefore: everything that Check can know of real volumes, without a byte of the card written.
func TestCheckKnowsBefore(t *testing.T) {
	t.Parallel()
	src := t.TempDir()
	cardTree(t, src)
	tiny, _, _ := ext4(t, 16<<20)
	readOnly, _, _ := ext4(t, 64<<20)
	command(t, "mount", "-o", "remount,ro", readOnly)
	taken := t.TempDir()
	put(t, taken, "Show/day001_2026-11-25/A/A003/"+frame2, 12)
	blocked := t.TempDir()
	put(t, blocked, "Show/day001_2026-11-25", 12)
	gone := filepath.Join(t.TempDir(), "nothing")
	job := plainJob(t, src, tiny, readOnly, taken, blocked, gone)
	job.Targets[2].Volume.Disk = job.Targets[0].Volume.Disk
	type seen struct {
		item string
		kind guard.Kind
	}
	want := map[seen]bool{
		{"DRIVE1", guard.KindNoSpace}: true, {"DRIVE2", guard.KindReadOnly}: true, {"DRIVE3", guard.KindExists}: true,
		{"DRIVE4", guard.KindExists}: true, {"DRIVE5", guard.KindGone}: true, {"DRIVE3", guard.KindSameDevice}: true,
	}
	for _, err := range Check(t.Context(), job) {
		if !want[seen{err.Item, err.Kind}] {
			t.Errorf("Check = %v, not expected", err)
		}
		if err.Kind == guard.KindNoSpace && err.Need <= 0 {
			t.Errorf("%v does not say how much is lacking", err)
		}
		delete(want, seen{err.Item, err.Kind})
	}
	for s := range want {
		t.Errorf("Check said nothing of %v on %s", s.kind, s.item)
	}
}

// TestFoldingVolume uses exFAT over FUSE, which folds case, forbids characters, and cannot be read past its cache.
func TestFoldingVolume(t *testing.T) {
	t.Parallel()
	needRoot(t, "mkfs.exfat", "mount.exfat-fuse")
	img := image(t, 64<<20)
	command(t, "mkfs.exfat", img)
	at := t.TempDir()
	command(t, "mount.exfat-fuse", loopDevice(t, img), at)
	t.Cleanup(func() { _ = exec.Command("umount", "-l", at).Run() })
	for _, names := range [][]string{{"CLIPS/a.mov", "CLIPS/A.mov"}, {"clips/x", "CLIPS/y"}, {"what?.mov"}, {"no\xff.mov"}} {
		src := t.TempDir()
		for _, name := range names {
			put(t, src, name, 10)
		}
		job := plainJob(t, src, at)
		errs := Check(t.Context(), job)
		if len(errs) != 1 || errs[0].Kind != guard.KindNames {
			t.Errorf("Check of %q = %v, want one of kind %v", names, errs, guard.KindNames)
		}
		if left, _ := os.ReadDir(at); len(left) != 0 {
			t.Errorf("Check left %v", left)
		}
		if len(names) == 2 {
			if _, errs := Run(t.Context(), job, nil); len(errs) != 1 || errs[0].Kind != guard.KindNames {
				t.Errorf("Run of %q = %v, want one of kind %v", names, errs, guard.KindNames)
			}
			command(t, "rm", "-r", at+"/Show")
		}
	}
	src := t.TempDir()
	put(t, src, takeC001, 3<<20)
	put(t, src, frame2, 5000)
	job := plainJob(t, src, at)
	if errs := Check(t.Context(), job); len(errs) != 0 {
		t.Errorf("Check = %v", errs)
	}
	p, errs := Run(t.Context(), job, nil)
	if len(errs) != 0 || len(p.Copies[0].Back) != 2 || p.Copies[0].Honesty != guard.NotPastCache || p.Proven(&p.Copies[0]) {
		t.Errorf("errors = %v, copy = %+v, want a whole copy that is not proven past the cache", errs, p.Copies[0])
	}
}

// TestMemoryIsNoDevice: a copy on tmpfs is whole, and never proven.
func TestMemoryIsNoDevice(t *testing.T) {
	t.Parallel()
	src, dir := t.TempDir(), memoryDir(t)
	cardTree(t, src)
	job := plainJob(t, src, dir)
	p, errs := Run(t.Context(), job, nil)
	if len(errs) != 0 || p.Copies[0].Honesty != guard.NotPastCache || p.Proven(&p.Copies[0]) || len(p.Copies[0].Back) != len(p.Files) {
		t.Errorf("errors = %v, honesty = %v", errs, p.Copies[0].Honesty)
	}
	job.Source.Simulated, job.Targets[0].Volume.Simulated = true, true
	if p, errs := Run(t.Context(), job, nil); len(errs) != 0 || !p.Proven(&p.Copies[0]) || p.Copies[0].Honesty != guard.FromSimulated {
		t.Errorf("simulated: errors = %v, honesty = %v", errs, p.Copies[0].Honesty)
	}
}

// TestStopped: a stop is not a failure, leaves nothing half under a final name, and the next run goes on.
func TestStopped(t *testing.T) {
	t.Parallel()
	fsys, src, backing := spoiled(t)
	cardTree(t, src)
	job := plainJob(t, src, t.TempDir(), t.TempDir())
	ctx, cancel := context.WithCancel(t.Context())
	fsys.Set(faultfs.Hooks{Read: func(path string, off int64, _ []byte) unix.Errno {
		if path == takeC001 && off >= half {
			cancel()
		}
		return 0
	}})
	began := time.Now()
	_, errs := Run(ctx, job, nil)
	if len(errs) != 1 || errs[0].Kind != guard.KindStopped {
		t.Errorf("errors = %v, want one of kind %v", errs, guard.KindStopped)
	}
	if took := time.Since(began); took > 20*time.Second {
		t.Errorf("stopping took %v", took)
	}
	for _, target := range job.Targets {
		if s := tree(t, target.Path); strings.Contains(s, ".part") {
			t.Errorf("half copies are left: %s", s)
		}
	}
	fsys.Set(faultfs.Hooks{})
	onlyRightFiles(t, job, backing)
	retrySucceeds(t, job, backing)
}
