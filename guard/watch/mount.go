package watch

import (
	"strconv"
	"strings"
)

// Mount is one line of the system's mount table.
type Mount struct {
	// ID and Parent number the mount and the mount it hangs on, where the system numbers them (Linux); else 0.
	ID, Parent int
	// Instance tells this mounting from every other since the machine was started, also from a later one with the
	// same ID. Empty if the system does not tell.
	Instance string
	// Major and Minor are the device number; major 0 is a file system without a block device of its own.
	Major, Minor uint32
	// Root is the folder of the file system that is mounted: "/" or empty unless a part of it is.
	Root string
	// Point is the absolute path it is mounted at.
	Point string
	// FSType and Source are type and device in the system's words.
	FSType, Source string
	// ReadOnly: the mount or the file system below it is read-only.
	ReadOnly bool
	// Hidden: the system asks not to show this mount to people.
	Hidden bool
}

// key names one mounting: equal keys are the same mounting of the same volume at the same place.
func (m Mount) key() string {
	return strings.Join([]string{
		m.Instance, strconv.Itoa(m.ID), strconv.FormatUint(uint64(m.Major), 10), strconv.FormatUint(uint64(m.Minor), 10),
		m.FSType, m.Source, m.Root, m.Point,
	}, "\x00")
}

// device is a device number as the mount table has it; the zero value where the platform has none.
type device struct{ major, minor uint32 }

func (m Mount) device() device { return device{m.Major, m.Minor} }

// part says whether only a part of the file system is mounted, which is what a bind mount of a folder looks like.
// On btrfs a root other than "/" is a subvolume, which is how whole volumes are mounted there.
func (m Mount) part() bool {
	return m.Root != "" && m.Root != "/" && m.FSType != "btrfs"
}

// systemTypes are file systems that are no volumes: kernel interfaces, package images, container layers, desktop
// plumbing. (From the kernel's own documentation of file systems and from macOS's mount table; common practice.)
var systemTypes = map[string]bool{
	"proc": true, "sysfs": true, "devtmpfs": true, "devpts": true, "cgroup": true, "cgroup2": true, "cpuset": true,
	"securityfs": true, "selinuxfs": true, "smackfs": true, "debugfs": true, "tracefs": true, "configfs": true,
	"fusectl": true, "pstore": true, "efivarfs": true, "mqueue": true, "hugetlbfs": true, "autofs": true,
	"binfmt_misc": true, "bpf": true, "nsfs": true, "rootfs": true, "ramfs": true, "rpc_pipefs": true, "nfsd": true,
	"sockfs": true, "pipefs": true, "bdev": true, "resctrl": true, "xenfs": true, "zonefs": true,
	"squashfs": true, "erofs": true, "cramfs": true, "overlay": true, "aufs": true,
	"fuse.snapfuse": true, "fuse.squashfuse": true, "fuse.gvfsd-fuse": true, "fuse.portal": true, "fuse.lxcfs": true,
	"fuse.fuse-overlayfs": true, "fuse.vmware-vmblock": true, "fuse.dumpfs": true,
	"devfs": true, "fdesc": true, "nullfs": true, "bindfs": true, "lifs": true, "volfs": true,
}

// systemTrees are folders below which (and at which) nothing is the operator's volume.
var systemTrees = []string{
	"/proc", "/sys", "/boot", "/efi", "/snap", "/var/snap", "/var/lib/snapd", "/var/lib/docker", "/var/lib/containers",
	"/var/lib/kubelet", "/run/docker", "/run/containerd", "/run/netns", "/run/credentials", "/run/user", "/run/snapd",
	"/System/Volumes", "/private/var", "/Volumes/.timemachine", "/Volumes/com.apple.TimeMachine.localsnapshots",
}

// memoryTrees are folders in which memory disks belong to the system.
var memoryTrees = []string{"/run", "/dev", "/tmp", "/var/tmp", "/var/lock", "/var/run", "/etc"}

// counts says whether the mount is a volume in the operator's sense, as far as the mount table alone tells. It does
// not know whether the same file system is also mounted elsewhere.
func (m Mount) counts() bool {
	if systemTypes[m.FSType] || m.Hidden || m.part() {
		return false
	}
	if m.Point == "" || strings.HasSuffix(m.Point, "//deleted") || atOrBelow(m.Point, systemTrees) {
		return false
	}
	if m.FSType == "tmpfs" {
		return below(m.Point, "/dev/shm") || m.Point != "/" && !memoryTree(m.Point)
	}
	return true
}

// memoryTree says whether a memory disk at point is the system's: at a memory tree or below one, but not below the
// two trees where everybody makes folders.
func memoryTree(point string) bool {
	if below(point, "/tmp") || below(point, "/var/tmp") {
		return false
	}
	return atOrBelow(point, memoryTrees)
}

func atOrBelow(p string, trees []string) bool {
	for _, t := range trees {
		if p == t || below(p, t) {
			return true
		}
	}
	return false
}

// below says whether p lies strictly below folder dir; both are clean absolute paths with '/'.
func below(p, dir string) bool {
	if strings.HasSuffix(dir, "/") {
		return len(p) > len(dir) && strings.HasPrefix(p, dir)
	}
	return len(p) > len(dir) && p[:len(dir)] == dir && p[len(dir)] == '/'
}

// server is the host of a network file system's source, in lower case; empty if it is none.
func (m Mount) server() string {
	s := m.Source
	switch {
	case strings.HasPrefix(m.FSType, "nfs"), m.FSType == "fuse.sshfs":
		i := strings.Index(s, ":")
		if strings.HasPrefix(s, "[") {
			if j := strings.Index(s, "]"); j > 0 {
				return strings.ToLower(s[1:j])
			}
			return ""
		}
		if i <= 0 {
			return ""
		}
		s = s[:i]
	case m.FSType == "cifs", m.FSType == "smb3", m.FSType == "smbfs", m.FSType == "afpfs", strings.HasPrefix(s, `\\`):
		s = strings.TrimLeft(strings.ReplaceAll(s, `\`, "/"), "/")
		s, _, _ = strings.Cut(s, "/")
	default:
		return ""
	}
	if i := strings.LastIndex(s, "@"); i >= 0 {
		s = s[i+1:]
	}
	return strings.ToLower(s)
}

// Network says whether a file system type is served by another machine, so that neither a flush nor a file lock means
// what it means on a drive.
func Network(fstype string) bool {
	switch fstype {
	case "cifs", "smb3", "smbfs", "afpfs", "webdav", "davfs", "fuse.davfs2", "fuse.sshfs", "fuse.rclone", "9p", "ceph",
		"fuse.ceph", "glusterfs", "fuse.glusterfs", "afs", "lustre", "ncpfs", "fuse.s3fs", "fuse.gcsfuse", "acfs":
		return true
	}
	return strings.HasPrefix(fstype, "nfs")
}
