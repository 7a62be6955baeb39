package guard

import "testing"

func TestDevicesOfVolumes(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		disks []string
		want  int
	}{{nil, 0}, {[]string{"a", "b"}, 2}, {[]string{"a", "a"}, 1}, {[]string{"a+b", "b"}, 1}, {[]string{"a", ""}, 1}, {[]string{"a", "b", "b+a"}, 1}} {
		var vs []Volume
		for _, d := range c.disks {
			vs = append(vs, Volume{Disk: d})
		}
		if n := Devices(vs...); n != c.want {
			t.Errorf("%q are %d devices, want %d", c.disks, n, c.want)
		}
	}
}
