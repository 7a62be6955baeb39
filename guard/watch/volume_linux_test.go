package watch

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"twobin/guard"
)

// The identity is what blkid (util-linux), a general tool, reads from the same device; it is the same at another place.
func TestIdentitySurvivesSeatingAgain(t *testing.T) {
	needRoot(t, "losetup", "mkfs.ext4", "blkid")
	t.Parallel()
	d := t.TempDir()
	one, two := filepath.Join(d, "one"), filepath.Join(d, `two with "odd" \ name`+"\n\t")
	dev := ext4(t, "ROLL A")
	w := watchReaders(t)
	began := time.Now()
	mount(t, dev, one, "ext4", 0, "")
	first, at := arrived(t, w, one)
	if took := at.Sub(began); took > time.Second { // TestSeenInTime measures
		t.Errorf("seen after %s", took)
	}
	want := guard.Volume{
		Mount: one, Device: dev, FSType: "ext4", Name: "ROLL A", Disk: filepath.Base(dev),
		ID: "uuid:" + run(t, "blkid", "-p", "-s", "UUID", "-o", "value", dev),
	}
	var st unix.Stat_t
	must(t, unix.Stat(one, &st))
	want.Dev = st.Dev
	got := first
	got.Size, got.Free = 0, 0
	if got != want {
		t.Errorf("arrived %+v, want %+v", got, want)
	}
	if first.Size < 10<<20 || first.Size > 16<<20 || first.Free <= 0 || first.Free > first.Size {
		t.Errorf("size %d and free %d of a volume of 16 MiB", first.Size, first.Free)
	}
	unmount(t, one)
	if v, _ := next(t, w, "gone", one); v.ID != first.ID {
		t.Errorf("gone %+v, want ID %s", v, first.ID)
	}
	mount(t, dev, two, "ext4", unix.MS_RDONLY, "")
	again, _ := arrived(t, w, two)
	if again.ID != first.ID || !again.ReadOnly || again.Mount != two {
		t.Errorf("seated again: %+v, want ID %s, read-only, at %q", again, first.ID, two)
	}
	for _, p := range []string{two, filepath.Join(two, "lost+found")} {
		if v, err := w.Identify(p); err != nil || v.ID != first.ID || v.Mount != two {
			t.Errorf("Identify(%q) = %+v, %v, want %s at %q", p, v, err, first.ID, two)
		}
	}
}

// A volume that is mounted over another one takes its place; the one below comes back when it is taken away. The folder
// handle of the first stays on the first: identity is of the path, now.
func TestStackedVolumes(t *testing.T) {
	needRoot(t, "losetup", "mkfs.ext4")
	t.Parallel()
	p := filepath.Join(t.TempDir(), "card")
	a, b := ext4(t, "A"), ext4(t, "B")
	w := watchReaders(t)
	mount(t, a, p, "ext4", 0, "")
	va, _ := arrived(t, w, p)
	mount(t, b, p, "ext4", 0, "")
	vb, _ := arrived(t, w, p)
	if va.Name != "A" || vb.Name != "B" || va.ID == vb.ID {
		t.Errorf("seen %+v then %+v, want A then B", va, vb)
	}
	if v, err := w.Identify(p); err != nil || v.ID != vb.ID {
		t.Errorf("Identify = %+v, %v, want B", v, err)
	}
	unmount(t, p)
	if v, _ := arrived(t, w, p); v.ID != va.ID {
		t.Errorf("after B was taken away: %+v, want A", v)
	}
}

// What was read from the table a moment ago is not described by what stands there now.
func TestDescribeRefusesAReplacedVolume(t *testing.T) {
	needRoot(t)
	t.Parallel()
	p := t.TempDir()
	mount(t, "twobin-test", p, "tmpfs", 0, "size=64k")
	ms, err := machine{}.Mounts()
	must(t, err)
	old := ms[carrier(ms, p)]
	if v, err := (machine{}).Describe(old); err != nil || v.Size != 64<<10 {
		t.Errorf("Describe = %+v, %v, want the volume", v, err)
	}
	mount(t, "twobin-test", p, "tmpfs", 0, "size=128k")
	if v, err := (machine{}).Describe(old); !errors.Is(err, errReplaced) {
		t.Errorf("Describe = %+v, %v, want that it was replaced", v, err)
	}
	unmount(t, p)
	unmount(t, p)
	if v, err := (machine{}).Describe(old); !errors.Is(err, errReplaced) {
		t.Errorf("Describe = %+v, %v, want that it was taken away", v, err)
	}
}

