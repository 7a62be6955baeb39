//go:build race

package offload

// raceEnabled: the race detector multiplies memory.
const raceEnabled = true
