package watch

import (
	"fmt"
	"os"
	"strconv"
	"unsafe"

	"golang.org/x/sys/windows"

	"twobin/guard"
)

// instance is the volume's serial number: a drive letter stays when the card in the reader is swapped.
func instance(m Mount) string {
	serial, _, _, _, err := information(m.Point)
	if err != nil {
		return ""
	}
	return strconv.FormatUint(uint64(serial), 16)
}

// information asks for serial number, name, type and flags of the volume at a root path.
func information(root string) (serial uint32, name, fsType string, flags uint32, err error) {
	p, err := windows.UTF16PtrFromString(root)
	if err != nil {
		return 0, "", "", 0, err
	}
	var label, kind [windows.MAX_PATH + 1]uint16
	err = windows.GetVolumeInformation(p, &label[0], uint32(len(label)), &serial, nil, &flags, &kind[0], uint32(len(kind)))
	if err != nil {
		return 0, "", "", 0, fmt.Errorf("volume information of %s: %w", root, err)
	}
	return serial, windows.UTF16ToString(label[:]), windows.UTF16ToString(kind[:]), flags, nil
}

// Describe asks the root of the volume. The identity is the 32-bit serial number that formatting sets.
func (t machine) Describe(m Mount) (guard.Volume, error) {
	v := t.facts(m)
	serial, name, _, flags, err := information(m.Point)
	if err != nil {
		return v, err
	}
	if s := strconv.FormatUint(uint64(serial), 16); m.Instance != "" && m.Instance != s {
		return v, fmt.Errorf("describe %s: another volume stands there", m.Point)
	}
	v.Name = name
	if serial != 0 {
		v.ID = fmt.Sprintf("uuid:%04X-%04X", serial>>16, serial&0xffff)
	}
	v.ReadOnly = v.ReadOnly || flags&windows.FILE_READ_ONLY_VOLUME != 0
	v.Dev = uint64(serial)
	p, err := windows.UTF16PtrFromString(m.Point)
	if err != nil {
		return v, err
	}
	var free, size, all uint64
	if err := windows.GetDiskFreeSpaceEx(p, &free, &size, &all); err != nil {
		return v, fmt.Errorf("sizes of %s: %w", m.Point, err)
	}
	v.Size, v.Free = int64(size), int64(free)
	return v, nil
}

// deviceNumber is STORAGE_DEVICE_NUMBER of winioctl.h.
type deviceNumber struct{ kind, number, partition uint32 }

const getDeviceNumber = 0x2D1080 // IOCTL_STORAGE_GET_DEVICE_NUMBER

// physical is the number of the disk that carries a drive letter; it is the same for all partitions of a disk. A volume
// that spans several disks has no such number: unknown. Opening the device without any access needs no rights.
func physical(m Mount) string {
	if len(m.Point) < 2 || m.Point[1] != ':' {
		return ""
	}
	p, err := windows.UTF16PtrFromString(`\\.\` + m.Point[:2])
	if err != nil {
		return ""
	}
	h, err := windows.CreateFile(p, 0, windows.FILE_SHARE_READ|windows.FILE_SHARE_WRITE, nil, windows.OPEN_EXISTING, 0, 0)
	if err != nil {
		return ""
	}
	defer windows.CloseHandle(h)
	var n deviceNumber
	var got uint32
	err = windows.DeviceIoControl(h, getDeviceNumber, nil, 0, (*byte)(unsafe.Pointer(&n)), uint32(unsafe.Sizeof(n)), &got, nil)
	if err != nil || got < uint32(unsafe.Sizeof(n)) {
		return ""
	}
	return fmt.Sprintf("disk%d:%d", n.kind, n.number)
}

// folderNumbers are volume serial, file index and creation time of an open folder.
func folderNumbers(d *os.File, _ os.FileInfo) (dev, inode uint64, born int64) {
	var i windows.ByHandleFileInformation
	if err := windows.GetFileInformationByHandle(windows.Handle(d.Fd()), &i); err != nil {
		return 0, 0, 0
	}
	return uint64(i.VolumeSerialNumber), uint64(i.FileIndexHigh)<<32 | uint64(i.FileIndexLow), i.CreationTime.Nanoseconds()
}

func devNumber(major, minor uint32) uint64 { return 0 }

// mountPoint is the root of the volume of a path, which is a folder for a volume without a letter.
func mountPoint(path string) (string, error) {
	p, err := windows.UTF16PtrFromString(path)
	if err != nil {
		return "", err
	}
	var buf [windows.MAX_LONG_PATH]uint16
	if err := windows.GetVolumePathName(p, &buf[0], uint32(len(buf))); err != nil {
		return "", fmt.Errorf("volume of %s: %w", path, err)
	}
	return windows.UTF16ToString(buf[:]), nil
}
