//go:build !linux && !darwin && !windows

package device

// Space is not known on this platform.
func (r *Root) Space() (Space, error) { return unknownSpace, nil }
