package manifest

import "time"

// Action is what a hash says about its file. The zero value is a hash without one, as other programs may write it.
type Action string

// The actions that the schema allows.
const (
	// NoAction is read, never written for a file.
	NoAction Action = ""
	// Original is the first record of this file in this history.
	Original Action = "original"
	// Verified was computed again and equals the record.
	Verified Action = "verified"
	// Failed was computed again and differs; the value beside it is the wrong one, never to be trusted.
	Failed Action = "failed"
)

// Process is how a generation came about.
type Process string

// The processes that the schema allows.
const (
	// Transfer: hashes made while copying.
	Transfer Process = "transfer"
	// InPlace: hashes made of files where they lie.
	InPlace Process = "in-place"
	// Flatten is read like the others and never written: its rules were not found.
	Flatten Process = "flatten"
)

// Author is a person named in a manifest.
type Author struct {
	Name, Email, Phone, Role string
}

// Creator says who made a generation, when, with what.
type Creator struct {
	// Created carries its offset. Zone is false if the text had none: then the instant is not known.
	Created time.Time
	Zone    bool
	// Hostname, Tool and Version are as written; Tool and Hostname are never empty in what this package writes.
	Hostname, Tool, Version string
	Authors                 []Author
	Location, Comment       string
}

// Hash is one digest. Text is in the format's own spelling (lower-case hex, or a C4 ID).
type Hash struct {
	// Format is the element's name: one of [Formats].
	Format string
	Text   string
	Action Action
	// Date is when the digest was computed; zero if not said.
	Date time.Time
}

// FileRecord is one file in one generation. Path is relative to the folder that holds ascmhl, separated by '/'.
type FileRecord struct {
	Path string
	// Size is bytes, -1 if not said.
	Size int64
	// Modified is the file's modification time; zero if not said. Information, not a check.
	Modified time.Time
	Hashes   []Hash
	// Previous is the path in earlier generations, empty unless the file was moved.
	Previous string
}

// DirRecord is one folder in one generation.
type DirRecord struct {
	Path     string
	Modified time.Time
	// Content and Structure are the two folder hashes, one or more formats each.
	Content, Structure []Hash
	Previous           string
}

// Reference leads to the newest manifest of a history further down, with the C4 ID of its bytes.
type Reference struct {
	Path, C4 string
}

// Header is all of a manifest but its files and folders.
type Header struct {
	Creator Creator
	Process Process
	// RootContent and RootStructure are empty if the manifest has no roothash.
	RootContent, RootStructure []Hash
	// Ignore has the patterns in force, in the order written.
	Ignore     []string
	References []Reference
	// Warnings are oddities that do not make the manifest unusable, in plain words.
	Warnings []string
}
