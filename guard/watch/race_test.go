//go:build race

package watch

// raceFactor is how much dearer the race detector makes a run, generously.
const raceFactor = 8
