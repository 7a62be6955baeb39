// Package text writes a review as plain text: tables of at most 80 columns, and plots of characters of ASCII, each with
// its words. Nothing is said by colour. Every text from outside is made safe (procedure.Plain) and cut to its column.
//
// [Write] writes the whole review; [Person] and the other parts are what the terminal program shows page by page. All
// are pure.
package text