// A different volume at the same place, swapped as fast as a program can, is never taken for the one before.
func TestFastSwapIsSeen(t *testing.T) {
	needRoot(t, "losetup", "mkfs.ext4")
	t.Parallel()
	p := filepath.Join(t.TempDir(), "card")
	a, b := ext4(t, "A"), ext4(t, "B")
	w := watchReaders(t)
	mount(t, a, p, "ext4", 0, "")
	arrived(t, w, p)
	for i := range 10 {
		dev, name := b, "B"
		if i%2 == 1 {
			dev, name = a, "A"
		}
		unmount(t, p)
		mount(t, dev, p, "ext4", 0, "")
		if v, _ := arrived(t, w, p); v.Name != name {
			t.Fatalf("swap %d: arrived %+v, want %s", i, v, name)
		}
	}
}

// The kernel gives the number of an unmounted volume to the next one at once. Without the numbers that are never used
// again a card mounted anew between two looks leaves no trace in the table.
func TestInstanceIsNeverUsedAgain(t *testing.T) {
	needRoot(t)
	p := t.TempDir()
	seen := map[string]bool{}
	for range 5 {
		mount(t, "twobin-test", p, "tmpfs", 0, "size=64k")
		ms, err := machine{}.Mounts()
		must(t, err)
		i := slices.IndexFunc(ms, func(m Mount) bool { return m.Point == p })
		if i < 0 {
			t.Fatalf("%s is not in the table", p)
		}
		if ms[i].Instance == "" {
			lacks(t, "listmount (Linux 6.8)")
		}
		if seen[ms[i].key()] {
			t.Errorf("the same key twice: %q", ms[i].key())
		}
		seen[ms[i].key()] = true
		unmount(t, p)
	}
}

// Read-only is reported, when somebody sets it (at once) and when the file system sets it after a fault (nobody says
// so: found by the look every second).
func TestGoesReadOnly(t *testing.T) {
	needRoot(t, "losetup", "mkfs.ext4")
	t.Parallel()
	p := filepath.Join(t.TempDir(), "drive")
	dev := ext4(t, "DRIVE")
	w := watchReaders(t)
	mount(t, dev, p, "ext4", 0, "errors=remount-ro")
	id, _ := arrived(t, w, p)
	must(t, unix.Mount("", p, "", unix.MS_REMOUNT|unix.MS_RDONLY, ""))
	if v, _ := next(t, w, "changed", p); !v.ReadOnly || v.ID != id.ID {
		t.Errorf("changed %+v, want read-only", v)
	}
	must(t, unix.Mount("", p, "", unix.MS_REMOUNT, ""))
	if v, _ := next(t, w, "changed", p); v.ReadOnly {
		t.Errorf("changed %+v, want writable", v)
	}
	fault := filepath.Join("/sys/fs/ext4", filepath.Base(dev), "trigger_fs_error")
	must(t, os.WriteFile(fault, []byte("1"), 0))
	began := time.Now()
	v, at := next(t, w, "changed", p)
	if took := at.Sub(began); !v.ReadOnly || took > 2*time.Second {
		t.Errorf("changed %+v after %s, want read-only within 2 s", v, took)
	}
	if v, err := w.Identify(p); err != nil || !v.ReadOnly {
		t.Errorf("Identify = %+v, %v, want read-only", v, err)
	}
}

// Bind mounts are a second sight of a volume that is there already, or a part of one: neither is a card.
func TestBindMountsAreNoVolumes(t *testing.T) {
	needRoot(t, "losetup", "mkfs.ext4")
	t.Parallel()
	d := t.TempDir()
	card, whole, part, last := filepath.Join(d, "card"), filepath.Join(d, "whole"), filepath.Join(d, "part"), filepath.Join(d, "last")
	a, b := ext4(t, "A"), ext4(t, "B")
	w := watchReaders(t)
	mount(t, a, card, "ext4", 0, "")
	va, _ := arrived(t, w, card)
	mount(t, card, whole, "", unix.MS_BIND, "")
	mount(t, filepath.Join(card, "lost+found"), part, "", unix.MS_BIND, "")
	mount(t, b, last, "ext4", 0, "")
	c := changeWith(t, w, last)
	for _, v := range c {
		if v.Mount == whole || v.Mount == part {
			t.Errorf("a bind mount was reported: %+v", v)
		}
	}
	// Seen at the second place only when the first has gone: then it is where the volume is.
	unmount(t, part)
	unmount(t, card)
	if v, _ := arrived(t, w, whole); v.ID != va.ID {
		t.Errorf("arrived %+v, want %s", v, va.ID)
	}
}

