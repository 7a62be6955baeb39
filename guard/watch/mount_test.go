package watch

import (
	"encoding/hex"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// Mount points and types as common systems have them (from memory, no source).
func TestCounts(t *testing.T) {
	tests := []struct {
		m    Mount
		want bool
	}{
		{Mount{FSType: "ext4", Source: "/dev/sda2", Root: "/", Point: "/"}, true},
		{Mount{FSType: "exfat", Source: "/dev/sdb1", Root: "/", Point: "/run/media/op/CARD"}, true},
		{Mount{FSType: "fuseblk", Source: "/dev/sdb1", Root: "/", Point: "/media/op/CARD"}, true},
		{Mount{FSType: "cifs", Source: "//store/work", Root: "/", Point: "/mnt/store"}, true},
		{Mount{FSType: "btrfs", Source: "/dev/sdb1", Root: "/@data", Point: "/mnt/raid"}, true},
		{Mount{FSType: "ext4", Source: "/dev/sdb1", Root: "/folder", Point: "/mnt/part"}, false},
		{Mount{FSType: "exfat", Source: "/dev/disk4s1", Point: "/Volumes/CARD"}, true},
		{Mount{FSType: "apfs", Source: "/dev/disk3s5", Point: "/System/Volumes/Data", Hidden: true}, false},
		{Mount{FSType: "apfs", Source: "/dev/disk3s6", Point: "/System/Volumes/VM"}, false},
		{Mount{FSType: "devfs", Source: "devfs", Point: "/dev"}, false},
		{Mount{FSType: "NTFS", Source: "E:", Point: `E:\`}, true},
		{Mount{FSType: "vfat", Source: "/dev/sda1", Root: "/", Point: "/boot/efi"}, false},
		{Mount{FSType: "squashfs", Source: "/dev/loop3", Root: "/", Point: "/snap/core/1"}, false},
		{Mount{FSType: "overlay", Source: "overlay", Root: "/", Point: "/var/lib/docker/overlay2/x/merged"}, false},
		{Mount{FSType: "tmpfs", Source: "tmpfs", Root: "/", Point: "/run/user/1000"}, false},
		{Mount{FSType: "tmpfs", Source: "tmpfs", Root: "/", Point: "/dev/shm"}, false},
		{Mount{FSType: "tmpfs", Source: "tmpfs", Root: "/", Point: "/tmp"}, false},
		{Mount{FSType: "tmpfs", Source: "x", Root: "/", Point: "/tmp/card"}, true},
		{Mount{FSType: "tmpfs", Source: "x", Root: "/", Point: "/mnt/ram"}, true},
		{Mount{FSType: "proc", Source: "proc", Root: "/", Point: "/proc"}, false},
		{Mount{FSType: "fuse.portal", Source: "portal", Root: "/", Point: "/run/user/1000/doc"}, false},
		{Mount{FSType: "ext4", Source: "/dev/sdb1", Root: "/", Point: "/mnt/x//deleted"}, false},
		{Mount{FSType: "ext4", Source: "/dev/sdb1", Root: "/", Point: "/bootleg"}, true},
	}
	for _, tt := range tests {
		if got := tt.m.counts(); got != tt.want {
			t.Errorf("counts(%+v) = %t, want %t", tt.m, got, tt.want)
		}
	}
}

func TestServer(t *testing.T) {
	tests := []struct{ fsType, source, want string }{
		{"nfs4", "Store.local:/vol/one", "store.local"},
		{"nfs", "[fe80::1%eth0]:/vol", "fe80::1%eth0"},
		{"nfs", "nothing", ""},
		{"cifs", "//store/work", "store"},
		{"smbfs", "//op@store/work", "store"},
		{"NTFS", `\\STORE\work`, "store"},
		{"fuse.sshfs", "op@store:/work", "store"},
		{"fuse.sshfs", "store:", "store"},
		{"ext4", "/dev/sdb1", ""},
		{"tmpfs", "a:b", ""},
	}
	for _, tt := range tests {
		if got := (Mount{FSType: tt.fsType, Source: tt.source}).server(); got != tt.want {
			t.Errorf("server(%s %s) = %q, want %q", tt.fsType, tt.source, got, tt.want)
		}
	}
}

// Offsets as the specifications named at bootSerial have them.
func TestBootSerial(t *testing.T) {
	sector := func(at map[int]string) []byte {
		b := make([]byte, 512)
		b[510], b[511] = 0x55, 0xAA
		for i, s := range at {
			raw, err := hex.DecodeString(s)
			must(t, err)
			copy(b[i:], raw)
		}
		return b
	}
	text := func(s string) string { return hex.EncodeToString([]byte(s)) }
	tests := []struct {
		name   string
		sector []byte
		want   string
	}{
		{"exFAT", sector(map[int]string{3: text("EXFAT   "), 100: "78563412"}), "1234-5678"},
		{"FAT32", sector(map[int]string{82: text("FAT32   "), 67: "efbeadde"}), "DEAD-BEEF"},
		{"FAT16", sector(map[int]string{54: text("FAT16   "), 39: "01000000"}), "0000-0001"},
		{"NTFS", sector(map[int]string{3: text("NTFS    "), 72: "f0debc9a78563412"}), "123456789ABCDEF0"},
		{"no serial", sector(map[int]string{3: text("EXFAT   ")}), ""},
		{"nothing", sector(nil), ""},
		{"no signature", make([]byte, 512), ""},
		{"short", make([]byte, 100), ""},
	}
	for _, tt := range tests {
		if got := bootSerial(tt.sector); got != tt.want {
			t.Errorf("%s: bootSerial = %q, want %q", tt.name, got, tt.want)
		}
	}
}

func TestFolderIdentity(t *testing.T) {
	f := Folder{Present: true, Real: "/a", Dev: 64, Inode: 12}
	if got := f.id(); got != "dir:64:12" {
		t.Errorf("id = %q, want dir:64:12", got)
	}
	f.Born, f.Real, f.Filled = 1_700_000_000_000_000_001, "/b", true
	if got := f.id(); got != "dir:64:12:1700000000000000001" {
		t.Errorf("id = %q, want the birth time in it and nothing else that changed", got)
	}
}

func TestGather(t *testing.T) {
	root := Mount{ID: 1, Major: 8, Minor: 2, FSType: "ext4", Source: "/dev/sda2", Root: "/", Point: "/"}
	usb := Mount{ID: 2, Parent: 1, Major: 8, Minor: 17, FSType: "exfat", Source: "/dev/sdb1", Root: "/", Point: "/media/CARD"}
	again := usb
	again.ID, again.Point = 3, "/mnt/again"
	other := Mount{ID: 4, Parent: 1, Major: 8, Minor: 33, FSType: "exfat", Source: "/dev/sdc1", Root: "/", Point: "/media/OTHER"}
	filled := Folder{Present: true, Filled: true, Real: "/data/reader", Dev: 9, Inode: 7}
	at := func(f Folder, real string, full bool) Folder { f.Real, f.Filled = real, full; return f }
	tests := []struct {
		name   string
		mounts []Mount
		looks  []look
		prev   []Mount
		want   string
	}{
		{"two volumes", []Mount{root, usb}, nil, nil, "/ /media/CARD"},
		{"mounted twice: the first in the table", []Mount{root, usb, again}, nil, nil, "/ /media/CARD"},
		{"mounted twice: the one reported before", []Mount{root, usb, again}, nil, []Mount{root, again}, "/ /mnt/again"},
		{"no card in the reader", []Mount{root}, []look{{"/r", Folder{}}}, nil, "/"},
		{"empty reader folder", []Mount{root}, []look{{"/r", at(filled, "/data/reader", false)}}, nil, "/"},
		{"filled reader folder", []Mount{root}, []look{{"/r", filled}}, nil, "/r /"},
		{"a mount in the reader, even an empty one", []Mount{root, usb}, []look{{"/r", at(filled, "/media/CARD", false)}}, nil, "/r /"},
		{"a mount in the reader is not seen elsewhere too", []Mount{root, again, usb}, []look{{"/r", at(filled, "/media/CARD", true)}}, nil, "/r /"},
		{"a folder of a volume in the reader", []Mount{root, usb}, []look{{"/r", at(filled, "/media/CARD/x", true)}}, nil, "/r / /media/CARD"},
		{"two readers", []Mount{root, usb, other}, []look{{"/r", at(filled, "/media/OTHER", true)}, {"/s", at(filled, "/media/CARD", true)}}, nil, "/r /s /"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			var got []string
			for _, s := range gather(tt.mounts, tt.looks, gather(tt.prev, nil, nil)) {
				got = append(got, s.at())
			}
			if d := cmp.Diff(tt.want, strings.Join(got, " ")); d != "" {
				t.Errorf("-want +got\n%s", d)
			}
		})
	}
}
