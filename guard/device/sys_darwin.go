package device

import (
	"errors"
	"os"
	"unsafe"

	"golang.org/x/sys/unix"
)

// openat opens one entry; newly made files get mode 0666, less the umask.
func openat(fd int, name string, flags int) (int, error) { return unix.Openat(fd, name, flags, 0o666) }

// open opens name. This platform has no flag that keeps access times; a card that must not change there at all is
// mounted read-only.
func (f *Folder) open(name string, flags int) (*os.File, error) { return f.openAt(name, flags) }

// openRead opens a regular file for reading with the cache off. F_NOCACHE takes any alignment, so nothing has to be
// "direct" in the sense of this package.
func (f *Folder) openRead(name string) (file *os.File, direct bool, err error) {
	file, err = f.open(name, unix.O_RDONLY|unix.O_NOFOLLOW|unix.O_NONBLOCK)
	if err == nil {
		_, _ = unix.FcntlInt(file.Fd(), unix.F_NOCACHE, 1)
	}
	return file, false, err
}

// create makes a new file for writing, with the cache off when asked.
func (f *Folder) create(name string, direct bool) (file *os.File, isDirect bool, err error) {
	file, err = f.openAt(name, unix.O_WRONLY|unix.O_CREAT|unix.O_EXCL|unix.O_NOFOLLOW)
	if err == nil && direct {
		_, _ = unix.FcntlInt(file.Fd(), unix.F_NOCACHE, 1)
	}
	return file, false, err
}

func undirect(*os.File) error { return nil }

// reserve gives the file its room; a file system that has no such call is no error.
func reserve(file *os.File, size int64) error {
	want := unix.Fstore_t{Flags: unix.F_ALLOCATEALL, Posmode: unix.F_PEOFPOSMODE, Length: size}
	err := unix.FcntlFstore(file.Fd(), unix.F_PREALLOCATE, &want)
	if errors.Is(err, unix.ENOTSUP) || errors.Is(err, unix.EINVAL) {
		return nil
	}
	return err
}

// place renames without replacing.
func (f *Folder) place(from, to string) error {
	err := retry(func() error { return unix.RenameatxNp(f.fd(), from, f.fd(), to, unix.RENAME_EXCL) })
	if errors.Is(err, unix.EINVAL) || errors.Is(err, unix.ENOSYS) || errors.Is(err, unix.ENOTSUP) {
		return f.placeSlowly(from, to)
	}
	return err
}

func askHuge([]byte)                      {}
func startWriting(*os.File, int64, int64) {}
func waitWritten(*os.File, int64, int64)  {}
func dropRange(*os.File, int64, int64)    {}

func (f *Folder) knownLocal() bool { return knownLocal(f.dir) }

func knownLocal(file *os.File) bool {
	var st unix.Statfs_t
	if err := retry(func() error { return unix.Fstatfs(int(file.Fd()), &st) }); err != nil {
		return false
	}
	switch unix.ByteSliceToString(st.Fstypename[:]) {
	case "apfs", "hfs", "exfat", "msdos":
		return true
	}
	return false
}

// Space asks the volume for its room.
func (r *Root) Space() (Space, error) {
	var st unix.Statfs_t
	if err := retry(func() error { return unix.Fstatfs(r.fd(), &st) }); err != nil {
		return Space{}, r.fault("statfs", ".", err)
	}
	return Space{Free: int64(st.Bavail) * int64(st.Bsize), Files: -1, Block: int64(st.Bsize)}, nil
}

// LongestName is the longest name in bytes that the volume says it takes; 0: it does not say.
func (r *Root) LongestName() int { return 0 }

// HoldsHuge says whether the volume takes files of 4 GiB and more. FAT does not.
func (r *Root) HoldsHuge() bool {
	var st unix.Statfs_t
	return unix.Fstatfs(r.fd(), &st) != nil || unix.ByteSliceToString(st.Fstypename[:]) != "msdos"
}

// GroupFlush says whether one flush covers all files of the volume and reports their errors: not here.
func (r *Root) GroupFlush() bool { return false }

// FlushAll flushes the folder; files were flushed one by one.
func (f *Folder) FlushAll() error { return f.Flush() }

// dropCache gives up what is cached of the file and says whether no page of it is resident.
func dropCache(file *os.File, size int64) bool {
	const window = 1 << 30
	page := int64(os.Getpagesize())
	pages := make([]byte, (min(size, window)+page-1)/page)
	for off := int64(0); off < size; off += window {
		n := min(window, size-off)
		m, err := unix.Mmap(int(file.Fd()), off, int(n), unix.PROT_READ, unix.MAP_SHARED)
		if err != nil {
			return false
		}
		_ = unix.Msync(m, unix.MS_INVALIDATE)
		at, out := unsafe.Pointer(unsafe.SliceData(m)), unsafe.Pointer(unsafe.SliceData(pages))
		_, _, e := unix.Syscall(unix.SYS_MINCORE, uintptr(at), uintptr(n), uintptr(out))
		if err := unix.Munmap(m); err != nil || e != 0 {
			return false
		}
		for _, p := range pages[:(n+page-1)/page] {
			if p&1 != 0 {
				return false
			}
		}
	}
	return true
}

// nextData finds the next range of the file, from off, that has data; start is size when only a hole follows.
func nextData(file *os.File, off, size int64) (start, end int64) {
	const seekHole, seekData = 3, 4 // <sys/unistd.h>
	start, err := unix.Seek(int(file.Fd()), off, seekData)
	if errors.Is(err, unix.ENXIO) {
		return size, size
	}
	if err != nil {
		return off, size
	}
	if end, err = unix.Seek(int(file.Fd()), start, seekHole); err != nil {
		return start, size
	}
	return start, end
}
