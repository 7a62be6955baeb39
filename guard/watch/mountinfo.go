package watch

import (
	"bytes"
	"fmt"
	"strconv"
	"strings"
)

// parseMountinfo reads a table in the form of /proc/self/mountinfo (proc_pid_mountinfo(5)): one mount a line,
//
//	36 35 98:0 /mnt1 /mnt2 rw,noatime master:1 - ext3 /dev/root rw,errors=continue
//
// with number, parent, device, root, mount point, options, any number of optional fields, a lone hyphen, type, source
// and options of the file system. Fields are separated by exactly one space and may be empty. Lines that do not have
// this form are left out and reported together as an error beside the mounts that could be read: one odd line must
// not make the watcher blind.
func parseMountinfo(table []byte) ([]Mount, error) {
	var ms []Mount
	var bad error
	for line := range bytes.Lines(table) {
		line = bytes.TrimSuffix(line, []byte("\n"))
		if len(line) == 0 {
			continue
		}
		m, ok := parseMountLine(string(line))
		if !ok {
			if bad == nil {
				bad = fmt.Errorf("mount table: line not understood: %q", line)
			}
			continue
		}
		ms = append(ms, m)
	}
	return ms, bad
}

func parseMountLine(line string) (Mount, bool) {
	f := strings.Split(line, " ")
	if len(f) < 9 {
		return Mount{}, false
	}
	sep := 6
	for sep < len(f) && f[sep] != "-" {
		sep++
	}
	if len(f) < sep+4 {
		return Mount{}, false
	}
	var m Mount
	var err1, err2 error
	m.ID, err1 = strconv.Atoi(f[0])
	m.Parent, err2 = strconv.Atoi(f[1])
	major, minor, ok := strings.Cut(f[2], ":")
	ma, err3 := strconv.ParseUint(major, 10, 32)
	mi, err4 := strconv.ParseUint(minor, 10, 32)
	if !ok || err1 != nil || err2 != nil || err3 != nil || err4 != nil {
		return Mount{}, false
	}
	m.Major, m.Minor = uint32(ma), uint32(mi)
	m.Root, m.Point = unescape(f[3]), unescape(f[4])
	if !strings.HasPrefix(m.Point, "/") {
		return Mount{}, false
	}
	m.FSType, m.Source = unescape(f[sep+1]), unescape(f[sep+2])
	m.ReadOnly = hasOption(f[5], "ro")
	for _, o := range []string{"ro", "emergency_ro", "shutdown"} { // the last two: ext4 after a fault, Linux 6.15
		m.ReadOnly = m.ReadOnly || hasOption(f[sep+3], o)
	}
	return m, true
}

// hasOption says whether want is one of the options in a list joined by commas.
func hasOption(list, want string) bool {
	for o := range strings.SplitSeq(list, ",") {
		if o == want {
			return true
		}
	}
	return false
}

// unescape turns the kernel's octal escapes (\040 for a space, \011, \012, \134, \043) back into bytes. A backslash
// that starts no such escape stands for itself.
func unescape(s string) string {
	if !strings.Contains(s, `\`) {
		return s
	}
	var b strings.Builder
	for i := 0; i < len(s); i++ {
		if s[i] == '\\' && i+3 < len(s) && octal(s[i+1]) && octal(s[i+2]) && octal(s[i+3]) && s[i+1] <= '3' {
			b.WriteByte((s[i+1]-'0')<<6 | (s[i+2]-'0')<<3 | (s[i+3] - '0'))
			i += 3
			continue
		}
		b.WriteByte(s[i])
	}
	return b.String()
}

func octal(c byte) bool { return c >= '0' && c <= '7' }

// visible leaves out mounts that a later mount covers, so that a path never stands for a file system that cannot be
// reached by it. A mount is covered if another mount hangs on it at its own mount point (stacked), if another one
// hangs on its parent at a folder above it, or if its parent is covered in one of these ways. The table's order and
// the mount points are kept.
func visible(ms []Mount) []Mount {
	byID := make(map[int]int, len(ms))
	kids := make(map[int][]int, len(ms))
	for i, m := range ms {
		byID[m.ID] = i
		if m.Parent != m.ID {
			kids[m.Parent] = append(kids[m.Parent], i)
		}
	}
	var out []Mount
	for i, m := range ms {
		if m.ID == 0 || reachable(ms, byID, kids, i) {
			out = append(out, m)
		}
	}
	return out
}

// reachable walks from mount i up to its root and looks for a cover on the way.
func reachable(ms []Mount, byID map[int]int, kids map[int][]int, i int) bool {
	for _, k := range kids[ms[i].ID] {
		if ms[k].Point == ms[i].Point {
			return false
		}
	}
	for range ms {
		m := ms[i]
		p, ok := byID[m.Parent]
		if !ok || p == i {
			return true
		}
		for _, k := range kids[m.Parent] {
			if k == i {
				continue
			}
			s := ms[k]
			if below(m.Point, s.Point) && !atRootOf(ms, byID, s) || s.Point == m.Point && k > i {
				return false
			}
			if atRootOf(ms, byID, s) && !atRootOf(ms, byID, m) {
				return false
			}
		}
		i = p
	}
	return false // a circle: no table of a kernel has one
}

// atRootOf says whether mount m covers its parent as a whole.
func atRootOf(ms []Mount, byID map[int]int, m Mount) bool {
	p, ok := byID[m.Parent]
	return ok && ms[p].Point == m.Point
}
