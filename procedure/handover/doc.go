// Package handover makes the paper that goes with the drives: what doesn't add up, what is on each drive and how to
// check it with general tools, what is not safe yet, holds, missing numbers, notes, questions, cautions, lines to sign,
// and the journal's closing code.
//
// [Of] is a fold over a shift, its entries and the check of its journal. A [Doc] has everything in words that are safe
// to show; [Doc.WriteHTML] writes it for screen and paper, package paper as PDF, [Doc.Labels] gives a short text for a
// sticker on each drive. [Write] puts all of it, with the log sheet, into a folder, and never over a file that is there.
//
// Nothing here reads a drive: what a hand-over says of a copy is what was proven when it was made, and what the last look
// at the close found; the way to check it again is on the page.
//
// A Doc is a value and may be used concurrently.
package handover
