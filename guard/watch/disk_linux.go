package watch

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"golang.org/x/sys/unix"
)

// disks answers from the kernel's tree of devices which physical device carries which block device. No question here
// reaches a drive, but for one: on what the file behind a loop device lies.
type disks struct {
	sys string
	// behind says which device carries the file behind a loop device; memory: it lies in memory, on no device.
	behind func(path string) (d device, memory bool, err error)
}

// kernelDisks are the disks of this machine.
func kernelDisks() disks { return disks{sys: "/sys", behind: carrierOf} }

// carrierOf asks the system which device carries a file.
func carrierOf(path string) (d device, memory bool, err error) {
	var fs unix.Statfs_t
	if err := unix.Statfs(path, &fs); err != nil {
		return device{}, false, err
	}
	if fs.Type == unix.TMPFS_MAGIC {
		return device{}, true, nil
	}
	var st unix.Stat_t
	if err := unix.Stat(path, &st); err != nil {
		return device{}, false, err
	}
	return device{unix.Major(st.Dev), unix.Minor(st.Dev)}, false, nil
}

// Disk names the physical device, see the package comment.
func (machine) Disk(m Mount) string {
	if h := m.server(); h != "" {
		return "server:" + h
	}
	d := m.device()
	if d.major == 0 { // btrfs, and FUSE on a device
		if !strings.HasPrefix(m.Source, "/dev/") {
			return ""
		}
		var st unix.Stat_t
		if unix.Stat(m.Source, &st) != nil || st.Mode&unix.S_IFMT != unix.S_IFBLK {
			return ""
		}
		d = device{unix.Major(st.Rdev), unix.Minor(st.Rdev)}
	}
	return kernelDisks().of(d)
}

// of names the disk of one block device.
func (s disks) of(d device) string {
	node, err := filepath.EvalSymlinks(filepath.Join(s.sys, "dev", "block", fmt.Sprintf("%d:%d", d.major, d.minor)))
	if err != nil {
		return ""
	}
	return s.group(s.leaves(node, 0))
}

// ofBtrfs adds the other devices of a btrfs file system to the disk that its mount names.
func (s disks) ofBtrfs(uuid, disk string) string {
	links, err := os.ReadDir(filepath.Join(s.sys, "fs", "btrfs", uuid, "devices"))
	if err != nil {
		return disk
	}
	all := strings.FieldsFunc(disk, func(r rune) bool { return r == '+' })
	for _, l := range links {
		node, err := filepath.EvalSymlinks(filepath.Join(s.sys, "fs", "btrfs", uuid, "devices", l.Name()))
		if err != nil {
			return "" // a device we cannot name: honest is "unknown"
		}
		all = append(all, s.leaves(node, 0)...)
	}
	return s.group(all)
}

// leaves are the names of the physical devices below a device: its own, its parent's if it is a partition, those of
// its parts if it is put together from others (device mapper, RAID).
func (s disks) leaves(node string, depth int) []string {
	if _, err := os.Stat(filepath.Join(node, "partition")); err == nil {
		node = filepath.Dir(node)
	}
	if file, err := os.ReadFile(filepath.Join(node, "loop", "backing_file")); err == nil && depth <= 16 {
		return s.leavesOfFile(node, strings.TrimSuffix(string(file), "\n"), depth)
	}
	slaves, err := os.ReadDir(filepath.Join(node, "slaves"))
	if err != nil || len(slaves) == 0 || depth > 16 {
		return []string{filepath.Base(node)}
	}
	var all []string
	for _, l := range slaves {
		if n, err := filepath.EvalSymlinks(filepath.Join(node, "slaves", l.Name())); err == nil {
			all = append(all, s.leaves(n, depth+1)...)
		}
	}
	if len(all) == 0 {
		return []string{filepath.Base(node)}
	}
	return all
}

// leavesOfFile are the physical devices below a loop device: those that carry its file, for an image on a drive fails
// with the drive. A file in memory has none, so the loop device counts as its own. A file that cannot be found (it is
// removed, or lies where only another process sees it) leaves the device unknown.
func (s disks) leavesOfFile(node, file string, depth int) []string {
	d, memory, err := s.behind(file)
	switch {
	case err != nil:
		return nil
	case memory:
		return []string{filepath.Base(node)}
	}
	below, err := filepath.EvalSymlinks(filepath.Join(s.sys, "dev", "block", fmt.Sprintf("%d:%d", d.major, d.minor)))
	if err != nil {
		return nil
	}
	return s.leaves(below, depth+1)
}

// group joins names to one word that is the same for everything that shares a device: devices that some RAID or
// mapping on this machine ties together are one group, and the word is the names of all devices of the group. So a
// volume on one disk of a RAID and a volume on the RAID compare equal, as they must: they fail together.
func (s disks) group(names []string) string {
	if len(names) == 0 {
		return ""
	}
	in := make(map[string]bool)
	for _, n := range names {
		in[n] = true
	}
	blocks, err := os.ReadDir(filepath.Join(s.sys, "block"))
	if err != nil {
		blocks = nil
	}
	ties := namespaces(blocks)
	for _, b := range blocks {
		if node, err := filepath.EvalSymlinks(filepath.Join(s.sys, "block", b.Name())); err == nil {
			if l := s.leaves(node, 0); len(l) > 1 {
				ties = append(ties, l)
			}
		}
	}
	for grew := true; grew; {
		grew = false
		for _, t := range ties {
			if !slices.ContainsFunc(t, func(n string) bool { return in[n] }) {
				continue
			}
			for _, n := range t {
				grew = grew || !in[n]
				in[n] = true
			}
		}
	}
	all := make([]string, 0, len(in))
	for n := range in {
		all = append(all, n)
	}
	slices.Sort(all)
	return strings.Join(all, "+")
}

// namespaces ties the namespaces of each NVMe drive together: the kernel shows them as disks of their own, nvme0n1 and
// nvme0n2, but they are parts of one drive.
func namespaces(blocks []os.DirEntry) [][]string {
	of := make(map[int][]string)
	for _, b := range blocks {
		var drive, part int
		if n, _ := fmt.Sscanf(b.Name(), "nvme%dn%d", &drive, &part); n == 2 {
			of[drive] = append(of[drive], b.Name())
		}
	}
	var ties [][]string
	for _, names := range of {
		if len(names) > 1 {
			ties = append(ties, names)
		}
	}
	return ties
}
