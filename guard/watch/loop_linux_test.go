package watch

import (
	"bytes"
	"errors"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// lacks skips a test that needs something this machine has not, or fails it where all must run.
func lacks(t *testing.T, what string) {
	t.Helper()
	if os.Getenv("TWOBIN_TEST_ALL") == "1" {
		t.Fatalf("this machine lacks: %s", what)
	}
	t.Skipf("this machine lacks: %s", what)
}

// needRoot needs root, and the programs named.
func needRoot(t *testing.T, programs ...string) {
	t.Helper()
	if os.Geteuid() != 0 {
		lacks(t, "root")
	}
	for _, p := range programs {
		if _, err := exec.LookPath(p); err != nil {
			lacks(t, p)
		}
	}
}

func run(t *testing.T, name string, args ...string) string {
	t.Helper()
	var errs bytes.Buffer
	c := exec.Command(name, args...)
	c.Stderr = &errs
	out, err := c.Output()
	if err != nil {
		t.Fatalf("%s %s: %v: %s", name, strings.Join(args, " "), err, errs.String())
	}
	return strings.TrimSpace(string(out))
}

// image makes a file of size bytes in memory.
func image(t *testing.T, size int64) string {
	t.Helper()
	f, err := os.CreateTemp("/dev/shm", "twobin-watch-")
	must(t, err)
	t.Cleanup(func() { must(t, os.Remove(f.Name())) })
	must(t, f.Truncate(size))
	must(t, f.Close())
	return f.Name()
}

// attach makes a loop device of an image.
func attach(t *testing.T, img string) string {
	t.Helper()
	dev := run(t, "losetup", "-f", "--show", img)
	t.Cleanup(func() { run(t, "losetup", "-d", dev) })
	return dev
}

// ext4 makes a loop device with an ext4 file system of 16 MiB.
func ext4(t *testing.T, name string) string {
	t.Helper()
	img := image(t, 16<<20)
	run(t, "mkfs.ext4", "-q", "-F", "-L", name, img)
	return attach(t, img)
}

// mount mounts and sees to it that the end of the test unmounts whatever stands at point then.
func mount(t *testing.T, dev, point, fsType string, flags uintptr, data string) {
	t.Helper()
	must(t, os.MkdirAll(point, 0o755))
	must(t, unix.Mount(dev, point, fsType, flags, data))
	t.Cleanup(func() { unmountAll(t, point) })
}

// unmount tries for a while: the watcher has the volume open for the moment in which it asks for its name.
func unmount(t *testing.T, point string) {
	t.Helper()
	end := time.Now().Add(limit)
	for {
		err := unix.Unmount(point, 0)
		if err == nil {
			return
		}
		if !errors.Is(err, unix.EBUSY) || time.Now().After(end) {
			t.Fatalf("unmount %s: %v", point, err)
		}
		time.Sleep(time.Millisecond)
	}
}

func unmountAll(t *testing.T, point string) {
	for {
		err := unix.Unmount(point, 0)
		switch {
		case errors.Is(err, unix.EBUSY):
			time.Sleep(time.Millisecond)
		case err != nil:
			return // nothing is mounted there any more
		}
	}
}

// partitions writes a partition table (MBR) with two parts of 8 MiB to an image: 16-byte entries at 446, type 0x83,
// first sector and number of sectors little-endian at 8 and 12, signature 55 AA (common practice; from memory).
func partitions(t *testing.T, img string) {
	t.Helper()
	var mbr [512]byte
	for i, start := range []uint32{2048, 2048 + 16384} {
		e := mbr[446+16*i:]
		e[4] = 0x83
		for b := range 4 {
			e[8+b] = byte(start >> (8 * b))
			e[12+b] = byte(uint32(16384) >> (8 * b))
		}
	}
	mbr[510], mbr[511] = 0x55, 0xAA
	f, err := os.OpenFile(img, os.O_WRONLY, 0)
	must(t, err)
	_, err = f.WriteAt(mbr[:], 0)
	must(t, errors.Join(err, f.Close()))
}

// awaitFile waits until a path is there.
func awaitFile(t *testing.T, path string) {
	t.Helper()
	for end := time.Now().Add(limit); ; time.Sleep(5 * time.Millisecond) {
		if _, err := os.Stat(path); err == nil {
			return
		}
		if time.Now().After(end) {
			lacks(t, "device nodes for partitions of a loop device")
		}
	}
}
