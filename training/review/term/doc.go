// Package term shows a review in a terminal: choose a trainee, a step, a drill; scroll; drill down to the timeline of one
// run.
//
// [Run] takes the terminal and gives it back in every case. The model behind it is pure but for the command that reads a
// timeline; it is driven by hand in the tests. No colour is used: what is chosen is drawn in reverse and marked by a sign.
// Texts come from package text, which makes what is from outside safe.
package term
