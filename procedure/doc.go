// Package procedure is what the operator does, in which order, and the record of it.
//
//   - roll.go, routine.go: labels, places and the fixed steps, as data.
//   - event.go: everything that can happen in a shift, one type an event.
//   - shift.go: the state of a shift as a fold over events. It says what may happen next, and refuses the rest. Pure:
//     no clock, no disk.
//   - runner.go and its neighbours: takes intents, asks the guard, appends events, then shows. No screen.
//   - view.go, words.go: what a screen or a plain line shows, and in which words. Screens decide nothing.
//
// Sub-packages: journal (the record on disk), screen (full-screen), plain (line by line), sheet (log sheet and
// hand-over), doctor.
//
// Invariants carried here, by the numbers of DEVELOPERS.md: 1 (a step is done only in its place), 5 (the lock), 7 (on
// disk before on screen), 8 (after a crash), 10 and 11 (with package journal), 12 (colour never alone).
//
// A [Shift] is a value owned by one goroutine. A [Runner] may be called from any number of goroutines.
package procedure
