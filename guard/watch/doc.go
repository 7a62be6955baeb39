// Package watch tells which volumes come and go, and what volume carries a path.
//
// A [Watcher] keeps the list of mounted volumes and reports every difference as a [Change]. On Linux the kernel wakes
// it (poll on the mount table, inotify on reader folders); elsewhere it looks every half second. Either way it looks
// again once in a while by itself, for changes that nobody announces (a drive that turned read-only after a fault).
// [Identify] and [Watcher.Identify] say what volume a path lies on now; the lock rests on that answer.
//
// # What counts as a volume
//
// Every visible mounted file system, but not the system's own (proc, cgroup, …), not squashfs images of packages, not
// what containers and the boot loader mount, not memory disks in system folders, and not a second sight of a volume
// that is already seen elsewhere (bind mounts). A mount that another mount covers is not visible and not reported.
//
// # Reader folders
//
// A reader folder is a fixed path that plays the reader: there is a card when the path leads to a mount point of its
// own, or to a folder with at least one entry. It is gone when the path leads nowhere, or to an empty folder. Symbolic
// links are followed: the card is what the path leads to, and re-pointing the link swaps the card. Such a volume has
// Mount set to the reader path as given (made absolute), never to what the link leads to, so that a caller can tell
// the reader by comparing paths and so that opening it again follows the link again.
//
// To seat a card in one go, mount it there or rename a filled folder into place. A folder that is filled file by file
// is reported at its first entry, while the rest is still to come. Likewise erasing the last entry of a card that is a
// plain folder is reported as gone.
//
// # Identity
//
// Volume.ID is "uuid:…" if the file system carries an identifier of its own: it is the same wherever and whenever the
// volume is mounted. (A block-for-block clone has the identifier of its original; nothing here can tell them apart.)
// For a reader folder without a mount of its own it is "dir:DEV:INODE:BORN": device number, inode number and, where the
// file system keeps it, birth time in nanoseconds since 1970, so that a new folder that was given the number of a
// removed one is not taken for it. That names the folder, not what was put into it: two cards poured one after the
// other into the same folder have the same ID. Whoever must tell them apart compares what they hold, as the lock does.
// If there is no identifier to be had the ID is empty, which is equal to nothing.
//
// Volume.Disk is one word for the physical device: partitions and NVMe namespaces of a drive share it, and so do all volumes whose devices
// are tied together by a RAID or a device mapper (their disks' names joined by "+"). A loop device is on
// whatever carries its file, for a disk image fails with its drive; only a file in memory makes it a device of its own. For a network share it is "server:" and the server's name. Empty if not
// to be had, and for file systems without a device (memory, overlay).
//
// # Promises
//
// Carries invariant 2 for its part: nothing here ever writes to a volume. Folders are opened with O_NOATIME where that
// exists and is allowed. Block devices are opened for reading only, and only to read the identifier in the boot sector.
//
// A drive that does not answer stops nothing: questions are asked aside with a limit. Its volume is then reported with
// what the mount table tells (no ID, no sizes); when the answer comes after all it is reported as answered.
//
// All methods of a Watcher and all functions may be called concurrently. The package writes no files.
package watch
