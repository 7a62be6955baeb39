package watch

import (
	"strconv"
	"unsafe"

	"golang.org/x/sys/unix"
)

// Numbers of listmount(2) and statmount(2), from the kernel's include/uapi/linux/mount.h (Linux 6.8 and later).
const (
	listRoot       = ^uint64(0) // LSMT_ROOT
	statMountBasic = 0x2        // STATMOUNT_MNT_BASIC
)

// mountRequest is struct mnt_id_req in its first version (24 bytes).
type mountRequest struct {
	size, spare uint32
	id, param   uint64
}

// mountStat is the beginning of struct statmount, up to the old number; the rest is room the kernel asks for.
type mountStat struct {
	size, opts   uint32
	mask         uint64
	major, minor uint32
	magic        uint64
	flags        uint32
	fsType       uint32
	id, parent   uint64
	old          uint32
	rest         [960]byte
}

// instances gives every mount the number that the kernel never uses again. The numbers in mountinfo are used again at
// once, so without this a card that is swapped for another one between two looks can leave the table exactly as it
// was. Neither call touches a file system. Kernels before 6.8 have no such numbers; then nothing is set.
// It says whether every mount has its number, or none can have one.
func instances(ms []Mount) bool {
	unique := make(map[int]uint64)
	ids := make([]uint64, 256)
	req := mountRequest{size: 24, id: listRoot}
	for {
		n, _, e := unix.Syscall6(unix.SYS_LISTMOUNT, uintptr(unsafe.Pointer(&req)), uintptr(unsafe.Pointer(&ids[0])),
			uintptr(len(ids)), 0, 0, 0)
		if e != 0 || n == 0 {
			break
		}
		for _, id := range ids[:n] {
			if old, ok := oldNumber(id); ok {
				unique[old] = id
			}
		}
		if int(n) < len(ids) {
			break
		}
		req.param = ids[n-1]
	}
	whole := true
	for i := range ms {
		if u, ok := unique[ms[i].ID]; ok {
			ms[i].Instance = strconv.FormatUint(u, 10)
		} else if len(unique) > 0 {
			whole = false
		}
	}
	return whole
}

// oldNumber is the mountinfo number of a mount.
func oldNumber(id uint64) (int, bool) {
	var st mountStat
	req := mountRequest{size: 24, id: id, param: statMountBasic}
	_, _, e := unix.Syscall6(unix.SYS_STATMOUNT, uintptr(unsafe.Pointer(&req)), uintptr(unsafe.Pointer(&st)),
		unsafe.Sizeof(st), 0, 0, 0)
	if e != 0 || st.mask&statMountBasic == 0 {
		return 0, false
	}
	return int(st.old), true
}
