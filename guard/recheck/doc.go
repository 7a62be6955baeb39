// Package recheck reads a drive anew, at any time and on any machine, and says of each roll on it whether it is still
// what was recorded: intact, changed, missing, extra, unreadable, renamed or unchecked, file by file.
//
// A roll is a folder with an ASC MHL history, by whichever program, or one with a checksum list (A003.xxh64) beside it.
// Where both are there the history counts, and the list adds the names that no manifest can hold. A list whose roll
// folder is gone is a roll too: all of it is missing. Histories further down belong to the roll around them.
//
// Every file is read from the device as far as the platform can promise that ([device.ReadBack]); the roll's report says
// how far. All recorded formats are computed in the same pass and compared; XXH32 is read in manifests and not computed,
// so a file that has nothing else is unchecked.
//
// # What it writes
//
// Unless ReadOnly: one generation in each history of the roll, process "in-place", those further down first, by way of
// package manifest (temporary name, flush, rename without replacing; then the chain). The files get XXH64 beside what was
// recorded, once that matched. A generation is written also when something failed: then it says so, and the good value
// stays the earlier one. Missing and unreadable files are not listed. Nothing is written into a history that is broken,
// or that came with the card (its files are in the checksum list), or where there is only a list. Two processes that
// append to one roll exclude each other.
//
// # Moves
//
// A recorded file that is gone and exactly one file without a record that has its size and digests, and fits no other:
// that is a move, and the new generation records it with the previous path. With several candidates nothing is guessed.
// Names that differ in their Unicode form only are taken for the same file.
//
// Invariants carried here: 3 (nothing on a drive is overwritten or removed), 4 (read from the device where it can be
// promised, said where not). A [Meter] may be read while Run works; two Runs may work at the same time on different
// rolls.
package recheck
