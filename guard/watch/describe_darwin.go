package watch

import (
	"context"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"syscall"
	"unsafe"

	"golang.org/x/sys/unix"

	"twobin/guard"
)

// instance is the file system's number while it is mounted; it holds the device number, which macOS counts upwards for
// a while before it uses one again.
func instance(m Mount) string {
	var st unix.Statfs_t
	a, ok := within(aside(func() (struct{}, error) { return struct{}{}, unix.Statfs(m.Point, &st) }), tableLimit/4)
	if !ok || a.err != nil {
		return ""
	}
	return fmt.Sprint(st.Fsid.Val)
}

// Describe asks the mount point.
func (t machine) Describe(m Mount) (guard.Volume, error) {
	v := t.facts(m)
	var st unix.Statfs_t
	if err := unix.Statfs(m.Point, &st); err != nil {
		return v, fmt.Errorf("describe %s: %w", m.Point, err)
	}
	if unix.ByteSliceToString(st.Mntfromname[:]) != m.Source {
		return v, fmt.Errorf("describe %s: another volume stands there", m.Point)
	}
	v.Size, v.Free = int64(st.Blocks)*int64(st.Bsize), int64(st.Bavail)*int64(st.Bsize)
	v.ReadOnly = st.Flags&unix.MNT_RDONLY != 0
	var fs unix.Stat_t
	if err := unix.Stat(m.Point, &fs); err == nil {
		v.Dev = uint64(uint32(fs.Dev))
	}
	if b, err := volumeAttribute(m.Point, unix.ATTR_VOL_UUID); err == nil && len(b) >= 16 && string(b[:16]) != string(make([]byte, 16)) {
		h := hex.EncodeToString(b[:16])
		v.ID = "uuid:" + strings.Join([]string{h[:8], h[8:12], h[12:16], h[16:20], h[20:]}, "-")
	}
	if b, err := volumeAttribute(m.Point, unix.ATTR_VOL_NAME); err == nil && len(b) >= 8 {
		off, n := int(int32(binary.NativeEndian.Uint32(b))), int(binary.NativeEndian.Uint32(b[4:]))
		if off >= 8 && n > 0 && off+n <= len(b) {
			v.Name = strings.TrimRight(string(b[off:off+n]), "\x00")
		}
	}
	return v, nil
}

// volumeAttribute asks getattrlist(2) for one attribute of the volume at a path and gives what follows the length
// word. It only reads.
func volumeAttribute(path string, attr uint32) ([]byte, error) {
	p, err := unix.BytePtrFromString(path)
	if err != nil {
		return nil, err
	}
	list := unix.Attrlist{Bitmapcount: unix.ATTR_BIT_MAP_COUNT, Volattr: unix.ATTR_VOL_INFO | attr}
	var buf [1024]byte
	_, _, e := unix.Syscall6(unix.SYS_GETATTRLIST, uintptr(unsafe.Pointer(p)), uintptr(unsafe.Pointer(&list)),
		uintptr(unsafe.Pointer(&buf[0])), uintptr(len(buf)), 0, 0)
	if e != 0 {
		return nil, fmt.Errorf("volume attribute of %s: %w", path, e)
	}
	n := min(int(binary.NativeEndian.Uint32(buf[:])), len(buf))
	if n < 4 {
		return nil, fmt.Errorf("volume attribute of %s: empty answer", path)
	}
	return buf[4:n], nil
}

// physical is diskN of /dev/diskNsM. An APFS volume lies in a container that the system numbers as a disk of its own
// although it lies on a part of another one; diskutil, which belongs to the system, tells which. The disk is unknown if it
// does not, or if the container lies on several disks.
func physical(m Mount) string {
	if m.FSType != "apfs" {
		return wholeDisk(m.Source)
	}
	if wholeDisk(m.Source) == "" {
		return ""
	}
	ctx, cancel := context.WithTimeout(context.Background(), tableLimit/5)
	defer cancel()
	plist, err := exec.CommandContext(ctx, "/usr/sbin/diskutil", "info", "-plist", m.Source).Output()
	if err != nil {
		return ""
	}
	stores := apfsStores(plist)
	if len(stores) != 1 {
		return ""
	}
	return wholeDisk(stores[0])
}

// folderNumbers are device, inode and birth time of an open folder.
func folderNumbers(_ *os.File, fi os.FileInfo) (dev, inode uint64, born int64) {
	st, ok := fi.Sys().(*syscall.Stat_t)
	if !ok {
		return 0, 0, 0
	}
	return uint64(uint32(st.Dev)), st.Ino, st.Birthtimespec.Sec*1e9 + st.Birthtimespec.Nsec
}

func devNumber(major, minor uint32) uint64 { return 0 }

// mountPoint is where the volume of a path is mounted. The path alone does not tell: the folders of the system disk
// that people write to lie on another volume than "/".
func mountPoint(path string) (string, error) {
	var st unix.Statfs_t
	if err := unix.Statfs(path, &st); err != nil {
		return "", err
	}
	return unix.ByteSliceToString(st.Mntonname[:]), nil
}
