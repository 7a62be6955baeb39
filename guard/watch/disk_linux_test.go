package watch

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// fakeSys builds a tree like /sys: devices is a list of "name number [partition] [slave,slave]" below a made-up bus,
// partitions written as disk/partition.
func fakeSys(t *testing.T, devices ...string) disks {
	t.Helper()
	sys := t.TempDir()
	node := map[string]string{}
	for _, d := range devices {
		f := strings.Fields(d)
		path := filepath.Join(sys, "devices", "bus", f[0])
		name := filepath.Base(f[0])
		node[name] = path
		must(t, os.MkdirAll(filepath.Join(path, "slaves"), 0o755))
		must(t, os.MkdirAll(filepath.Join(sys, "dev", "block"), 0o755))
		must(t, os.MkdirAll(filepath.Join(sys, "block"), 0o755))
		must(t, os.Symlink(path, filepath.Join(sys, "dev", "block", f[1])))
		if strings.Contains(f[0], "/") {
			must(t, os.WriteFile(filepath.Join(path, "partition"), []byte("1\n"), 0o644))
		} else {
			must(t, os.Symlink(path, filepath.Join(sys, "block", name)))
		}
		if len(f) > 2 {
			for s := range strings.SplitSeq(f[2], ",") {
				must(t, os.Symlink(node[s], filepath.Join(path, "slaves", s)))
			}
		}
	}
	return disks{sys: sys, behind: func(path string) (device, bool, error) {
		switch path {
		case "/mnt/usb/card.img":
			return device{8, 33}, false, nil
		case "/dev/shm/x.img":
			return device{}, true, nil
		case "/on/btrfs/x.img":
			return device{0, 77}, false, nil
		}
		return device{}, false, os.ErrNotExist
	}}
}

func TestDisk(t *testing.T) {
	s := fakeSys(t,
		"sda 8:0", "sda/sda1 8:1", "sda/sda2 8:2",
		"sdb 8:16", "sdb/sdb1 8:17", "sdb/sdb2 8:18",
		"sdc 8:32", "sdc/sdc1 8:33",
		"sdd 8:48",
		"md0 9:0 sdb1,sdc1", // RAID over parts of two disks
		"dm-0 253:0 md0",    // something on the RAID
		"dm-1 253:1 sda2",   // an encrypted part
		"nvme0n1 259:0", "nvme0n1/nvme0n1p1 259:1",
	)
	for loop, file := range map[string]string{"loop0 7:0": "/mnt/usb/card.img", "loop1 7:1": "/dev/shm/x.img", "loop2 7:2": "/on/btrfs/x.img", "loop3 7:3": "/gone.img (deleted)"} {
		name, dev, _ := strings.Cut(loop, " ")
		node := filepath.Join(s.sys, "devices", name)
		must(t, os.MkdirAll(filepath.Join(node, "loop"), 0o755))
		must(t, os.WriteFile(filepath.Join(node, "loop", "backing_file"), []byte(file+"\n"), 0o644))
		must(t, os.Symlink(node, filepath.Join(s.sys, "dev", "block", dev)))
	}
	tests := []struct {
		name string
		dev  device
		want string
	}{
		{"image on a drive that is part of a RAID", device{7, 0}, "sdb+sdc"},
		{"image in memory", device{7, 1}, "loop1"},
		{"image on something unknown", device{7, 2}, ""},
		{"image that is removed", device{7, 3}, ""},
		{"whole disk", device{8, 48}, "sdd"},
		{"partition", device{8, 1}, "sda"},
		{"other partition of it", device{8, 2}, "sda"},
		{"encrypted partition", device{253, 1}, "sda"},
		{"RAID", device{9, 0}, "sdb+sdc"},
		{"on the RAID", device{253, 0}, "sdb+sdc"},
		{"a free part of one of its disks", device{8, 18}, "sdb+sdc"},
		{"the other disk", device{8, 32}, "sdb+sdc"},
		{"NVMe partition", device{259, 1}, "nvme0n1"},
		{"not there", device{1, 1}, ""},
	}
	for _, tt := range tests {
		if got := s.of(tt.dev); got != tt.want {
			t.Errorf("%s: disk = %q, want %q", tt.name, got, tt.want)
		}
	}
}

// A file system of its own over several devices fails with each of them.
func TestDiskOfBtrfs(t *testing.T) {
	s := fakeSys(t, "sda 8:0", "sdb 8:16", "sdb/sdb1 8:17", "sdc 8:32")
	at := filepath.Join(s.sys, "fs", "btrfs", "id", "devices")
	must(t, os.MkdirAll(at, 0o755))
	must(t, os.Symlink(filepath.Join(s.sys, "devices/bus/sdb/sdb1"), filepath.Join(at, "sdb1")))
	must(t, os.Symlink(filepath.Join(s.sys, "devices/bus/sdc"), filepath.Join(at, "sdc")))
	if got := s.ofBtrfs("id", "sdb"); got != "sdb+sdc" {
		t.Errorf("disk = %q, want sdb+sdc", got)
	}
	must(t, os.Symlink(filepath.Join(s.sys, "devices/bus/gone"), filepath.Join(at, "gone")))
	if got := s.ofBtrfs("id", "sdb"); got != "" {
		t.Errorf("disk with a device that is missing = %q, want unknown", got)
	}
}
