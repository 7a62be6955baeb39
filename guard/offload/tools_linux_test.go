package offload

import (
	"os"
	"os/exec"
	"strings"
	"testing"

	"golang.org/x/sys/unix"

	"twobin/guard/offload/internal/faultfs"
)

// lack skips a test for want of a tool, or fails it where everything has to be there.
func lack(t testing.TB, what string) {
	t.Helper()
	if os.Getenv("TWOBIN_TEST_ALL") != "" {
		t.Fatalf("this test needs %s", what)
	}
	t.Skipf("this test needs %s", what)
}

// spoiled mounts a fault file system over a new folder. Calls that still hang at the test's end are cut off.
func spoiled(t testing.TB) (fsys *faultfs.FS, mount, backing string) {
	t.Helper()
	return spoiledOver(t, t.TempDir())
}

// spoiledOver is spoiled over a given folder.
func spoiledOver(t testing.TB, backing string) (fsys *faultfs.FS, mount, _ string) {
	t.Helper()
	if unix.Access("/dev/fuse", unix.W_OK) != nil {
		lack(t, "/dev/fuse")
	}
	if _, err := exec.LookPath("fusermount3"); err != nil {
		lack(t, "fusermount3")
	}
	mount = t.TempDir()
	fsys, err := faultfs.Mount(backing, mount)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		fsys.Set(faultfs.Hooks{})
		if err := fsys.Unmount(); err != nil {
			t.Logf("unmount: %v", err)
			_ = exec.Command("fusermount3", "-u", "-z", mount).Run()
		}
	})
	return fsys, mount, backing
}

// command runs a system tool; what it prints is its error.
func command(t testing.TB, name string, args ...string) string {
	t.Helper()
	out, err := exec.Command(name, args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s %s: %v\n%s", name, strings.Join(args, " "), err, out)
	}
	return strings.TrimSpace(string(out))
}

// needRoot skips without the rights and tools for loop devices.
func needRoot(t testing.TB, tools ...string) {
	t.Helper()
	if os.Geteuid() != 0 {
		lack(t, "root")
	}
	for _, tool := range append(tools, "losetup", "mkfs.ext4", "mount") {
		if _, err := exec.LookPath(tool); err != nil {
			lack(t, tool)
		}
	}
	if out, err := exec.Command("losetup", "-f").CombinedOutput(); err != nil {
		lack(t, "loop devices ("+strings.TrimSpace(string(out))+")")
	}
}

// loopDevice puts image on a loop device.
func loopDevice(t testing.TB, image string, args ...string) string {
	t.Helper()
	device := command(t, "losetup", append(args, "-f", "--show", image)...)
	t.Cleanup(func() { _ = exec.Command("losetup", "-d", device).Run() })
	return device
}

// mounted mounts device at a new folder.
func mounted(t testing.TB, device string, args ...string) string {
	t.Helper()
	at := t.TempDir()
	command(t, "mount", append(args, device, at)...)
	t.Cleanup(func() { _ = exec.Command("umount", "-l", at).Run() })
	return at
}

// memoryDir makes a folder in memory.
func memoryDir(t testing.TB) string {
	t.Helper()
	dir, err := os.MkdirTemp("/dev/shm", "twobin-test-")
	if err != nil {
		lack(t, "/dev/shm")
	}
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	return dir
}

// image makes a sparse file in memory.
func image(t testing.TB, size int64) string {
	t.Helper()
	name := memoryDir(t) + "/image"
	f, err := os.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	if err := f.Truncate(size); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	return name
}

// ext4 makes and mounts an ext4 volume of the given size in bytes.
func ext4(t testing.TB, size int64, mountArgs ...string) (at, device, img string) {
	t.Helper()
	needRoot(t)
	img = image(t, size)
	command(t, "mkfs.ext4", "-q", "-E", "lazy_itable_init=0,lazy_journal_init=0", img)
	device = loopDevice(t, img)
	return mounted(t, device, mountArgs...), device, img
}