// changeWith collects what arrives until a volume at path does.
func changeWith(t *testing.T, w *Watcher, path string) []guard.Volume {
	t.Helper()
	var all []guard.Volume
	end := time.After(limit)
	for {
		select {
		case c := <-w.Changes():
			all = append(all, c.Arrived...)
			if slices.ContainsFunc(c.Arrived, func(v guard.Volume) bool { return v.Mount == path }) {
				return all
			}
		case <-end:
			t.Fatalf("%s did not arrive", path)
		}
	}
}

// Partitions of one device have one Disk; another device has another.
func TestPartitionsShareTheirDisk(t *testing.T) {
	needRoot(t, "losetup", "mkfs.ext4", "partx")
	t.Parallel()
	d := t.TempDir()
	img := image(t, 20<<20)
	partitions(t, img)
	dev := attach(t, img)
	run(t, "partx", "-a", dev)
	t.Cleanup(func() { run(t, "partx", "-d", dev) })
	awaitFile(t, dev+"p2")
	other := ext4(t, "OTHER")
	var disks []string
	for i, part := range []string{dev + "p1", dev + "p2", other} {
		if part != other {
			run(t, "mkfs.ext4", "-q", "-F", part)
		}
		p := filepath.Join(d, fmt.Sprint(i))
		mount(t, part, p, "ext4", 0, "")
		v, err := Identify(p)
		must(t, err)
		disks = append(disks, v.Disk)
	}
	if disks[0] != filepath.Base(dev) || disks[1] != disks[0] || disks[2] == disks[0] || disks[2] == "" {
		t.Errorf("disks = %q, want twice %q and another", disks, filepath.Base(dev))
	}
}

// A reader folder that is a mount point is the volume with the volume's own identity, reported once; behind a link too.
func TestReaderIsAMountPoint(t *testing.T) {
	needRoot(t, "losetup", "mkfs.ext4", "blkid")
	t.Parallel()
	d := t.TempDir()
	point, link := filepath.Join(d, "point"), filepath.Join(d, "link")
	must(t, os.Mkdir(point, 0o755))
	must(t, os.Symlink(point, link))
	dev := ext4(t, "CARD")
	w := watchReaders(t, link)
	mount(t, dev, point, "ext4", 0, "")
	want := "uuid:" + run(t, "blkid", "-p", "-s", "UUID", "-o", "value", dev)
	seen := changeWith(t, w, link)
	n := 0
	for _, v := range seen {
		if v.ID == want {
			n++
		}
	}
	if n != 1 {
		t.Errorf("arrived %+v, want the card once", seen)
	}
	if v, err := w.Identify(link); err != nil || v.ID != want || v.Mount != link {
		t.Errorf("Identify(link) = %+v, %v, want %s", v, err, want)
	}
	if v, err := w.Identify(point); err != nil || v.ID != want || v.Mount != point {
		t.Errorf("Identify(point) = %+v, %v, want %s", v, err, want)
	}
	unmount(t, point)
	next(t, w, "gone", link)
}

// A folder bound into the reader is that folder, not the disk it lies on, and hides nothing else.
func TestReaderIsABoundFolder(t *testing.T) {
	needRoot(t)
	t.Parallel()
	d := t.TempDir()
	reader := filepath.Join(d, "reader")
	a, b := folder(t, filepath.Join(d, "a")), folder(t, filepath.Join(d, "b"))
	w := watchReaders(t, reader)
	before, err := w.Snapshot(t.Context())
	must(t, err)
	mount(t, a, reader, "", unix.MS_BIND, "")
	va, _ := arrived(t, w, reader)
	during, err := w.Snapshot(t.Context())
	must(t, err)
	for _, v := range before {
		if v.Mount == "/" && !slices.ContainsFunc(during, func(o guard.Volume) bool { return o.Mount == "/" }) {
			t.Errorf("the system disk is gone from %+v", during)
		}
	}
	unmount(t, reader)
	next(t, w, "gone", reader)
	mount(t, b, reader, "", unix.MS_BIND, "")
	if vb, _ := arrived(t, w, reader); va.ID == vb.ID || va.ID == "" {
		t.Errorf("both folders have ID %q", va.ID)
	}
}
