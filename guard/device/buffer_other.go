//go:build !linux && !darwin

package device

import "unsafe"

// newBuffer cuts an aligned piece out of a heap block.
func newBuffer(n int) ([]byte, error) {
	b := make([]byte, n+Align)
	skip := int(-uintptr(unsafe.Pointer(unsafe.SliceData(b))) & (Align - 1))
	return b[skip : skip+n : skip+n], nil
}

// freeBuffer leaves the block to the collector.
func freeBuffer([]byte) {}
