package manifest

import (
	"crypto/sha512"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"

	"twobin/guard/hashes"
)

// Generation is one staged generation: manifest and chain stand in the ascmhl folder under temporary names, written and
// flushed. Exactly one of Publish and Discard is called, once.
type Generation struct {
	// Name is the manifest's file name to be, C4 the C4 ID of its bytes, Nr its number.
	Name, C4 string
	Nr       int

	parent, folder  *os.Root
	made            bool
	manifest, chain *temp
	carried         []carried
	before          []byte
}

// Stage writes the draft as the next generation of h in the folder dir below root, up to the point where only names
// change. h is nil if dir has no history yet. base is the name of the history's folder, for the manifest's name.
func Stage(root *os.Root, dir, base string, h *History, d *Draft) (*Generation, error) {
	return stage(root, dir, base, h, d, nil)
}

// stage is Stage; along, if not nil, puts more manifests into the folder first.
func stage(root *os.Root, dir, base string, h *History, d *Draft, along func(folder *os.Root) ([]carried, error)) (g *Generation, err error) {
	if h == nil {
		h = &History{}
	}
	g = &Generation{Nr: h.Next(), Name: ManifestName(h.Next(), base, d.Header.Creator.Created), before: h.chain}
	defer func() {
		if err != nil {
			_ = g.Discard() // the first error is the one that counts
			g = nil
		}
	}()
	if g.parent, err = openDir(root, dir); err != nil {
		return g, err
	}
	switch err := g.parent.Mkdir(Folder, 0o777); {
	case err == nil:
		g.made = true
		if err := syncFolder(g.parent); err != nil {
			return g, err
		}
	case !errors.Is(err, fs.ErrExist):
		return g, err
	}
	if g.folder, err = openDir(g.parent, Folder); err != nil {
		return g, err
	}
	if _, err := g.folder.Lstat(g.Name); !errors.Is(err, fs.ErrNotExist) {
		return g, fmt.Errorf("%q stands there already: %w", g.Name, fs.ErrExist)
	}
	if along != nil {
		if g.carried, err = along(g.folder); err != nil {
			return g, err
		}
	}
	sum := sha512.New()
	// One temporary name for all generations: what an interrupted run left is found again and taken away.
	g.manifest, err = newTemp(g.folder, "next"+Ext, func(w io.Writer) error { return d.write(io.MultiWriter(w, sum)) })
	if err != nil {
		return g, err
	}
	g.C4 = hashes.Text(c4, sum.Sum(nil))
	chain, err := EncodeChain(append(h.Links[:len(h.Links):len(h.Links)], Link{Nr: g.Nr, Name: g.Name, C4: g.C4}))
	if err != nil {
		return g, err
	}
	g.chain, err = newTemp(g.folder, ChainName, func(w io.Writer) error { _, err := w.Write(chain); return err })
	if err != nil {
		return g, err
	}
	return g, syncFolder(g.folder)
}

// Publish gives the manifest its name, never over another, and then the chain, in place of the one that this generation
// was made on. A power cut between the two leaves a manifest that no chain lists: readers report it and do not use it.
// If the chain has changed since it was read, nothing is published.
func (g *Generation) Publish() error {
	defer g.close()
	if err := sameChain(g.folder, g.before); err != nil {
		return errors.Join(err, g.drop())
	}
	for _, c := range g.carried {
		if c.temp == nil {
			continue
		}
		if err := c.temp.place(c.name); err != nil {
			return errors.Join(err, g.drop())
		}
	}
	if err := g.manifest.place(g.Name); err != nil {
		return errors.Join(err, g.drop())
	}
	var err error
	if g.before == nil {
		err = g.chain.place(ChainName)
	} else {
		err = g.chain.replace(ChainName)
	}
	if err != nil {
		return errors.Join(err, g.chain.drop())
	}
	return nil
}

// Discard removes the temporary files, and the ascmhl folder if it was made for them.
func (g *Generation) Discard() error {
	defer g.close()
	err := g.drop()
	if g.made && err == nil {
		err = g.parent.Remove(Folder) // fails if anything else stands in it by now, which is right
	}
	return err
}

func (g *Generation) drop() error {
	var err error
	all := []*temp{g.chain, g.manifest}
	for _, c := range g.carried {
		all = append(all, c.temp)
	}
	for _, t := range all {
		if t != nil {
			err = errors.Join(err, t.drop())
		}
	}
	return err
}

func (g *Generation) close() {
	for _, r := range []*os.Root{g.folder, g.parent} {
		if r != nil {
			_ = r.Close() // a folder handle: nothing is written through it
		}
	}
}
