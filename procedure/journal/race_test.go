//go:build race

package journal

// slow: the race detector makes this test several times slower than the program.
const slow = true
