//go:build !race

package archive

const raceOn = false
