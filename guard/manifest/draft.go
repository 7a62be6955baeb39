package manifest

import (
	"fmt"
	"io"
	"iter"
	"slices"
	"time"

	"twobin/guard/hashes"
)

// DraftItem is one file or folder of a generation about to be written.
type DraftItem struct {
	Path string
	// Dir: a folder. It stands before its contents. Folders that hold something need no item of their own.
	Dir      bool
	Modified time.Time
	// Previous is a moved folder's earlier path.
	Previous string
	// Digest is a file's raw digest in the draft's format, computed in this run. Empty: the file was not hashed, and no
	// folder above it gets hashes.
	Digest []byte
	// File is a file's record, or nil for one that counts in the folder hashes and is not listed: it belongs to a
	// history further down, or its name cannot stand in XML.
	File *FileRecord
}

// Draft is a generation about to be written.
type Draft struct {
	// Header has creator, process, patterns and references; the root's hashes are filled in while writing.
	Header Header
	// Format is the one format of the folder hashes.
	Format string
	// Items yields every file, and folders where needed, depth first (pathLess). It is run through twice and must
	// yield the same both times.
	Items iter.Seq[DraftItem]
	// Below has the folders with histories of their own: they are listed, what is in them is not.
	Below []string
}

// listed tells whether a folder gets an entry.
func (d *Draft) listed(dir string) bool {
	return CanRecord(dir) && !slices.ContainsFunc(d.Below, func(b string) bool { return under(dir, b) })
}

// FolderHashes computes all folder hashes of the draft without writing anything. f gets each folder when all below it is
// done, the root ("") last; ok is false if something in it had no digest.
func (d *Draft) FolderHashes(f func(dir string, p Pair, ok bool)) error {
	return d.run(nil, func(it DraftItem, p Pair, ok bool) bool { f(it.Path, p, ok); return true })
}

// CanRecord tells whether a manifest can carry p and every reader accept it.
func CanRecord(p string) bool { return Recordable(p) && CheckPath(p) == nil }

// write writes the manifest. The root's hashes come first in the file, so the folder hashes are computed twice: once
// to know the root's, once to list each folder after its contents. That costs some milliseconds per 10,000 files and
// saves holding the records of a whole card.
func (d *Draft) write(w io.Writer) error {
	date := d.Header.Creator.Created
	set := func(raw string) []Hash {
		return []Hash{{Format: d.Format, Text: hashes.Text(d.Format, []byte(raw)), Date: date}}
	}
	err := d.run(nil, func(it DraftItem, p Pair, ok bool) bool {
		if it.Path == "" && ok {
			d.Header.RootContent, d.Header.RootStructure = set(p.Content), set(p.Structure)
		}
		return true
	})
	if err != nil {
		return err
	}
	var runErr error
	err = Encode(w, &d.Header, func(yield func(Record) bool) {
		runErr = d.run(func(r *FileRecord) bool { return yield(Record{File: r}) },
			func(it DraftItem, p Pair, ok bool) bool {
				if it.Path == "" || !ok || !d.listed(it.Path) {
					return true
				}
				return yield(Record{Dir: &DirRecord{Path: it.Path, Modified: it.Modified, Previous: it.Previous,
					Content: set(p.Content), Structure: set(p.Structure)}})
			})
	})
	if err != nil {
		return err
	}
	return runErr
}

// run goes through the items once. file gets each listed file, dir each folder when all below it is done.
func (d *Draft) run(file func(*FileRecord) bool, dir func(it DraftItem, p Pair, ok bool) bool) error {
	h, err := hashes.New(d.Format)
	if err != nil {
		return err
	}
	open := map[string]DraftItem{}
	going := true
	fh := newFolderHasher(h, func(path string, p Pair, ok bool) {
		it := open[path]
		it.Path = path
		delete(open, path)
		going = going && dir(it, p, ok)
	})
	last := ""
	for it := range d.Items {
		if last != "" && !pathLess(last, it.Path) {
			return fmt.Errorf("items out of order: %q after %q", it.Path, last)
		}
		last = it.Path
		if it.Dir {
			fh.dir(it.Path)
			open[it.Path] = it
			continue
		}
		fh.file(it.Path, it.Digest)
		if it.File != nil && file != nil && going {
			going = file(it.File)
		}
		if !going {
			return nil // the encoder has its error
		}
	}
	fh.finish()
	return nil
}
