package doctor

import (
	"context"
	"time"

	"twobin/guard"
)

// Env is the machine as Check sees it. Every field but Home and To must be set; [System] sets all.
type Env struct {
	// Home is the data folder, To the destinations that were named (may be none).
	Home string
	To   []string
	// Getenv gives an environment variable, empty if not set.
	Getenv func(string) string
	// Terminal says what standard input and output are.
	Terminal func() Terminal
	// Try tries the data folder. It may block.
	Try func(ctx context.Context, dir string) Trial
	// Clock reads the wall clock (with its zone) and a clock that nobody sets, at the same moment.
	Clock func() (wall time.Time, steady time.Duration)
	// Wait lets time pass while the clocks are compared.
	Wait func(ctx context.Context, d time.Duration)
	// Synced says whether something sets the clock by the network.
	Synced func() Answer
	// Watch starts watching volumes, lists them, and stops.
	Watch func(ctx context.Context) (Watching, error)
	// Identify says which volume carries a path. It may block.
	Identify func(path string) (guard.Volume, error)
	// Writable asks the system, without writing, whether a folder may be written to; nil means yes. It may block.
	Writable func(path string) error
	// Honesty is how far copies in this folder could be proven, as far as its file system's kind tells. It may block.
	Honesty func(path string) (guard.Honesty, error)
	// Tool is the path of a program, empty if there is none.
	Tool func(name string) string
}

// Terminal is what standard input and output are. Width and Height are cells, 0 if not known.
type Terminal struct {
	In, Out       bool
	Width, Height int
}

// Answer is yes, no or not known, which is the zero value.
type Answer int

const (
	// Unknown: the system does not tell.
	Unknown Answer = iota
	// Yes and No are what the system said.
	Yes
	No
)

// Trial is what came of using the data folder.
type Trial struct {
	// Missing: the folder is not there yet; it was made for the trial.
	Missing bool
	// Write and Flush are why a file could not be written, or not flushed; nil for done.
	Write, Flush error
	// Volume carries the folder (or the nearest folder above it).
	Volume guard.Volume
	// Took is how long one small flush took.
	Took time.Duration
	// Back is how the file could be read back; Reading is why it could not.
	Back    guard.Honesty
	Reading error
}

// Watching is how volumes are watched here.
type Watching struct {
	// Woken: by the kernel; otherwise by looking every now and then.
	Woken   bool
	Volumes []guard.Volume
}
