package watch

import (
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func TestParseMountinfo(t *testing.T) {
	tests := []struct {
		name, line string
		want       Mount
	}{
		// The worked example of proc_pid_mountinfo(5), Linux man-pages.
		{"manual", "36 35 98:0 /mnt1 /mnt2 rw,noatime master:1 - ext3 /dev/root rw,errors=continue",
			Mount{ID: 36, Parent: 35, Major: 98, Root: "/mnt1", Point: "/mnt2", FSType: "ext3", Source: "/dev/root"}},
		{"no optional fields", "24 27 0:6 / /dev rw,relatime - devtmpfs devtmpfs rw",
			Mount{ID: 24, Parent: 27, Minor: 6, Root: "/", Point: "/dev", FSType: "devtmpfs", Source: "devtmpfs"}},
		{"two optional fields", "31 1 8:17 / /media/A rw shared:5 master:2 - vfat /dev/sdb1 rw",
			Mount{ID: 31, Parent: 1, Major: 8, Minor: 17, Root: "/", Point: "/media/A", FSType: "vfat", Source: "/dev/sdb1"}},
		{"escapes", `31 1 8:17 / /media/A\040B\011\134\043\012x rw - vfat /dev/my\040card rw`,
			Mount{ID: 31, Parent: 1, Major: 8, Minor: 17, Root: "/", Point: "/media/A B\t\\#\nx", FSType: "vfat",
				Source: "/dev/my card"}},
		{"no escape", `31 1 8:17 / /media/\04 rw - vfat a\9\777 rw`,
			Mount{ID: 31, Parent: 1, Major: 8, Minor: 17, Root: "/", Point: `/media/\04`, FSType: "vfat", Source: `a\9\777`}},
		{"not UTF-8", "31 1 8:17 / /media/\xff\xfe rw - vfat /dev/sdb1 rw",
			Mount{ID: 31, Parent: 1, Major: 8, Minor: 17, Root: "/", Point: "/media/\xff\xfe", FSType: "vfat", Source: "/dev/sdb1"}},
		{"empty type", "31 1 0:17 / /m rw -  x rw", Mount{ID: 31, Parent: 1, Minor: 17, Root: "/", Point: "/m", Source: "x"}},
		{"empty source", "31 1 0:17 / /m rw - tmpfs  rw",
			Mount{ID: 31, Parent: 1, Minor: 17, Root: "/", Point: "/m", FSType: "tmpfs"}},
		{"mount read-only", "31 1 8:17 / /m ro,relatime - ext4 /dev/sdb1 rw",
			Mount{ID: 31, Parent: 1, Major: 8, Minor: 17, Root: "/", Point: "/m", FSType: "ext4", Source: "/dev/sdb1", ReadOnly: true}},
		{"file system read-only", "31 1 8:17 / /m rw,relatime - ext4 /dev/sdb1 ro,errors=remount-ro",
			Mount{ID: 31, Parent: 1, Major: 8, Minor: 17, Root: "/", Point: "/m", FSType: "ext4", Source: "/dev/sdb1", ReadOnly: true}},
		{"read-only after a fault", "31 1 8:17 / /m rw - ext4 /dev/sdb1 rw,errors=remount-ro,emergency_ro",
			Mount{ID: 31, Parent: 1, Major: 8, Minor: 17, Root: "/", Point: "/m", FSType: "ext4", Source: "/dev/sdb1", ReadOnly: true}},
		{"errors=remount-ro is not read-only", "31 1 8:17 / /m rw - ext4 /dev/sdb1 rw,errors=remount-ro",
			Mount{ID: 31, Parent: 1, Major: 8, Minor: 17, Root: "/", Point: "/m", FSType: "ext4", Source: "/dev/sdb1"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			ms, err := parseMountinfo([]byte(tt.line + "\n"))
			if err != nil || len(ms) != 1 {
				t.Fatalf("parseMountinfo(%q) = %v, %v, want one mount", tt.line, ms, err)
			}
			if d := cmp.Diff(tt.want, ms[0]); d != "" {
				t.Errorf("parseMountinfo(%q): -want +got\n%s", tt.line, d)
			}
		})
	}
}

func TestParseMountinfoKeepsGoodLines(t *testing.T) {
	table := "31 1 8:17 / /a rw - vfat /dev/sdb1 rw\nrubbish\n\n32 1 8:18 / /b rw - vfat /dev/sdb2 rw"
	ms, err := parseMountinfo([]byte(table))
	if err == nil || !strings.Contains(err.Error(), `"rubbish"`) {
		t.Errorf("error = %v, want one that shows the line", err)
	}
	if len(ms) != 2 || ms[0].Point != "/a" || ms[1].Point != "/b" {
		t.Errorf("mounts = %v, want /a and /b", ms)
	}
}

func TestVisible(t *testing.T) {
	tests := []struct {
		name, table string
		want        []int
	}{
		{"side by side", "1 0 8:1 / / rw - ext4 a rw\n2 1 8:2 / /x rw - ext4 b rw\n3 1 8:3 / /y rw - ext4 c rw", []int{1, 2, 3}},
		{"stacked", "1 0 8:1 / / rw - ext4 a rw\n2 1 8:2 / /x rw - ext4 b rw\n3 2 8:3 / /x rw - ext4 c rw", []int{1, 3}},
		{"stacked three times", "1 0 8:1 / / rw - ext4 a rw\n2 1 8:2 / /x rw - ext4 b rw\n3 2 8:3 / /x rw - ext4 c rw\n" +
			"4 3 8:4 / /x rw - ext4 d rw", []int{1, 4}},
		{"parent covered later", "1 0 8:1 / / rw - ext4 a rw\n2 1 8:2 / /m/x rw - ext4 b rw\n3 1 8:3 / /m rw - ext4 c rw", []int{1, 3}},
		{"mounted on the cover", "1 0 8:1 / / rw - ext4 a rw\n3 1 8:3 / /m rw - ext4 c rw\n2 3 8:2 / /m/x rw - ext4 b rw", []int{1, 3, 2}},
		{"child of a covered mount", "1 0 8:1 / / rw - ext4 a rw\n2 1 8:2 / /m rw - ext4 b rw\n4 2 8:4 / /m/in rw - ext4 d rw\n" +
			"3 2 8:3 / /m rw - ext4 c rw", []int{1, 3}},
		{"a name that only begins alike", "1 0 8:1 / / rw - ext4 a rw\n2 1 8:2 / /mm rw - ext4 b rw\n3 1 8:3 / /m rw - ext4 c rw", []int{1, 2, 3}},
		{"root covered", "1 0 8:1 / / rw - ext4 a rw\n2 1 8:2 / /x rw - ext4 b rw\n3 1 8:3 / / rw - ext4 c rw", []int{3}},
		{"circle", "1 2 8:1 / /a rw - ext4 a rw\n2 1 8:2 / /a/b rw - ext4 b rw", nil},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			ms, err := parseMountinfo([]byte(tt.table))
			if err != nil {
				t.Fatal(err)
			}
			var got []int
			for _, m := range visible(ms) {
				got = append(got, m.ID)
			}
			if !slices.Equal(got, tt.want) {
				t.Errorf("visible = %v, want %v", got, tt.want)
			}
		})
	}
}

