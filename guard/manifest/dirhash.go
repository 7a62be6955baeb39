package manifest

import (
	"hash"
	"slices"
	"strings"
)

// Pair is the two hashes of one folder, as raw digest bytes.
type Pair struct {
	// Content depends on what is inside, whatever it is called; Structure on names and folders as well.
	Content, Structure string
}

// folderHasher computes folder hashes bottom-up over items that come depth first ([pathLess]). For each folder it
// keeps only the digests of its direct children.
//
//	content(dir)   = H(the children's item digests, sorted as byte strings, one after the other)
//	                 item(file) = digest; item(dir) = content(dir)
//	structure(dir) = the same with item(file) = H(name + digest); item(dir) = H(name + structure(dir))
//
// Duplicates are kept and an empty folder hashes the empty string: both are our reading, no sample covers them.
type folderHasher struct {
	h    hash.Hash
	open []openFolder
	// spoiled counts from the root: a folder with an item that has no digest has none either, nor has any above it.
	out func(path string, p Pair, ok bool)
}

type openFolder struct {
	path               string
	content, structure []string
	// spoiled: something below has no digest, so this folder has none either.
	spoiled bool
}

// newFolderHasher starts at the root, "". out is called once a folder, children first, the root last; ok is false if
// something below had no digest.
func newFolderHasher(h hash.Hash, out func(path string, p Pair, ok bool)) *folderHasher {
	return &folderHasher{h: h, open: []openFolder{{}}, out: out}
}

// file adds a file. digest is empty if it was not hashed in this run.
func (f *folderHasher) file(p string, digest []byte) {
	f.enter(parentOf(p))
	top := &f.open[len(f.open)-1]
	if len(digest) == 0 {
		top.spoiled = true
		return
	}
	d := string(digest)
	top.content = append(top.content, d)
	top.structure = append(top.structure, f.sum(baseOf(p), d))
}

// dir makes sure of a folder, also an empty one.
func (f *folderHasher) dir(p string) { f.enter(p) }

// finish closes all folders, the root included.
func (f *folderHasher) finish() {
	for len(f.open) > 0 {
		f.close()
	}
}

// enter closes folders until the open one is p or above it, then opens down to p.
func (f *folderHasher) enter(p string) {
	for {
		top := f.open[len(f.open)-1].path
		if top == p {
			return
		}
		if under(p, top) {
			break
		}
		f.close()
	}
	for {
		top := f.open[len(f.open)-1].path
		if top == p {
			return
		}
		rest := strings.TrimPrefix(p[len(top):], "/")
		next, _, _ := strings.Cut(rest, "/")
		if top != "" {
			next = top + "/" + next
		}
		f.open = append(f.open, openFolder{path: next})
	}
}

func (f *folderHasher) close() {
	top := f.open[len(f.open)-1]
	f.open = f.open[:len(f.open)-1]
	var p Pair
	if !top.spoiled {
		slices.Sort(top.content)
		slices.Sort(top.structure)
		p = Pair{Content: f.sum(top.content...), Structure: f.sum(top.structure...)}
	}
	if n := len(f.open); n > 0 {
		up := &f.open[n-1]
		if top.spoiled {
			up.spoiled = true
		} else {
			up.content = append(up.content, p.Content)
			up.structure = append(up.structure, f.sum(baseOf(top.path), p.Structure))
		}
	}
	f.out(top.path, p, !top.spoiled)
}

func (f *folderHasher) sum(parts ...string) string {
	f.h.Reset()
	for _, s := range parts {
		_, _ = f.h.Write([]byte(s)) // a hash never fails
	}
	return string(f.h.Sum(nil))
}

// baseOf is the last component of a path, byte for byte.
func baseOf(p string) string { return p[strings.LastIndexByte(p, '/')+1:] }
