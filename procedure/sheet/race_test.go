//go:build race

package sheet

const raceOn = true
