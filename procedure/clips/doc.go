// Package clips asks what a roll's list of files lets one ask, without knowing any camera maker's format: numbers that
// are skipped in the clips' names, names that do not follow the others, files without contents, names that begin with
// another roll's label, equal files, recording times outside the shift, hidden files of a computer.
//
// What comes out are [Question] values for the camera department, shown at the count step and in the log sheet. None of
// them blocks anything, none says that something is wrong: a camera may skip numbers, a clip may be named by hand.
//
// Another roll's label is looked for only where a file's own name begins, with as many digits as the roll's and a camera
// of the shift. Elsewhere in a name, a letter and a number are as a rule the clip's (C012 beside A003), and folders are
// the camera's; three or more such labels of one letter with one file each are taken for a counter. Hidden files, and
// those of less than 64 kB, are never asked about as equal.
//
// [Listing] needs no hashes and so can ask while the copy runs; [Proof] also finds equal files, with an [Index] of the
// production's rolls. [Past] is asked while a card is worked: which of its clips look like those of an earlier roll, and,
// once they are copied, which are the same. The functions are pure. An Index or a Past belongs to one goroutine.
package clips
