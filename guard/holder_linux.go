package guard

import (
	"fmt"
	"os"
	"strings"

	"golang.org/x/sys/unix"
)

// lockHolder looks into /proc/locks (proc(5): "1: FLOCK ADVISORY WRITE pid major:minor:inode 0 EOF", the device in
// hexadecimal) for the process that has a lock on the folder; 0 if it is not there.
func lockHolder(dir *os.File) int {
	var st unix.Stat_t
	if unix.Fstat(int(dir.Fd()), &st) != nil {
		return 0
	}
	raw, err := os.ReadFile("/proc/locks")
	if err != nil {
		return 0
	}
	return holderIn(string(raw), fmt.Sprintf("%02x:%02x:%d", unix.Major(st.Dev), unix.Minor(st.Dev), st.Ino))
}

// holderIn finds who has the lock on a file in what /proc/locks holds.
func holderIn(locks, file string) int {
	for line := range strings.Lines(locks) {
		var pid int
		f := strings.Fields(line)
		if len(f) < 6 || f[1] != "FLOCK" || f[5] != file {
			continue
		}
		if _, err := fmt.Sscan(f[4], &pid); err == nil && pid > 0 {
			return pid
		}
	}
	return 0
}
