package recheck

import (
	"fmt"
	"time"
	"unicode/utf8"

	"twobin/guard"
)

// Class is what a recheck found of one file. Every file is in exactly one. The zero value is none.
type Class int

const (
	classInvalid Class = iota
	// Intact: read, and equal to the record.
	Intact
	// Changed: read, and different from the record.
	Changed
	// Missing: recorded, and not there.
	Missing
	// Extra: there, and in no record.
	Extra
	// Unreadable: there, and it cannot be read.
	Unreadable
	// Renamed: equal to the record of a file that is no longer in its place.
	Renamed
	// Unchecked: read, but the record has no value that can be compared (only XXH32, only failed ones, or a broken history).
	Unchecked
	classEnd
)

var classNames = [...]string{classInvalid: "invalid", Intact: "intact", Changed: "changed", Missing: "missing", Extra: "extra",
	Unreadable: "unreadable", Renamed: "renamed", Unchecked: "unchecked"}

// String is the word used in reports and on screens.
func (c Class) String() string {
	if c <= classInvalid || c >= classEnd {
		return classNames[classInvalid]
	}
	return classNames[c]
}

// MarshalText is String, for JSON.
func (c Class) MarshalText() ([]byte, error) { return []byte(c.String()), nil }

// UnmarshalText reads what MarshalText wrote.
func (c *Class) UnmarshalText(b []byte) error {
	for k := Intact; k < classEnd; k++ {
		if classNames[k] == string(b) {
			*c = k
			return nil
		}
	}
	return fmt.Errorf("unknown class %.40q", b)
}

// File is one file that is not simply intact.
type File struct {
	// Path is relative to the roll folder. In JSON, names that are not valid UTF-8 stand in PathBytes (base64), and Path
	// has them with replacement characters, for people.
	Path      string `json:"path"`
	PathBytes []byte `json:"path_bytes,omitempty"`
	Class     Class  `json:"class"`
	// From is the recorded path of a renamed file.
	From string `json:"from,omitempty"`
	// Cause says why a file cannot be read, or what differs, in plain words.
	Cause string `json:"cause,omitempty"`
}

// Counts has the number of files of each class.
type Counts struct {
	Intact     int `json:"intact"`
	Changed    int `json:"changed"`
	Missing    int `json:"missing"`
	Extra      int `json:"extra"`
	Unreadable int `json:"unreadable"`
	Renamed    int `json:"renamed"`
	Unchecked  int `json:"unchecked"`
}

func (c *Counts) add(k Class) {
	switch k {
	case Intact:
		c.Intact++
	case Changed:
		c.Changed++
	case Missing:
		c.Missing++
	case Extra:
		c.Extra++
	case Unreadable:
		c.Unreadable++
	case Renamed:
		c.Renamed++
	case Unchecked:
		c.Unchecked++
	default:
		panic("recheck: file without a class")
	}
}

// Record is by what a roll was checked.
type Record string

// The kinds of record.
const (
	// ByHistory: an ASC MHL history, with the checksum list beside it if there is one.
	ByHistory Record = "asc-mhl"
	// ByList: a checksum list alone.
	ByList Record = "checksum-list"
)

// Roll is what was found in one roll folder.
type Roll struct {
	// Folder is the roll folder, relative to the path that was asked for; "." if it is that path itself.
	Folder string `json:"folder"`
	Record Record `json:"record"`
	// Generations is how many the history had before.
	Generations int    `json:"generations,omitempty"`
	Counts      Counts `json:"counts"`
	// Files lists all files that are not intact, sorted by path.
	Files []File `json:"files,omitempty"`
	// Bytes is how much was read.
	Bytes int64 `json:"bytes"`
	// Past tells how far the reading can be trusted to have come from the device.
	Past guard.Honesty `json:"-"`
	// Reading is Past in words.
	Reading string `json:"reading"`
	// Warnings are oddities that are no damage; Faults are damage beyond single files: a broken chain, a record that
	// could not be written.
	Warnings []string `json:"warnings,omitempty"`
	Faults   []string `json:"faults,omitempty"`
	// Ignored counts what a pattern left out.
	Ignored int `json:"ignored,omitempty"`
	// Appended are the manifests written by this recheck, relative to the roll folder.
	Appended []string `json:"appended,omitempty"`
}

// OK says whether the roll is whole: all that is recorded is there and equal. Extra and renamed files do not spoil it.
func (r *Roll) OK() bool {
	c := r.Counts
	return c.Changed == 0 && c.Missing == 0 && c.Unreadable == 0 && c.Unchecked == 0 && len(r.Faults) == 0
}

func (r *Roll) put(f File) {
	r.Counts.add(f.Class)
	if f.Class == Intact {
		return
	}
	if !utf8.ValidString(f.Path) {
		f.PathBytes = []byte(f.Path)
	}
	r.Files = append(r.Files, f)
}

func (r *Roll) warnf(format string, args ...any) {
	r.Warnings = append(r.Warnings, fmt.Sprintf(format, args...))
}

func (r *Roll) faultf(format string, args ...any) {
	r.Faults = append(r.Faults, fmt.Sprintf(format, args...))
}

// Report is the result of one recheck.
type Report struct {
	// Path is what was asked for, absolute, without symbolic links.
	Path  string    `json:"path"`
	Began time.Time `json:"began"`
	Ended time.Time `json:"ended"`
	Rolls []Roll    `json:"rolls"`
	// Unread are folders in which rolls were looked for in vain, because they cannot be listed.
	Unread []string `json:"unread,omitempty"`
	// Complete is false if the recheck was stopped, or the drive went away.
	Complete bool `json:"complete"`
}

// OK says whether the recheck came to its end, found at least one roll, and all of them whole.
func (r *Report) OK() bool {
	if !r.Complete || len(r.Rolls) == 0 || len(r.Unread) > 0 {
		return false
	}
	for i := range r.Rolls {
		if !r.Rolls[i].OK() {
			return false
		}
	}
	return true
}
