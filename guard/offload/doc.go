// Package offload copies a card to its destinations and proves the copies.
//
//   - [Scan] lists what a card holds, without following or changing anything.
//   - [Check] says what can be known before the first byte: room, names, rights, files in the way, shared devices.
//   - [Run] reads the card once, writes every destination in the same pass, flushes, places the files under their names,
//     and then reads every destination back from its device. It yields a [guard.Proof].
//   - [Progress] is what a screen may sample at any time.
//
// # What it writes
//
// Only below the roll's folder of each destination, and only this: the card's folders and files with their names (byte
// for byte), times and contents; while it works, temporary files named by [device.TempName]; and what the [Recorder]
// writes. Folders on the way to the roll's folder are made as needed. Files get mode 0666 and folders 0777, less the
// process's umask. [Check] makes one folder with such a temporary name at the destination's top, tries names in it, and
// takes it away again.
//
// The only things ever removed on a destination are those temporary names: whatever an earlier, interrupted run left
// behind in the roll's folders. A card that holds names of that pattern is refused, so they can be nobody else's.
//
// # Order
//
// For every destination: folder handles, temporary file, room reserved, data, length, time, flush, rename without
// replacing, folder flush; then folder times, the recorder's files (still under temporary names) and a flush of
// everything; only then the read-back begins. A drive that claims more than it holds passes any read-back made earlier,
// because its cache still has what the medium lost. Large files are flushed one by one; small ones by group, with one
// flush of the whole file system through a handle opened before the group's first write (that is what makes it report
// errors). A flush that fails condemns the copy; it is never tried again, because the second call says "ok" whatever
// the device holds.
//
// # Faults
//
// A destination that fails is condemned and dropped; the others go on. A card that fails in one file is read to its end,
// so that as much as possible is safe, but nothing is proven. Whatever touches a drive runs aside: a drive that does not
// answer within [Job.Patience] is given up, and so is the goroutine that waits for it, with its buffer.
//
// # Resuming
//
// Nothing is remembered between runs. A file that stands in its place with the right size is never written: it is read
// back from the device and compared with the card's bytes, twice: at once while the card is read (so that a wrong one is
// reported early) and again in the read-back pass.
//
// Invariants carried here: 2 (nothing is written to a card), 3 (nothing on a destination is overwritten or removed),
// 4 (proven only by bytes from the device, after the last write). Different jobs may run concurrently; two jobs on one
// roll folder exclude each other with [guard.KindBusy], and so do two runs of one card (not on Windows).
package offload