func FuzzParseMountinfo(f *testing.F) {
	f.Add([]byte("36 35 98:0 /mnt1 /mnt2 rw,noatime master:1 - ext3 /dev/root rw,errors=continue\n"))
	f.Add([]byte(`31 1 8:17 / /media/A\040B\011\134 rw shared:1 - vfat /dev/x ro`))
	f.Add([]byte("1 1 0:0 / / rw - t  rw\n2 1 0:1 / / rw - t s rw\n2 2 0:1 / /a rw - t s rw"))
	f.Add([]byte("1 2 8:1 / /a rw - ext4 a rw\n2 1 8:2 / /a/b rw - ext4 b rw"))
	f.Add([]byte("31 1 8:17 / /m//deleted rw - ext4 /dev/sdb1 rw\n\\ - -"))
	f.Fuzz(func(t *testing.T, table []byte) {
		ms, err := parseMountinfo(table)
		lines := 0
		for l := range strings.SplitSeq(string(table), "\n") {
			if l != "" {
				lines++
			}
		}
		if len(ms) > lines || err == nil && len(ms) != lines {
			t.Fatalf("%d mounts of %d lines, error %v", len(ms), lines, err)
		}
		v := visible(ms)
		for _, m := range v {
			if !slices.Contains(ms, m) || m.Point == "" {
				t.Fatalf("visible invents %+v", m)
			}
		}
		one := gather(v, []look{{"/r", Folder{Present: true, Filled: true, Real: "/m"}}}, nil)
		if a, g, c := difference(one, gather(v, []look{{"/r", Folder{Present: true, Filled: true, Real: "/m"}}}, one)); len(a)+len(g)+len(c) != 0 {
			t.Fatalf("the same table differs from itself: %v %v %v", a, g, c)
		}
	})
}
