// Package board answers "where is every roll?": cameras in rows, rolls in their places, what lingers, which numbers have
// not come in, and how long the room on the drives will last.
//
// [Of] is a pure fold of a shift's state and a time; [Board.Text] draws one frame for a terminal of a given size, without
// colour; as JSON a Board has the names that its fields carry. A second screen draws a frame again whenever the journal
// has grown or a minute has passed. Nothing here reads a disk or a clock.
//
// Invariants carried here: 11 (spans come from the monotonic clock as far as the journal has it) and 12 (all is said in
// words). A Board is a value that shares nothing with the shift it was made of; its methods may be called concurrently.
package board
