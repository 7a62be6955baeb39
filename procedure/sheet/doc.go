// Package sheet makes the log sheet: one row a roll, with totals a camera and day and a camera over all days, as
// CSV, XLSX and HTML.
//
// A [Reader] turns a shift's state, its entries and its proofs into [Row] values; a [Sheet] has the rows of one shift or
// of many, and writers. Rows are a fold: nothing is asked of a disk but the proofs, through a function of the caller.
//
// What is written, byte for byte where it matters:
//
//   - CSV as RFC 4180: a header line, CRLF, quotes doubled, UTF-8 without a byte order mark. Times are RFC 3339 with
//     offset, sizes bytes. A cell that a spreadsheet would take for a formula (it begins with =, +, -, @ or one of their
//     wide forms, blanks before it not counted) gets an apostrophe in front.
//   - XLSX with typed cells: text is text (a label or serial number never becomes a number or a date), sizes are
//     numbers, times are dates in the time of the place; the column "UTC offset" says which that is. Sheets: Rolls
//     (header frozen, filter on), Totals, About.
//   - HTML in one file without scripts and without anything from outside, for the screen (light and dark) and for paper
//     (A4 and Letter, landscape).
//
// Control characters and marks that turn the direction of text are replaced in all of them ([procedure.Plain]).
// [Create] writes a file whole or not at all, and never over one that is there.
//
// Functions may be called concurrently, a Reader may not.
package sheet
