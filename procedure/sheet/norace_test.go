//go:build !race

package sheet

const raceOn = false
