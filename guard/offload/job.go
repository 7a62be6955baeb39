package offload

import (
	"context"
	"log/slog"
	"os"
	"time"

	"twobin/guard"
)

// DefaultPatience is how long one call to a drive may take before the drive counts as not answering. Own choice: a
// spinning drive that has to wake up takes some ten seconds, a flush of a full drive cache a few more.
const DefaultPatience = 60 * time.Second

// Target is one destination.
type Target struct {
	// Name is what the operator calls it.
	Name string
	// Path is the destination's top, an existing folder, as the operator gave it.
	Path string
	// Folder is the roll's folder below Path, separated by '/'. It and the folders above it are made as needed.
	Folder string
	// Volume is what carries Path. With Volume.Simulated the honesty of its read-back is [guard.FromSimulated].
	Volume guard.Volume
}

// Job is one offload, or one further copy.
type Job struct {
	// Label goes into the proof.
	Label string
	// Source is the card (or the drive with an earlier copy), SourcePath the folder that is read.
	Source     guard.Volume
	SourcePath string
	// Listing is what has to be copied, as [Scan] gave it.
	Listing guard.Listing
	// Partial: SourcePath holds more than Listing, on purpose. Otherwise anything new there is a change of the card.
	Partial bool
	Targets []Target
	// Extra has hash formats (package hashes) that are computed in the same pass beside XXH64, for Proof.Hashes.
	Extra []string
	// Expect, if not nil, says which digest a file has to have, by a format of package hashes and its text. A file
	// that differs is a [guard.KindMismatch] of the source and is not placed anywhere. An empty format: not known.
	Expect func(path string) (format, digest string)
	// Reread reads the source a second time and compares ([guard.KindReread]).
	Reread bool
	// Recorder writes what stands beside the files. Nil: nothing.
	Recorder Recorder
	// Ident, if not nil, is asked by Check whether Target.Volume and Source are still what carries their paths.
	Ident guard.Identifier
	// Patience is how long one call to a drive may take; 0 is DefaultPatience.
	Patience time.Duration
	// Now is the clock (wall and monotonic); nil is time.Now.
	Now func() time.Time
	// Log may be nil.
	Log *slog.Logger
}

// Recorder writes hash lists beside a copy.
type Recorder interface {
	// Stage writes the files for copy c of p under temporary names and flushes them. root is the destination's top,
	// folder the roll's folder below it. It is called once a destination, before the read-back pass; p.Files has its
	// hashes by then, p.Copies[c].Back is still empty. Calls for different destinations may run at the same time;
	// none may change p. Temporary names must satisfy device.IsTemp.
	Stage(ctx context.Context, root *os.Root, folder string, p *guard.Proof, c int) (Staged, error)
}

// Staged is what Stage has written. Exactly one of its methods is called, once.
type Staged interface {
	// Publish gives the files their names and flushes the folders. It is called when every file was read back equal.
	Publish() error
	// Discard removes the temporary files.
	Discard() error
}

// now reads the job's clock.
func (j *Job) now() time.Time {
	if j.Now != nil {
		return j.Now()
	}
	return time.Now()
}

// patience is the limit of one call to a drive.
func (j *Job) patience() time.Duration {
	if j.Patience > 0 {
		return j.Patience
	}
	return DefaultPatience
}

// log is never nil.
func (j *Job) log() *slog.Logger {
	if j.Log != nil {
		return j.Log
	}
	return slog.New(slog.DiscardHandler)
}
