package watch

import (
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"unsafe"

	"golang.org/x/sys/unix"

	"twobin/guard"
)

// Requests of ioctl(2), from the kernel's include/uapi/linux/fs.h and btrfs.h. They read what the kernel holds of the
// superblock and need no rights beyond opening the folder.
const (
	fsUUID      = 0x80111500 // FS_IOC_GETFSUUID: struct fsuuid2 (Linux 6.9; ext4 and xfs before)
	fsLabel     = 0x81009431 // FS_IOC_GETFSLABEL: 256 bytes
	btrfsFSInfo = 0x8400941f // BTRFS_IOC_FS_INFO: 1024 bytes
)

// describe fills v in from an open file or folder of mount m. What cannot be had stays empty.
func (t machine) describe(fd int, m Mount, v guard.Volume) (guard.Volume, error) {
	var st unix.Stat_t
	if err := unix.Fstat(fd, &st); err != nil {
		return v, fmt.Errorf("stat %s: %w", m.Point, err)
	}
	v.Dev = st.Dev
	v.Name = label(fd)
	if v.Name == "" {
		v.Name = linkTo("/dev/disk/by-label", m.Source)
	}
	if !m.part() {
		v.ID = t.identity(fd, m)
	}
	if m.FSType == "btrfs" && v.ID != "" {
		v.Disk = kernelDisks().ofBtrfs(strings.TrimPrefix(v.ID, "uuid:"), v.Disk)
	}
	var fs unix.Statfs_t
	if err := unix.Fstatfs(fd, &fs); err != nil {
		return v, fmt.Errorf("sizes of %s: %w", m.Point, err)
	}
	sizes(&v, &fs)
	return v, nil
}

// closed describes a volume whose top folder we may not open.
func (machine) closed(v guard.Volume, m Mount) guard.Volume {
	var fs unix.Statfs_t
	if unix.Statfs(m.Point, &fs) == nil {
		sizes(&v, &fs)
	}
	v.Name = linkTo("/dev/disk/by-label", m.Source)
	if id := linkTo("/dev/disk/by-uuid", m.Source); id != "" && !m.part() {
		v.ID = "uuid:" + id
	}
	return v
}

func sizes(v *guard.Volume, fs *unix.Statfs_t) {
	block := fs.Frsize
	if block <= 0 {
		block = fs.Bsize
	}
	v.Size, v.Free = int64(fs.Blocks)*block, int64(fs.Bavail)*block
	v.ReadOnly = v.ReadOnly || fs.Flags&unix.ST_RDONLY != 0
}

// identity asks for the file system's own identifier: the kernel, then btrfs, then what udev found on the device, then
// the boot sector (if we may read the device). A memory disk has one too, new with every mount.
func (machine) identity(fd int, m Mount) string {
	var u [17]byte
	if ioctl(fd, fsUUID, unsafe.Pointer(&u)) == nil && u[0] >= 4 && u[0] <= 16 {
		if id := uuidText(u[1 : 1+u[0]]); id != "" {
			return "uuid:" + id
		}
	}
	if m.FSType == "btrfs" {
		var info [1024]byte
		if ioctl(fd, btrfsFSInfo, unsafe.Pointer(&info)) == nil {
			if id := uuidText(info[16:32]); id != "" {
				return "uuid:" + id
			}
		}
	}
	if !strings.HasPrefix(m.Source, "/dev/") {
		return ""
	}
	if id := linkTo("/dev/disk/by-uuid", m.Source); id != "" {
		return "uuid:" + id
	}
	if id, err := deviceSerial(m.Source); err == nil && id != "" {
		return "uuid:" + id
	}
	return ""
}

// uuidText writes an identifier as people and udev write it: 16 bytes as 8-4-4-4-12 hexadecimal digits, the 4-byte
// serial of the FAT family (little-endian, as on the disk) as XXXX-XXXX. Zeros only are no identifier.
func uuidText(b []byte) string {
	zero := true
	for _, c := range b {
		zero = zero && c == 0
	}
	if zero {
		return ""
	}
	h := hex.EncodeToString(b)
	switch len(b) {
	case 16:
		return strings.Join([]string{h[:8], h[8:12], h[12:16], h[16:20], h[20:]}, "-")
	case 4:
		return serialText(b)
	}
	return h
}

func label(fd int) string {
	var b [256]byte
	if ioctl(fd, fsLabel, unsafe.Pointer(&b)) != nil {
		return ""
	}
	s, _, _ := strings.Cut(string(b[:]), "\x00")
	return s
}

func ioctl(fd int, req uint, p unsafe.Pointer) error {
	for {
		_, _, e := unix.Syscall(unix.SYS_IOCTL, uintptr(fd), uintptr(req), uintptr(p))
		if e == 0 {
			return nil
		}
		if !errors.Is(e, unix.EINTR) {
			return e
		}
	}
}

// linkTo finds the link in dir (one of udev's /dev/disk folders) that leads to device. udev writes bytes that do not
// suit a name as \xHH.
func linkTo(dir, device string) string {
	if !strings.HasPrefix(device, "/dev/") {
		return ""
	}
	want, err := filepath.EvalSymlinks(device)
	if err != nil {
		return ""
	}
	links, err := os.ReadDir(dir)
	if err != nil {
		return ""
	}
	for _, l := range links {
		if to, err := filepath.EvalSymlinks(filepath.Join(dir, l.Name())); err == nil && to == want {
			return unhex(l.Name())
		}
	}
	return ""
}

// unhex turns udev's \xHH back into bytes.
func unhex(s string) string {
	var b strings.Builder
	for i := 0; i < len(s); i++ {
		if i+3 < len(s) && s[i] == '\\' && s[i+1] == 'x' {
			if c, err := hex.DecodeString(s[i+2 : i+4]); err == nil {
				b.Write(c)
				i += 3
				continue
			}
		}
		b.WriteByte(s[i])
	}
	return b.String()
}

// deviceSerial reads the boot sector of a block device, for reading only.
func deviceSerial(device string) (string, error) {
	fd, err := unix.Open(device, unix.O_RDONLY|unix.O_CLOEXEC|unix.O_NONBLOCK, 0)
	if err != nil {
		return "", err
	}
	defer unix.Close(fd)
	sector := make([]byte, 512)
	n, err := unix.Pread(fd, sector, 0)
	if err != nil || n < len(sector) {
		return "", fmt.Errorf("read %s: %d bytes: %w", device, n, err)
	}
	return bootSerial(sector), nil
}

// mountOf is the number of the mount that an open file lies on (Linux 5.8 and later).
func mountOf(fd int) (int, error) {
	var st unix.Statx_t
	if err := unix.Statx(fd, "", unix.AT_EMPTY_PATH|unix.AT_STATX_DONT_SYNC, unix.STATX_MNT_ID, &st); err != nil {
		return 0, err
	}
	if st.Mask&unix.STATX_MNT_ID == 0 {
		return 0, errors.ErrUnsupported
	}
	return int(st.Mnt_id), nil
}

func devNumber(major, minor uint32) uint64 { return unix.Mkdev(major, minor) }
