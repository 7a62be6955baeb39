// Package report turns what was read from journals into what a trainer asks: who is ready, which step costs time, what
// is getting better, what is out of the ordinary, what to practise next.
//
// [Make] is pure: a [read.Set] and [Options] to a [Report]; no clock, no disk. The order is compliance first, time second.
// People stand in the order of their names and are never ranked; a review is between a trainer and a trainee.
//
// All times are the operator's own, in milliseconds, unless a field says machine. Percentiles are R6 (package stats names
// its sources). Where data carry no answer there is a word instead of a number; no field holds a NaN or an infinity.
//
// Texts from journals (names, labels, reasons, paths) are carried as they are; who shows them makes them safe.
package report
