package device

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"unsafe"

	"golang.org/x/sys/unix"
)

// File systems for which the package comment promises a read-back from the device, by the numbers of statfs(2). Those
// that golang.org/x/sys does not name are from the kernel's include/uapi/linux/magic.h and its ntfs3 driver.
const (
	magicNTFS3 = 0x7366746e
	magicExFAT = 0x2011bab0
)

// openat opens one entry and refuses to enter a mount, bind mounts of the same volume included. Newly made files get
// mode 0666, less the umask.
func openat(fd int, name string, flags int) (int, error) {
	how := unix.OpenHow{Flags: uint64(flags), Resolve: unix.RESOLVE_NO_XDEV}
	if flags&unix.O_CREAT != 0 {
		how.Mode = 0o666
	}
	got, err := unix.Openat2(fd, name, &how)
	if errors.Is(err, unix.ENOSYS) || errors.Is(err, unix.EPERM) { // kernels before 5.6, and filters that do not know it
		return unix.Openat(fd, name, flags, 0o666)
	}
	return got, err
}

// open opens name without changing its access time; not allowed for files of others, then with.
func (f *Folder) open(name string, flags int) (*os.File, error) {
	file, err := f.openAt(name, flags|unix.O_NOATIME)
	if errors.Is(err, unix.EPERM) {
		return f.openAt(name, flags)
	}
	return file, err
}

// openRead opens a regular file for reading, past the cache when the file system can.
func (f *Folder) openRead(name string) (file *os.File, direct bool, err error) {
	const flags = unix.O_RDONLY | unix.O_NOFOLLOW | unix.O_NONBLOCK
	file, err = f.open(name, flags|unix.O_DIRECT)
	if err == nil {
		return file, true, nil
	}
	if errors.Is(err, unix.EINVAL) || errors.Is(err, unix.ENOTSUP) {
		file, err = f.open(name, flags)
		if err == nil {
			_ = unix.Fadvise(int(file.Fd()), 0, 0, unix.FADV_SEQUENTIAL)
		}
	}
	return file, false, err
}

// create makes a new file for writing, past the cache when asked and when the file system can. Some file systems make
// the file and then refuse the flag; taking it away again is safe, because temporary names are our own.
func (f *Folder) create(name string, direct bool) (file *os.File, isDirect bool, err error) {
	const flags = unix.O_WRONLY | unix.O_CREAT | unix.O_EXCL | unix.O_NOFOLLOW
	if direct {
		file, err = f.openAt(name, flags|unix.O_DIRECT)
		if err == nil {
			return file, true, nil
		}
		if !errors.Is(err, unix.EINVAL) && !errors.Is(err, unix.ENOTSUP) {
			return nil, false, err
		}
		if err := f.RemoveTemp(name); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return nil, false, err
		}
	}
	file, err = f.openAt(name, flags)
	return file, false, err
}

// undirect goes on through the cache. The other flags stay: access times still do not change.
func undirect(file *os.File) error {
	flags, err := unix.FcntlInt(file.Fd(), unix.F_GETFL, 0)
	if err == nil {
		_, err = unix.FcntlInt(file.Fd(), unix.F_SETFL, flags&^unix.O_DIRECT)
	}
	return err
}

// reserve gives the file its room; a file system that has no such call is no error.
func reserve(file *os.File, size int64) error {
	err := retry(func() error { return unix.Fallocate(int(file.Fd()), 0, 0, size) })
	if errors.Is(err, unix.ENOTSUP) || errors.Is(err, unix.ENOSYS) || errors.Is(err, unix.EINVAL) {
		return nil
	}
	return err
}

// place renames without replacing.
func (f *Folder) place(from, to string) error {
	err := retry(func() error { return unix.Renameat2(f.fd(), from, f.fd(), to, unix.RENAME_NOREPLACE) })
	if errors.Is(err, unix.EINVAL) || errors.Is(err, unix.ENOSYS) || errors.Is(err, unix.ENOTSUP) {
		return f.placeSlowly(from, to)
	}
	return err
}

// startWriting asks the kernel to begin writing a range; waitWritten waits for it and lets the pages go. Neither makes
// anything durable.
func startWriting(file *os.File, off, n int64) {
	_ = unix.SyncFileRange(int(file.Fd()), off, n, unix.SYNC_FILE_RANGE_WRITE)
}

func waitWritten(file *os.File, off, n int64) {
	const wait = unix.SYNC_FILE_RANGE_WAIT_BEFORE | unix.SYNC_FILE_RANGE_WRITE | unix.SYNC_FILE_RANGE_WAIT_AFTER
	_ = unix.SyncFileRange(int(file.Fd()), off, n, wait)
	dropRange(file, off, n)
}

