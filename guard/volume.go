package guard

import "time"

// Volume is one mounted file system, as far as the system tells. The zero value is "unknown".
type Volume struct {
	// Mount is the absolute path at which the volume is seen.
	Mount string `json:"mount"`
	// Device is the system's name of the block device or share, for example /dev/sdb1. Empty if there is none.
	Device string `json:"device,omitempty"`
	// FSType is the file system's type in the system's words, for example ext4.
	FSType string `json:"fstype,omitempty"`
	// Name is the volume's own name (its file system label). Untrusted text.
	Name string `json:"name,omitempty"`
	// ID tells this file system from every other and survives taking the card out and seating it again:
	// "uuid:…" where the file system carries one, "dir:DEV:INODE" for a plain folder. Empty: not to be had.
	ID string `json:"id,omitempty"`
	// Disk names the physical device that carries the volume; two volumes with the same Disk fail together.
	// Partitions of one drive have one Disk. Empty: unknown, and unknown never counts as separate.
	Disk string `json:"disk,omitempty"`
	// Dev is st_dev of the mount (0 where the platform has none).
	Dev uint64 `json:"dev,omitempty"`
	// Size and Free are bytes; Free is what an ordinary user may still write.
	Size int64 `json:"size,omitempty"`
	Free int64 `json:"free,omitempty"`
	// ReadOnly: mounted read-only.
	ReadOnly bool `json:"readonly,omitempty"`
	// Simulated: a folder that plays a volume in a drill. A simulated volume never counts in a shift, a real one
	// never in a drill.
	Simulated bool `json:"simulated,omitempty"`
}

// Identifier tells what volume carries a path now. The real one asks the system (package watch); a drill has its own.
// It may block on a dying drive; callers run it aside with a limit.
type Identifier interface {
	Identify(path string) (Volume, error)
}

// Honesty says how far a read-back can be trusted to have come from the device. The zero value is not proven.
type Honesty int

const (
	// NotPastCache: this file system gives no way to know that bytes did not come from memory.
	NotPastCache Honesty = iota
	// FromDevice: flushed, dropped from the cache, seen to be gone from it, and read from the device.
	FromDevice
	// FromSimulated: a drill's simulated drive. Counts in a drill only.
	FromSimulated
)

// String is the wording used in proofs and on screens.
func (h Honesty) String() string {
	switch h {
	case NotPastCache:
		return "not proven past the cache"
	case FromDevice:
		return "read back from the device"
	case FromSimulated:
		return "simulated drive"
	}
	return "unknown"
}

// SharesDisk says whether both are known to lie on one physical device. An unknown one is not known to.
func (v Volume) SharesDisk(o Volume) bool {
	return v.Disk != "" && o.Disk != "" && devices([]string{v.Disk, o.Disk}) == 1
}

// Devices is how many of these volumes are known to fail apart from each other: an unknown disk counts for none.
func Devices(vs ...Volume) int {
	disks := make([]string, len(vs))
	for i, v := range vs {
		disks[i] = v.Disk
	}
	return devices(disks)
}

// ListExt ends the name of the checksum list that stands beside a roll's copy.
const ListExt = ".xxh64"

// Entry is one regular file on a card. Path is relative to the card, separated by '/', byte for byte as the file
// system gives it (not necessarily UTF-8). MTime is nanoseconds since 1970 UTC.
type Entry struct {
	Path  string
	Size  int64
	MTime int64
}

// Listing is what a card holds, sorted by path (byte order). Odd lists what is neither file nor folder (symbolic
// links, sockets, devices) and mounts below the card: such things are never followed, copied or removed, and a card
// that has them is reported to the operator.
type Listing struct {
	Files []Entry
	Dirs  []string
	Odd   []string
}

// Bytes is the sum of all file sizes.
func (l Listing) Bytes() int64 {
	var n int64
	for _, f := range l.Files {
		n += f.Size
	}
	return n
}

// File is one proven file: what stood on the card, and XXH64 (seed 0) of the bytes read from it.
type File struct {
	Entry
	Hash uint64
}

// Back is the hash of one file as read back from one destination. OK false: not read back, so not proven.
type Back struct {
	Hash uint64
	OK   bool
}

// Copy is one destination's part of a proof.
type Copy struct {
	// Name is what the operator calls the destination (SHUTTLE, RAID).
	Name string
	// Path is the destination as the operator gave it; Folder is the roll's folder below it, separated by '/'.
	Path   string
	Folder string
	// Volume is what carried Path when the copy was made.
	Volume Volume
	// Honesty is the weakest of all its read-backs.
	Honesty Honesty
	// LastWrite and ReadFrom are when the last byte was flushed to this destination and when the read-back pass
	// that this proof rests on began. Same process, monotonic; a copy counts only if ReadFrom is not before LastWrite.
	LastWrite time.Time
	ReadFrom  time.Time
	// Back has one value a file, in the order of Proof.Files.
	Back []Back
	// Fault is why this copy is condemned; empty for a good one. Words for the record, not for a decision.
	Fault string
}

// Proof is what one offload has shown. Files are sorted by path. It is a value: it says what was true when it was
// made, never what is true now (that is the fresh look's work). The zero value proves nothing.
type Proof struct {
	Label string
	// Card is the volume that was read.
	Card  Volume
	Files []File
	Dirs  []string
	// Copies has every destination of the offload, good or condemned.
	Copies []Copy
	// Began and Ended are wall-clock times with offset.
	Began, Ended time.Time
	// Hashes has, for each extra format that policy asks for (ASC MHL element names: "md5", "sha1", "c4", "xxh3",
	// "xxh128"), one digest text a file, in the order of Files. Nil when none was asked for.
	Hashes map[string][]string
}

// Listing is the card's contents as proven.
func (p *Proof) Listing() Listing {
	l := Listing{Files: make([]Entry, len(p.Files)), Dirs: p.Dirs}
	for i, f := range p.Files {
		l.Files[i] = f.Entry
	}
	return l
}

// Bytes is the sum of all proven sizes.
func (p *Proof) Bytes() int64 {
	var n int64
	for i := range p.Files {
		n += p.Files[i].Size
	}
	return n
}

// Proven says whether copy c of p is a full, honest, equal copy: every file read back equal, in a pass that began
// after the last write, from the device (or, in a drill, from a simulated drive).
func (p *Proof) Proven(c *Copy) bool {
	if c.Fault != "" || len(c.Back) != len(p.Files) {
		return false
	}
	switch c.Honesty {
	case FromDevice:
		if c.Volume.Simulated || p.Card.Simulated {
			return false
		}
	case FromSimulated:
		if !c.Volume.Simulated || !p.Card.Simulated {
			return false
		}
	default:
		return false
	}
	if c.LastWrite.IsZero() || c.ReadFrom.IsZero() || c.ReadFrom.Before(c.LastWrite) {
		return false
	}
	for i, b := range c.Back {
		if !b.OK || b.Hash != p.Files[i].Hash {
			return false
		}
	}
	return true
}
