package watch

import (
	"bytes"
	"encoding/binary"
	"fmt"
)

// bootSerial is the serial number in the boot sector of exFAT, FAT and NTFS, in the form that udev gives it. Places:
// exFAT file system specification (Microsoft), section 3.1: "EXFAT   " at 3, VolumeSerialNumber at 100; FAT32 and
// FAT16: ECMA-107 and Microsoft's FAT specification: serial at 67 and 39, type text at 82 and 54; NTFS: "NTFS    " at
// 3, serial at 72 (from memory, as read by general tools). Empty if the sector is none of these.
func bootSerial(sector []byte) string {
	if len(sector) < 512 || sector[510] != 0x55 || sector[511] != 0xAA {
		return ""
	}
	switch {
	case bytes.Equal(sector[3:11], []byte("EXFAT   ")):
		return serialText(sector[100:104])
	case bytes.Equal(sector[3:11], []byte("NTFS    ")):
		return fmt.Sprintf("%016X", binary.LittleEndian.Uint64(sector[72:80]))
	case bytes.HasPrefix(sector[82:], []byte("FAT32")):
		return serialText(sector[67:71])
	case bytes.HasPrefix(sector[54:], []byte("FAT1")):
		return serialText(sector[39:43])
	}
	return ""
}

// serialText writes the 4-byte serial of the FAT family, little-endian on the disk, as XXXX-XXXX. Zero is none.
func serialText(b []byte) string {
	n := binary.LittleEndian.Uint32(b)
	if n == 0 {
		return ""
	}
	return fmt.Sprintf("%04X-%04X", n>>16, n&0xffff)
}