// askHuge asks for few large pages instead of many of 4 KiB: each page is a piece of a request to the drive, and a request
// with more pieces than the drive's driver takes is cut up. Three destinations took 22 s instead of 31 to 37. Kernels
// before 6.7 may place the buffer so that only a part of it gets them. A kernel without them says no, which costs
// nothing but time.
func askHuge(b []byte) { _ = unix.Madvise(b, unix.MADV_HUGEPAGE) }

// dropRange lets clean pages go; n 0 means to the end.
func dropRange(file *os.File, off, n int64) {
	_ = unix.Fadvise(int(file.Fd()), off, n, unix.FADV_DONTNEED)
}

// knownLocal: see [Root.Local].
func (f *Folder) knownLocal() bool { return knownLocal(f.dir) }

func knownLocal(file *os.File) bool {
	var st unix.Statfs_t
	if err := retry(func() error { return unix.Fstatfs(int(file.Fd()), &st) }); err != nil {
		return false
	}
	switch uint32(st.Type) {
	case unix.EXT4_SUPER_MAGIC, unix.XFS_SUPER_MAGIC, unix.BTRFS_SUPER_MAGIC, unix.F2FS_SUPER_MAGIC,
		unix.MSDOS_SUPER_MAGIC, magicExFAT, magicNTFS3:
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
	s := Space{Free: int64(st.Bavail) * st.Bsize, Files: int64(st.Ffree), Block: st.Bsize}
	if st.Files == 0 {
		s.Files = -1 // btrfs, FAT: made as needed
	}
	return s, nil
}

// LongestName is the longest name in bytes that the volume says it takes; 0: it does not say.
func (r *Root) LongestName() int {
	var st unix.Statfs_t
	if err := unix.Fstatfs(r.fd(), &st); err != nil {
		return 0
	}
	return int(st.Namelen)
}

// HoldsHuge says whether the volume takes files of 4 GiB and more. FAT does not.
func (r *Root) HoldsHuge() bool {
	var st unix.Statfs_t
	return unix.Fstatfs(r.fd(), &st) != nil || uint32(st.Type) != unix.MSDOS_SUPER_MAGIC
}

// GroupFlush says whether one flush covers all files of the volume and reports their errors. Over FUSE the call never
// reaches the serving process, so files are flushed one by one there.
func (r *Root) GroupFlush() bool { return r.local }

// FlushAll flushes everything on the volume. It reports errors of writes since f was opened: open f before writing.
func (f *Folder) FlushAll() error {
	return f.fault("flush volume", ".", retry(func() error { return unix.Syncfs(f.fd()) }))
}

// dropCache takes the file's pages out of the cache and says whether they are seen to be gone.
func dropCache(file *os.File, size int64) bool {
	if size == 0 {
		return true
	}
	const tries = 3 // read-ahead or write-back of another file may hold a page for a moment
	for range tries {
		dropRange(file, 0, 0)
		var stat unix.Cachestat_t
		err := unix.Cachestat(uint(file.Fd()), &unix.CachestatRange{}, &stat, 0)
		switch {
		case errors.Is(err, unix.ENOSYS):
			if gone, err := notResident(file, size); err != nil || gone {
				return err == nil
			}
		case err != nil:
			return false
		case stat.Cache == 0 && stat.Dirty == 0 && stat.Writeback == 0:
			return true
		}
	}
	return false
}

// notResident looks at a mapping of the file, window by window: for kernels before 6.5, which have no cachestat.
func notResident(file *os.File, size int64) (bool, error) {
	const window = 1 << 30
	pages := make([]byte, window/os.Getpagesize())
	for off := int64(0); off < size; off += window {
		n := int(min(window, size-off))
		m, err := unix.Mmap(int(file.Fd()), off, n, unix.PROT_READ, unix.MAP_SHARED)
		if err != nil {
			return false, fmt.Errorf("map %s: %w", file.Name(), err)
		}
		_, _, e := unix.Syscall(unix.SYS_MINCORE, uintptr(unsafe.Pointer(unsafe.SliceData(m))), uintptr(n), uintptr(unsafe.Pointer(unsafe.SliceData(pages))))
		if err := unix.Munmap(m); err != nil || e != 0 {
			return false, errors.Join(err, e)
		}
		for _, p := range pages[:(n+os.Getpagesize()-1)/os.Getpagesize()] {
			if p&1 != 0 {
				return false, nil
			}
		}
	}
	return true, nil
}

// nextData finds the next range of the file, from off, that has data; start is size when only a hole follows.
func nextData(file *os.File, off, size int64) (start, end int64) {
	start, err := unix.Seek(int(file.Fd()), off, unix.SEEK_DATA)
	if errors.Is(err, unix.ENXIO) {
		return size, size
	}
	if err != nil {
		return off, size
	}
	if end, err = unix.Seek(int(file.Fd()), start, unix.SEEK_HOLE); err != nil {
		return start, size
	}
	return start, end
}
