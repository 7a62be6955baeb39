package manifest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"slices"
	"strings"

	"twobin/guard/hashes"
)

// Carry makes a recorder for a further copy of a roll that has a history already: the history at from (a roll folder
// below root) goes along, every manifest byte for byte, and the new generation is appended to it on the destination.
// root must stay open until the last Stage has returned. A roll folder without a history is no error: then the
// destination gets its first generation.
//
// The offload must not copy the roll folder's own ascmhl as if it were footage, unless it is (see [FromCard]).
func (r *Recorder) Carry(root *os.Root, from string) *Recorder {
	return &Recorder{info: r.info, carry: &carry{root: root, dir: from}}
}

// carry is a history that goes along with a further copy.
type carry struct {
	root *os.Root
	dir  string
}

// carried is one manifest that goes along, or stands there already.
type carried struct {
	name string
	temp *temp // nil: stands there
}

// history gives the history that the new generation is appended to, and how many of its first links the destination
// has already. here is nil if the destination has none.
func (c *carry) history(ctx context.Context, here *History) (h *History, have int, err error) {
	there, err := ReadHistory(ctx, c.root, c.dir)
	if errors.Is(err, ErrNoHistory) || err == nil && len(there.Links) == 0 {
		return here, countLinks(here), nil
	}
	if err != nil {
		return nil, 0, fmt.Errorf("history of the copy that is read: %w", err)
	}
	n := min(countLinks(here), len(there.Links))
	if here != nil && !slices.Equal(here.Links[:n], there.Links[:n]) {
		return nil, 0, fmt.Errorf("%w: the destination has another history than the copy that is read", ErrChain)
	}
	if countLinks(here) >= len(there.Links) {
		return here, countLinks(here), nil
	}
	there.chain, there.Unlisted = nil, nil
	if here != nil {
		there.chain, there.Unlisted = here.chain, here.Unlisted
	}
	return there, n, nil
}

func countLinks(h *History) int {
	if h == nil {
		return 0
	}
	return len(h.Links)
}

// resume tells whether the destination's ascmhl folder, whose chain is missing, is what an interrupted carry leaves:
// every manifest in it is one of the history that is carried, byte for byte, or the next one after it.
func (c *carry) resume(ctx context.Context, root *os.Root, dir string) bool {
	there, err := ReadHistory(ctx, c.root, c.dir)
	if err != nil {
		return false
	}
	folder, err := openDir(root, join(dir, Folder))
	if err != nil {
		return false
	}
	defer folder.Close()
	names, err := listNames(folder)
	if err != nil || slices.Contains(names, ChainName) {
		return false
	}
	for _, n := range names {
		if !strings.HasSuffix(n, Ext) {
			continue
		}
		if nr, _, _, ok := ParseName(n); ok && nr == there.Next() {
			continue
		}
		i := slices.IndexFunc(there.Links, func(l Link) bool { return l.Name == n })
		if i < 0 || fileC4(folder, n) != there.Links[i].C4 {
			return false
		}
	}
	return true
}

// stage copies the manifests that the destination lacks into folder, under temporary names.
func (c *carry) stage(links []Link, folder *os.Root) (out []carried, err error) {
	src, err := openDir(c.root, join(c.dir, Folder))
	if err != nil {
		return nil, err
	}
	defer src.Close()
	for _, l := range links {
		if _, err := folder.Lstat(l.Name); err == nil {
			if fileC4(folder, l.Name) != l.C4 {
				return out, fmt.Errorf("%q stands there with other contents: %w", l.Name, fs.ErrExist)
			}
			out = append(out, carried{name: l.Name})
			continue
		} else if !errors.Is(err, fs.ErrNotExist) {
			return out, err
		}
		t, err := newTemp(folder, l.Name, func(w io.Writer) error { return copyManifest(w, src, l) })
		if err != nil {
			return out, err
		}
		out = append(out, carried{l.Name, t})
	}
	return out, nil
}

// copyManifest copies one manifest and proves that what was written is what the chain knows.
func copyManifest(w io.Writer, src *os.Root, l Link) error {
	f, err := OpenFile(src, l.Name)
	if err != nil {
		return err
	}
	defer f.Close()
	sum, err := hashes.New(c4)
	if err != nil {
		return err
	}
	if _, err := io.Copy(io.MultiWriter(w, sum), io.LimitReader(f, maxManifest+1)); err != nil {
		return err
	}
	if hashes.Text(c4, sum.Sum(nil)) != l.C4 {
		return fmt.Errorf("%w: %q changed while it was copied", ErrChain, l.Name)
	}
	return nil
}

// fileC4 is the C4 ID of a file's bytes, "" if it cannot be read.
func fileC4(folder *os.Root, name string) string {
	f, err := OpenFile(folder, name)
	if err != nil {
		return ""
	}
	defer f.Close()
	sum, err := hashes.New(c4)
	if err != nil {
		return ""
	}
	if _, err := io.Copy(sum, io.LimitReader(f, maxManifest+1)); err != nil {
		return ""
	}
	return hashes.Text(c4, sum.Sum(nil))
}

// FromCard tells whether the history in a roll folder came with the card: the checksum list beside the folder has its
// files. Such a history is footage like the rest: copied, and never extended. folder is the roll folder below root. A
// list that is not there is no error.
func FromCard(root *os.Root, folder string) (bool, error) {
	base := baseOf(folder)
	f, err := OpenFile(root, folder+ListExt)
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	defer f.Close()
	found := false
	err = ReadList(f, func(p string, _ uint64) error {
		found = found || strings.HasPrefix(p, base+"/"+Folder+"/")
		return nil
	})
	return found, err
}

// Expect gives, for a file of a history, the digest that a copy of it has to have: XXH64 if it is recorded, else any
// format that can be computed. Both are empty if nothing is known. It suits [offload.Job.Expect].
func (h *History) Expect(path string) (format, digest string) {
	k := h.Files[path]
	if k == nil {
		return "", ""
	}
	if d := k.Digest(hashes.XXH64); d != "" {
		return hashes.XXH64, d
	}
	for _, d := range k.Digests {
		if hashes.Known(d.Format) {
			return d.Format, d.Text
		}
	}
	return "", ""
}

// sameChain tells whether the chain file still has the bytes that a generation was made on; nil: there was none.
func sameChain(folder *os.Root, before []byte) error {
	now, err := readSmall(folder, ChainName, maxChain)
	if errors.Is(err, fs.ErrNotExist) {
		now, err = nil, nil
	}
	if err != nil {
		return err
	}
	if !bytes.Equal(now, before) {
		return fmt.Errorf("%w: %s changed while a generation was made", ErrChain, ChainName)
	}
	return nil
}
