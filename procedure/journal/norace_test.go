//go:build !race

package journal

const slow = false
