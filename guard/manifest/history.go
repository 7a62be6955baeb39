package manifest

import (
	"bytes"
	"context"
	"crypto/sha512"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"slices"
	"strings"

	"twobin/guard/hashes"
)

// Known is what a history says about one file at its current path.
type Known struct {
	// Size is bytes, -1 if no generation says.
	Size int64
	// Digests has, for each format, the earliest good value: recorded as original or verified, never as failed.
	Digests []Digest
	// Last is the number of the newest generation that lists the file.
	Last int
}

// Digest is the good value of a format, or "".
func (k *Known) Digest(format string) string {
	for _, d := range k.Digests {
		if d.Format == format {
			return d.Text
		}
	}
	return ""
}

// History is all generations of one folder, folded into what is known about each file. The chain was whole when it was
// read: every listed manifest stood there with the C4 ID that the chain gives.
type History struct {
	// Links is the chain; empty if no generation was ever finished.
	Links []Link
	// Files and Dirs are what all generations say, by current path. DirHash has the newest generation's folder hashes.
	Files   map[string]*Known
	Dirs    map[string]bool
	DirHash map[string]DirRecord
	// Former are paths that files were moved away from: older lists still have them.
	Former map[string]bool
	// Newest is the head of the newest generation.
	Newest Header
	// Unlisted are manifests that stand there but not in the chain: a write was interrupted, or someone put them there.
	// They are reported and never used.
	Unlisted []string
	// Warnings are oddities in plain words.
	Warnings []string
	// chain is the chain file's bytes as read, to notice a change before it is replaced.
	chain []byte
}

// Next is the number of the generation that would come next.
func (h *History) Next() int { return len(h.Links) + 1 }

// ErrNoHistory says that a folder has no history: there is no ascmhl folder in it.
var ErrNoHistory = errors.New("no hash list history")

// ReadHistory reads the history of the folder dir below root, from dir/ascmhl. An absent ascmhl folder gives
// [ErrNoHistory]. Broken histories give [ErrChain], [ErrDraft], [ErrXML] or [ErrPath]. Nothing is written.
//
// One state without a chain file is no error: nothing but the manifest of a first generation, as a power cut between
// the two leaves it. The history is then empty and names that manifest in Unlisted.
func ReadHistory(ctx context.Context, root *os.Root, dir string) (*History, error) {
	h := &History{Files: map[string]*Known{}, Dirs: map[string]bool{}, DirHash: map[string]DirRecord{}, Former: map[string]bool{}}
	folder, err := openDir(root, join(dir, Folder))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("%w in %q", ErrNoHistory, dir)
	}
	if err != nil {
		return nil, err
	}
	defer folder.Close()
	names, err := listNames(folder)
	if err != nil {
		return nil, err
	}
	h.chain, err = readSmall(folder, ChainName, maxChain)
	if errors.Is(err, fs.ErrNotExist) {
		return h, h.noChain(names)
	}
	if err != nil {
		return nil, fmt.Errorf("%w: %s: %w", ErrChain, ChainName, err)
	}
	var warn []string
	if h.Links, warn, err = DecodeChain(bytes.NewReader(h.chain)); err != nil {
		return nil, fmt.Errorf("%s: %w", ChainName, err)
	}
	h.warn(ChainName, warn)
	for _, l := range h.Links {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if err := h.generation(folder, l); err != nil {
			return nil, err
		}
	}
	h.unlisted(names)
	return h, nil
}

func (h *History) noChain(names []string) error {
	for _, n := range names {
		if slices.Contains(draftChains, n) {
			return fmt.Errorf("%s: %w", n, ErrDraft)
		}
	}
	h.unlisted(names)
	if len(h.Unlisted) > 1 {
		return fmt.Errorf("%w: no %s beside %d manifests", ErrChain, ChainName, len(h.Unlisted))
	}
	if len(h.Unlisted) == 1 {
		if nr, _, _, ok := ParseName(h.Unlisted[0]); !ok || nr != 1 {
			return fmt.Errorf("%w: no %s beside %.200q", ErrChain, ChainName, h.Unlisted[0])
		}
	}
	return nil
}

