package device

import (
	"fmt"

	"golang.org/x/sys/windows"
)

// Space asks the volume for its room.
func (r *Root) Space() (Space, error) {
	path, err := windows.UTF16PtrFromString(r.path)
	if err != nil {
		return Space{}, fmt.Errorf("free space: %w", err)
	}
	s := unknownSpace
	var free uint64
	if err := windows.GetDiskFreeSpaceEx(path, &free, nil, nil); err != nil {
		return Space{}, fmt.Errorf("free space of %s: %w", r.path, err)
	}
	s.Free = int64(free)
	return s, nil
}
