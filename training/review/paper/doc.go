// Package paper writes a review as one HTML file for screen and paper, and its single times as CSV.
//
// The HTML asks for nothing outside itself and runs no script (its content security policy forbids both); plots are inline
// SVG in the colour of the text, told apart by shape and dash; it follows light and dark, and prints. Texts from outside
// are escaped by html/template and freed of control characters and of marks that turn the text's direction.
//
// The CSV has one line a run and step. A cell that a spreadsheet would take for a formula begins with an apostrophe.
//
// All functions are pure but for the writer that they are given, and may be called concurrently.
package paper
