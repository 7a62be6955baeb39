//go:build !linux

package doctor

// synced is not known here.
func synced() Answer { return Unknown }
