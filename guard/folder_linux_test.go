package guard

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"testing"
	"unsafe"

	"golang.org/x/sys/unix"
)

// Lines as in proc(5), proc_locks(5); numbers of processes and files are invented.
func TestHolderIn(t *testing.T) {
	t.Parallel()
	const mine = "1: FLOCK  ADVISORY  WRITE 4711 08:01:123 0 EOF\n"
	for _, c := range []struct {
		name, locks string
		want        int
	}{
		{"nothing", "", 0},
		{"it", mine, 4711},
		{"the last field that is asked for is the last there is", "1: FLOCK ADVISORY WRITE 4711 08:01:123\n", 4711},
		{"a cut line", "1: FLOCK ADVISORY WRITE 4711\n", 0},
		{"a cut line before it", "1: FLOCK ADVISORY WRITE 12\n" + mine, 4711},
		{"one of another kind", "1: POSIX  ADVISORY  WRITE 12 08:01:123 0 EOF\n", 0},
		{"another file", "1: FLOCK  ADVISORY  WRITE 12 08:01:124 0 EOF\n", 0},
		{"the same number on another device", "1: FLOCK  ADVISORY  WRITE 12 08:02:123 0 EOF\n", 0},
		{"others before it", "1: POSIX  ADVISORY  READ 12 08:01:123 0 EOF\n2: FLOCK ADVISORY WRITE 13 08:01:124 0 EOF\n" + mine, 4711},
		{"who waits for it", "1: -> FLOCK  ADVISORY  WRITE 12 08:01:123 0 EOF\n" + mine, 4711},
		{"a process that is not seen from here", "1: FLOCK  ADVISORY  WRITE 0 08:01:123 0 EOF\n" + mine, 4711},
		{"no process", "1: FLOCK  ADVISORY  WRITE -1 08:01:123 0 EOF\n", 0},
		{"no number", "1: FLOCK  ADVISORY  WRITE x 08:01:123 0 EOF\n" + mine, 4711},
	} {
		if got := holderIn(c.locks, "08:01:123"); got != c.want {
			t.Errorf("%s: %d, want %d", c.name, got, c.want)
		}
	}
}

// The system tells who has a folder; of one that is closed it tells nothing, and not another's.
func TestLockHolder(t *testing.T) {
	t.Parallel()
	dir, err := os.Open(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	if got := lockHolder(dir); got != 0 {
		t.Errorf("nobody's folder is held by %d", got)
	}
	if err := LockFolder(dir); err != nil {
		t.Fatal(err)
	}
	if got := lockHolder(dir); got != os.Getpid() {
		t.Errorf("held by %d, want %d", got, os.Getpid())
	}
	if err := dir.Close(); err != nil {
		t.Fatal(err)
	}
	if got := lockHolder(dir); got != 0 {
		t.Errorf("a closed folder is held by %d", got)
	}
}

// A system without openat2 (kernels before 5.6), or a sandbox that forbids it: a mount below the card is seen by its
// device number, and folders are opened as ever.
func TestInvariant6MountWithoutOpenat2(t *testing.T) {
	needRoot(t)
	for _, no := range []unix.Errno{unix.ENOSYS, unix.EPERM} {
		root := t.TempDir()
		plant(t, filepath.Join(root, "plain", "a.mov"), "a", false)
		plant(t, filepath.Join(root, "mounted"), "", true)
		mount(t, "tmpfs", filepath.Join(root, "mounted"), "tmpfs", 0)
		top, err := openCard(root)
		if err != nil {
			t.Fatal(err)
		}
		done := make(chan struct{})
		go func() { // on a thread of its own, which ends with it: the filter is for ever
			defer close(done)
			runtime.LockOSThread()
			if err := forbidOpenat2(no); err != nil {
				t.Errorf("a filter for openat2: %v", err)
				return
			}
			if _, err := unix.Openat2(unix.AT_FDCWD, root, &unix.OpenHow{}); !errors.Is(err, no) {
				t.Errorf("openat2 = %v, want %v: this test shows nothing", err, no)
			}
			sub, err := top.Sub("plain")
			if err != nil {
				t.Errorf("%v: a plain folder: %v", no, err)
			} else if err := sub.Close(); err != nil {
				t.Error(err)
			}
			if _, err := top.Sub("mounted"); !errors.Is(err, errMount) {
				t.Errorf("%v: a mount below the card: %v, want %v", no, err, errMount)
			}
			if _, err := top.Sub("nothing"); !errors.Is(err, fs.ErrNotExist) {
				t.Errorf("%v: no folder: %v", no, err)
			}
		}()
		<-done
		if err := top.Close(); err != nil {
			t.Error(err)
		}
	}
}

// forbidOpenat2 makes openat2 fail with this error in the calling thread (seccomp(2)).
func forbidOpenat2(no unix.Errno) error {
	const returnErrno, returnAllow = 0x00050000, 0x7fff0000 // SECCOMP_RET_ERRNO, SECCOMP_RET_ALLOW
	filter := []unix.SockFilter{
		{Code: unix.BPF_LD | unix.BPF_W | unix.BPF_ABS, K: 0}, // the call's number
		{Code: unix.BPF_JMP | unix.BPF_JEQ | unix.BPF_K, Jf: 1, K: unix.SYS_OPENAT2},
		{Code: unix.BPF_RET | unix.BPF_K, K: returnErrno | uint32(no)},
		{Code: unix.BPF_RET | unix.BPF_K, K: returnAllow},
	}
	prog := unix.SockFprog{Len: uint16(len(filter)), Filter: &filter[0]}
	if err := unix.Prctl(unix.PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0); err != nil {
		return err
	}
	if _, _, errno := unix.Syscall(unix.SYS_PRCTL, unix.PR_SET_SECCOMP, unix.SECCOMP_MODE_FILTER, uintptr(unsafe.Pointer(&prog))); errno != 0 {
		return errno
	}
	return nil
}
