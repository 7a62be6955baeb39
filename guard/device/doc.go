// Package device reads and writes one volume with the care that footage needs.
//
// All names go through folder handles that were opened once ([OpenRoot]), so that a volume that was pulled cannot turn
// into a folder of the system disk: after an unmount a path leads to the parent file system, the handle does not.
// Symbolic links are never followed below a root, mounts below it never entered.
//
//   - [Folder] opens, lists, makes, renames without replacing, and flushes. It removes temporary names only ([IsTemp]).
//   - [Reader] reads a source past the page cache where the system can do that, without changing its access time.
//   - [Writer] writes a temporary file: room reserved first, aligned writing past the cache, exact length, time, flush.
//   - [ReadBack] reads a copy from the device and says how honest that was ([guard.Honesty]).
//
// What the platforms promise:
//
//	linux    ext2/3/4, xfs, btrfs, f2fs, FAT, exFAT, NTFS (kernel drivers): flushed, dropped from the page cache, seen to be
//	         gone from it (cachestat, else mincore), then read. Everything else (tmpfs, FUSE, network, overlay, zfs): not proven.
//	darwin   apfs, hfs, exfat, msdos: F_FULLFSYNC, F_NOCACHE, and no page resident (mincore). Everything else: not proven.
//	others   not proven past the cache.
//
// Of these, ext4, xfs and btrfs were measured with bits flipped under the file system; the others rest on the same kernel
// interface. The darwin part is built and vetted, not measured.
//
// Invariants carried here: 2 ([Reader] and [Folder.List] change nothing, not even access times, where the platform has
// a flag for that), 3 (nothing is replaced; only temporary names are removed), 4 ([ReadBack]).
//
// A Root and its Folders may be used concurrently; a Reader or Writer belongs to one goroutine. Calls may block as long as
// the drive likes: callers that must not wait run them aside.
package device
