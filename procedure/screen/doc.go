// Package screen is the full-screen terminal program: it shows a [procedure.View] and sends [procedure.Intent]s. It
// decides nothing: the desk (a [procedure.Desk]) says what is due, accepts or refuses, and gives the words.
//
// # What is on it
//
// The strip at the top mirrors the desk: red bin left, reader and desk in the middle, green bin right. Below it stands
// one step with its prompt, then messages, the running copy and open notes; the keys are at the bottom. Five views
// replace that layout:
//
//   - a critical step: the step, its clock and its key, nothing else;
//   - the erase: a frame that no other view has, without the label it asks for;
//   - called away: the place where the operator left, until they are back;
//   - why, board and cause: one text over the whole screen, any key closes it;
//   - a window below 80 columns by 24 lines: what it needs and what it has.
//
// # Keys
//
// An option of a choice is its key alone. A line of text ends with Enter; the erase with ctrl+e. Keys that came before
// a prompt was drawn never answer it: after each new prompt keys are dropped until they pause (see gate), and what
// follows an answer in the same burst is dropped too.
//
// # Concurrency
//
// [Run] owns the terminal, the process signals SIGINT, SIGTERM and SIGHUP, and its goroutines until it returns. The
// model is touched by Bubble Tea's loop alone. Everything that can wait (Desk.Do, Desk.Wait, Desk.View) runs in a
// command; one Do and one View at a time.
//
// The package writes to the terminal and to no file. It carries invariant 12 (every colour has its word) and shows
// only what the desk has put on disk first (invariant 7, kept by the desk).
package screen
