// Package journal is the record of everything that was done: one file a shift, to which lines are only ever added.
//
// # Use
//
// The program that works a shift opens the journal, for itself alone, folds the lines it gets back into its state, and
// from then on appends. An event has happened when [Journal.Append] has returned; before that nothing may be shown as
// done. Everything else (review, log sheet, board, the check of a journal) reads with [ReadFile] or [Verify], which
// take no lock and change nothing.
//
//	j, lines, err := journal.Open(path, journal.Options{Station: "A"})
//	lines, err = j.Append(ctx, journal.Line{Event: "roll.received", Roll: "A003", Operator: "Kim", Data: data})
//
// # The bytes on disk, format twobin.journal.1
//
// The file is UTF-8 text in JSON Lines: each line one JSON object, each ended by one newline (0x0A), no empty lines, no
// byte order mark. Names, their order and all spelling are fixed, so there is exactly one way to write an event, and a
// reader refuses any other. Nothing stands between the fields but what is shown; shown here on several lines:
//
//	{"seq":12,                                      number of the line, from 1, without a gap
//	"time":"2031-05-06T09:12:03.000000001+02:00",   wall clock, RFC 3339, nine decimals, numeric offset also for UTC
//	"run":2,                                        number of the process that wrote it, from 1
//	"mono":4200000001,                              nanoseconds since that process opened the journal, monotonic clock
//	"station":"A",                                  work place
//	"lane":1,                                       reader, from 1; 0: none meant
//	"operator":"Kim",                               who worked; may be empty
//	"event":"roll.received",                        name of the event: [a-z][a-z0-9_-]* joined by dots, up to 64 bytes
//	"roll":"A003",                                  label of the roll; empty: none meant
//	"data":{"from":"Robin"},                        compact JSON object, no name twice in one object; or null
//	"prev":"…",                                     "sum" of the line before; first line: SHA-256 of twobin.journal.1
//	"sum":"…"}                                      SHA-256 of this line from its first byte up to the quote that closes
//	                                                prev; both in 64 lower-case hexadecimal digits
//
// Whole numbers are zero or more, without leading zeros, up to 18 digits. In strings, the quote and the backslash are
// escaped by a backslash, and U+0000 to U+001F, U+007F to U+009F, U+2028 and U+2029 as \u and four lower-case digits;
// all else stands as it is. Data are kept byte for byte as their writer gave them, names that this program does not
// know included. A line has at most 1 MiB, one append at most 4 MiB. Text that is not UTF-8 is refused: names of files
// that are not must be escaped by who puts them into data.
//
// From line to line: "seq" grows by one. "run" grows by one exactly at a journal.opened line, where "mono" begins again at
// 0; within a run "mono" never falls, the lines of one append have the same "time" and "mono", and no other append of the
// run has that "mono".
//
// Two events are the journal's own, and names in journal. and clock. are kept for it:
//
//   - journal.opened, the first line of every run and so of the file; data: [OpenedData].
//   - clock.jumped, in front of an append: since the line before, wall clock and monotonic clock have moved apart by more
//     than [JumpLimit]. At the begin of a run: the wall clock is behind the last line. Data: [JumpedData].
//
// Since each line carries its own sum, a change of any byte is found in the line in which it was made, the last line
// included. Since each carries the sum of the one before, so are lines left out, added or exchanged. Whoever changes a
// line and reckons all sums anew, or leaves out lines at the end, changes the closing code ([CodeOf]), which stands in
// the paper book. That is how far it goes: the sums are not signatures.
//
// Beside the journal NAME may lie NAME.lock, a note that says which process has it open (the lock itself is the
// system's, on the journal), and NAME.torn-1, -2, …: torn ends, see below.
//
// # Crashes
//
// An append is one write at the end of the file and one flush. What a crash can leave of it stands behind all that
// counts, and is one of: nothing; some or all of its lines, whole (these are kept: they did happen, though nobody was
// told); the beginning of a line without its newline; blocks of zeros where data did not reach the disk. The last two
// are set aside on opening: copied into NAME.torn-N, flushed, then cut off, and listed in journal.opened. They are never
// completed or read as events. Any other damage is not what a crash does, and Open refuses.
//
// After a failed write or flush nothing counts any more: the journal is closed for good, since a flush that is called
// again says ok about data that the device does not have. The cache is dropped then, and again on opening, so that what is
// read is what the device holds.
//
// A journal that is marked append-only for the system (chattr +a) works; only a torn end cannot be cut off there: Open
// copies it, says that it may not cut, and the mark must come off once.
//
// # Concurrency and invariants
//
// A Journal's methods may be called from several goroutines; appends then wait for each other. Open, ReadFile, Verify
// and the pure functions may be called at any time. Append and Open block on the disk; ctx is only heeded before the
// write begins.
//
// Carried here: 7 (what the screen says is done is on disk first: Append returns after the flush), 8 (after a crash no
// acknowledged event is lost), 10 (the journal only grows; any change of a byte is found and located), 11 (durations
// come from the monotonic clock, wall-clock times carry their offset, a jump is noted).
package journal