func (h *History) unlisted(names []string) {
	for _, n := range names {
		if strings.HasSuffix(n, Ext) && !slices.ContainsFunc(h.Links, func(l Link) bool { return l.Name == n }) {
			h.Unlisted = append(h.Unlisted, n)
			h.Warnings = append(h.Warnings, fmt.Sprintf("%.200q stands in no chain and is not used", n))
		}
	}
}

func (h *History) warn(name string, ws []string) {
	for _, w := range ws {
		h.Warnings = append(h.Warnings, name+": "+w)
	}
}

// generation reads one manifest, proves its bytes against the chain, and folds it in.
func (h *History) generation(folder *os.Root, l Link) error {
	f, err := OpenFile(folder, l.Name)
	if err != nil {
		return fmt.Errorf("%w: generation %d: %w", ErrChain, l.Nr, err)
	}
	defer f.Close()
	sum := sha512.New()
	in := io.TeeReader(io.LimitReader(f, maxManifest+1), sum)
	g := generation{nr: l.Nr}
	head, readErr := Decode(in, Visitor{
		File: func(r FileRecord) error { g.files = append(g.files, r); return nil },
		Dir:  func(r DirRecord) error { g.dirs = append(g.dirs, r); return nil },
	})
	if _, err := io.Copy(io.Discard, in); err != nil {
		return fmt.Errorf("%w: generation %d: read %s: %w", ErrChain, l.Nr, l.Name, err)
	}
	// The chain is asked before the contents are believed, or even found fault with.
	if got := hashes.Text(c4, sum.Sum(nil)); got != l.C4 {
		return fmt.Errorf("%w: generation %d: %.200q was altered: its C4 ID is not the one in the chain", ErrChain, l.Nr, l.Name)
	}
	if readErr != nil {
		return fmt.Errorf("%.200q: %w", l.Name, readErr)
	}
	if nr, _, _, ok := ParseName(l.Name); ok && nr != l.Nr {
		h.Warnings = append(h.Warnings, fmt.Sprintf("generation %d is named %.200q", l.Nr, l.Name))
	}
	h.warn(l.Name, head.Warnings)
	h.fold(&g)
	h.Newest = *head
	return nil
}

// join joins a folder and a name for os.Root; "" and "." are the root.
func join(dir, name string) string {
	if dir == "" || dir == "." {
		return name
	}
	return dir + "/" + name
}

// readSmall reads a regular file of at most limit bytes.
func readSmall(root *os.Root, name string, limit int64) ([]byte, error) {
	f, err := OpenFile(root, name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	b, err := io.ReadAll(io.LimitReader(f, limit+1))
	if err != nil {
		return nil, err
	}
	if int64(len(b)) > limit {
		return nil, fmt.Errorf("%q is larger than %d bytes", name, limit)
	}
	return b, nil
}

// CheckReference proves that the manifest a reference leads to stands there with the bytes that were referenced. dir is
// the folder of the history that has the reference. The history below may have grown since: that is no fault. The error
// wraps [ErrChain].
func CheckReference(root *os.Root, dir string, r Reference) error {
	f, err := OpenFile(root, join(dir, r.Path))
	if err != nil {
		return fmt.Errorf("%w: referenced manifest: %w", ErrChain, err)
	}
	defer f.Close()
	sum := sha512.New()
	if _, err := io.Copy(sum, io.LimitReader(f, maxManifest+1)); err != nil {
		return fmt.Errorf("%w: referenced manifest: %w", ErrChain, err)
	}
	if hashes.Text(c4, sum.Sum(nil)) != r.C4 {
		return fmt.Errorf("%w: the referenced manifest %.200q was altered", ErrChain, r.Path)
	}
	return nil
}
