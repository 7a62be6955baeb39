package watch

import "testing"

// The namespaces of one NVMe drive are disks of their own to the kernel (nvme0n1, nvme0n2; common practice of its naming,
// from memory), and fail together all the same. A drive with one keeps its name.
func TestNamespacesOfOneDriveAreOneDevice(t *testing.T) {
	s := fakeSys(t,
		"nvme0n1 259:0", "nvme0n1/nvme0n1p1 259:1", "nvme0n2 259:2", "nvme1n1 259:3", "nvme1n1/nvme1n1p1 259:4", "nvme10n1 259:5",
		"sda 8:0", "md0 9:0 nvme0n2,sda",
	)
	for minor, want := range []string{"nvme0n1+nvme0n2+sda", "nvme0n1+nvme0n2+sda", "nvme0n1+nvme0n2+sda", "nvme1n1", "nvme1n1", "nvme10n1"} {
		if got := s.of(device{259, uint32(minor)}); got != want {
			t.Errorf("259:%d is on %q, want %q", minor, got, want)
		}
	}
}
