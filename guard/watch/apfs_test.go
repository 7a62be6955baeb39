package watch

import (
	"slices"
	"testing"
)

// The form is from memory of macOS, shortened; no source.
func TestAPFSStores(t *testing.T) {
	const head = `<?xml version="1.0" encoding="UTF-8"?><plist version="1.0"><dict><key>APFSContainerReference</key><string>disk5</string>`
	tests := []struct {
		name, plist string
		want        []string
	}{
		{"one", head + `<key>APFSPhysicalStores</key> <array><dict> <key>APFSPhysicalStore</key> <string>disk4s2</string></dict></array>` +
			`<key>VolumeName</key><string>RAID</string></dict></plist>`, []string{"disk4s2"}},
		{"two", head + `<key>APFSPhysicalStores</key><array><dict><key>APFSPhysicalStore</key><string>disk0s2</string></dict>` +
			`<dict><key>APFSPhysicalStore</key><string>disk1s2</string></dict></array></dict></plist>`, []string{"disk0s2", "disk1s2"}},
		{"another array first", head + `<key>Else</key><array><string>disk9</string></array><key>APFSPhysicalStores</key><array>` +
			`<dict><key>APFSPhysicalStore</key><string>disk4s2</string></dict></array></dict></plist>`, []string{"disk4s2"}},
		{"key without an array", head + `<key>APFSPhysicalStores</key><string>disk4s2</string><key>x</key><array><string>disk9</string></array></dict></plist>`, nil},
		{"cut short", head + `<key>APFSPhysicalStores</key><array><dict><key>APFSPhysicalStore</key><string>disk4s2</string>`, nil},
		{"no plist", "Could not find disk", nil},
	}
	for _, tt := range tests {
		if got := apfsStores([]byte(tt.plist)); !slices.Equal(got, tt.want) {
			t.Errorf("%s: apfsStores = %q, want %q", tt.name, got, tt.want)
		}
	}
}

func TestWholeDisk(t *testing.T) {
	for name, want := range map[string]string{
		"/dev/disk4s1": "disk4", "disk12s2s1": "disk12", "/dev/disk3": "disk3", "disk": "", "disk4x": "", "devfs": "", "/dev/sda1": "",
	} {
		if got := wholeDisk(name); got != want {
			t.Errorf("wholeDisk(%q) = %q, want %q", name, got, want)
		}
	}
}
