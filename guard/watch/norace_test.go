//go:build !race

package watch

const raceFactor = 1
